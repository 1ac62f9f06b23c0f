"""The scrap log: what was given, by whom, how it was measured, and how wet it was."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from fibres import gifts
from fibres.calc.estimates import Estimate, estimate_of
from fibres.exchange.lotlist import KnownStore, lots_apart, receipt_words
from fibres.exchange.numbered import read_ref, ref_column, twice
from fibres.gifts import NEEDED, Measure
from fibres.models import Fibre, Lot, Source
from fibres.receiving import Arriving, receive_all
from fibres.services import Receipt, donor_named, fibre_in
from studio.errors import ReadingError, StudioError
from studio.files.columns import Column, choices_of
from studio.files.lists import ENTERED, STEP, UNCHANGED, Change, FileList
from studio.files.names import folded
from studio.files.rows import Fault, RowReader
from studio.models import Entry, Studio
from studio.units import Q

ANONYMOUS = "Anonymous drop"
Measured = Lot.Measured


@dataclass(slots=True)
class KnownScrap:
    """The store, and donors that the list itself adds."""

    store: KnownStore
    new: dict[str, Source]

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a list is read by."""
        return self.store.mark

    def fibre(self, text: str) -> Fibre:
        """Return a class of scrap that is taken in."""
        fibre = self.store.fibre(text)
        if not fibre.is_scrap:
            raise ReadingError(f"“{fibre}” is no class of scrap. Bring it in with the lots.")
        return fibre

    def donor(self, text: str) -> Source:
        """Return a donor, or one that will be entered with the list."""
        name = " ".join(text.split()) or ANONYMOUS
        if len(name) > 80:
            raise ReadingError(f"Give at most 80 characters; this has {len(name)}.")
        if folded(name) not in self.store.sources.rows:
            return self.new.setdefault(folded(name), Source(name=name, kind=Source.Kind.DONOR))
        source: Source = self.store.sources.called(name)
        if source.kind == Source.Kind.SUPPLIER:
            raise ReadingError(
                f"{source.name} is in the book as a supplier. Give the donor another name, such "
                f"as {source.name} (gift)."
            )
        return source


class ScrapList(FileList):
    """Gifts of scrap, as they came."""

    slug, title, noun, nouns = "scrap", "Scrap log", "gift", "gifts of scrap"
    lede = "What was given, by whom, and how it was measured; each gift becomes a lot."
    act = "take in scrap"
    route = "lots"
    deeds = (ENTERED, UNCHANGED)
    columns = (
        ref_column("lot", "OW-0012"),
        Column("donor", "name", "Who gave it; a new donor is entered with it. Empty: an anonymous "
               "drop.", "Quarry School", also=("given by", "source")),
        Column("class", "name", "A class of scrap that is entered.", "White office paper",
               "the name of a class of scrap", needed=True, also=("fibre", "fiber")),
        Column("received", "day", "The day it came.", "2026-03-14", needed=True,
               also=("received on", "date")),
        Column("measured", "choice", "How; empty: weighed.", "weighed",
               choices=choices_of(Measured)),
        Column("mass", "mass", "As it was weighed or guessed; of what was counted, what it came "
               "to.", "8", unit="kg", zero=False),
        Column("number", "number", "Of sheets, reams of 500 or boxes.", "640",
               most=10_000_000),
        Column("height", "length", "Of a neat pile, pressed flat.", "12 cm", zero=False),
        Column("size", "size", "Of a sheet, where sheets, reams, boxes or a pile are given.",
               "A4"),
        Column("grammage", "grammage", "Of that paper.", "80", unit="g/m2"),
        Column("moisture", "share", "Where it was weighed; empty: usual for its class.", "6",
               unit="%", below_one=True),
        Column("place", "name", "Where it lies.", "Loft", longest=40),
        Column("private papers", "yes", "Whether it may show private papers: yes or no.", "no"),
        Column("remarks", "text", longest=2000),
    )  # fmt: skip
    rules = (
        "Each row is one gift as it came, and becomes a lot of its own. What is left of old gifts "
        "is told by the list of lots: bring in one of the two for the same gift.",
        "Where a mass is given it is taken, with the margin of the way it was measured; otherwise "
        "it is reckoned from sheets, reams, boxes or the pile.",
    )

    def known(self, studio: Studio) -> KnownScrap:
        """Read classes and donors."""
        return KnownScrap(KnownStore.read(), {})

    def read(self, row: RowReader, known: KnownScrap) -> Arriving:
        """Return the receipt of a gift."""
        take = row.take
        fibre = take("class", known.fibre)
        moisture = take("moisture")
        method = take("measured", default=Measured.WEIGHED)
        estimate = _estimate(row, method)
        receipt = Receipt(
            fibre=fibre,
            source=take("donor", known.donor) or known.donor(""),
            as_is_mg=estimate.as_is_mg if estimate else 0,
            moisture=fibre.usual_moisture if moisture is None and fibre else moisture,
            received_on=known.store.past(row, "received"),
            measured=method,
            moisture_known=(
                Lot.MoistureKnown.ASSUMED if moisture is None else Lot.MoistureKnown.WEIGHED
            ),
            band=estimate.band if estimate else Decimal(0),
            place=take("place", known.store.place, ""),
            paid_minor=0,
            is_confidential=take("private papers", default=False),
            remarks=take("remarks", default=""),
        )
        if row.is_fine:
            try:
                fibre_in(receipt)
            except StudioError as fault:
                row.blame("mass", str(fault))
        return Arriving(receipt, ref=take("ref", read_ref, ""))

    def together(self, rows: Sequence[tuple[int, Arriving]], known: KnownScrap) -> Iterable[Fault]:
        """Find numbers that stand there twice."""
        return twice(rows)

    def changes(self, rows: Sequence[tuple[int, Arriving]], known: KnownScrap) -> list[Change]:
        """Tell new gifts from lots that are there."""
        return lots_apart(rows)

    def notes(self, changes: Sequence[Change]) -> list[str]:
        """Say which donors are entered with the list."""
        names = sorted({one.name for one in _new_donors(changes)})
        if not names:
            return []
        shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
        return [f"New donors are entered with it: {shown}."]

    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Enter donors, then all gifts."""
        for donor in _new_donors(changes):
            donor.pk = donor_named(donor.name).pk
        receive_all([change.what for change in changes], entry=entry, tell=tell, step=STEP)

    def words(self, change: Change, studio: Studio) -> str:
        """Name class, donor and mass."""
        return receipt_words(change.what, studio)

    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield every gift of scrap that came, as it came."""
        rows = Lot.objects.filter(
            as_is_mg__gt=0, fibre__is_scrap=True, source__kind=Source.Kind.DONOR
        ).select_related("fibre", "source")
        for lot in rows.order_by("pk").iterator(chunk_size=500):
            yield {
                "ref": lot.ref, "donor": lot.source.name, "class": lot.fibre.name,
                "received": lot.received_on, "measured": lot.measured, "mass": lot.as_is_mg,
                "number": "", "height": "", "size": "", "grammage": "",
                "moisture": (
                    "" if lot.moisture_known == Lot.MoistureKnown.ASSUMED else lot.moisture
                ),
                "place": lot.place, "private papers": lot.is_confidential,
                "remarks": lot.remarks,
            }  # fmt: skip


def _new_donors(changes: Sequence[Change]) -> list[Source]:
    """Return the donors that are not written yet, each once."""
    found = {
        id(change.what.receipt.source): change.what.receipt.source
        for change in changes
        if change.deed == ENTERED and change.what.receipt.source.pk is None
    }
    return list(found.values())


def _estimate(row: RowReader, method: str) -> Estimate | None:
    """Return the mass of a gift with its margin, or blame the cell that is lacking."""
    before = len(row.faults)
    mass = row.take("mass")
    figures = {name: row.take(name) for name in ("number", "height", "size", "grammage")}
    if len(row.faults) > before:
        return None
    if mass is not None:
        return estimate_of(Fraction(mass), method)  # type: ignore[arg-type]
    for name in NEEDED[method]:
        if name == "mass" or figures.get(name) is None:
            word = Measured(method).label.lower()
            row.blame(name, f"Nothing stands here, and the gift is measured by: {word}.")
    if len(row.faults) > before:
        return None
    try:
        return gifts.estimate(Measure(method, **_measured(figures)))
    except StudioError as fault:
        row.blame(fault.field or "number", str(fault))
        return None


def _measured(figures: dict[str, Any]) -> dict[str, Any]:
    height = figures["height"]
    return {**figures, "height": None if height is None else Q(height, "um")}
