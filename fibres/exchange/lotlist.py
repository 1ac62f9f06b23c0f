"""The list of lots: what came, when, from whom, how wet, and what is left of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from fibres import gifts
from fibres.calc import moisture as wet
from fibres.exchange.numbered import read_ref, ref_column, told_apart, twice
from fibres.models import Fibre, Lot, Source
from fibres.receiving import Arriving, receive_all
from fibres.services import Receipt, fibre_in
from fibres.wording import mass_words
from studio.errors import ReadingError, StudioError
from studio.files.columns import Column, choices_of
from studio.files.lists import (
    ENTERED,
    STEP,
    UNCHANGED,
    Change,
    FileList,
    ListFaultsError,
)
from studio.files.names import Names, folded
from studio.files.rows import Fault, RowReader
from studio.models import Entry, Studio
from studio.money import show_money
from studio.units import show_mass, show_share

SAME = {"fibre": "fibre", "source": "source", "received_on": "day", "as_is_mg": "mass"}


@dataclass(frozen=True, slots=True)
class KnownStore:
    """Fibres, sources, and places as they are spelled."""

    fibres: Names
    sources: Names
    places: dict[str, str]
    latest: date

    @classmethod
    def read(cls) -> KnownStore:
        """Read all of them."""
        named = Lot.objects.exclude(place="").order_by("pk").values_list("place", flat=True)
        places: dict[str, str] = {}
        for place in named:
            places.setdefault(folded(place), place)
        return cls(
            Names.of("fibre", Fibre.objects.all()),
            Names.of("source", Source.objects.all()),
            places,
            timezone.localdate() + timedelta(days=1),
        )

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a list is read by."""
        told = tuple(
            (one.pk, one.is_refused, one.usual_moisture, one.keeps_wet_days, one.code)
            for rows in self.fibres.rows.values()
            for one in rows
        )
        return (self.fibres.mark, told, self.sources.mark, self.latest)

    def fibre(self, text: str) -> Fibre:
        """Return a fibre that is taken in; a closed one is history and may stand there."""
        fibre: Fibre = self.fibres.called(text)
        if fibre.is_refused:
            raise ReadingError(gifts.refusal_of(fibre))
        return fibre

    def place(self, text: str) -> str:
        """Return a place as it was spelled first."""
        place = " ".join(text.split())
        if len(place) > 40:
            raise ReadingError(f"Give at most 40 characters; this has {len(place)}.")
        return self.places.setdefault(folded(place), place)

    def past(self, row: RowReader, column: str) -> date | None:
        """Return a day that has come."""
        day: date | None = row.take(column)
        if day is not None and day > self.latest:
            row.blame(column, "That day has not come yet. Give today or a day before it.")
        return day


class LotList(FileList):
    """Lots as they came, with what is left of each."""

    slug, title, noun, nouns = "lots", "Lots", "lot", "lots"
    lede = "What came, from whom, how wet it was, and what is left of it."
    act = "take in lots"
    route = "lots"
    deeds = (ENTERED, UNCHANGED)
    out_need = "export"
    columns = (
        ref_column("lot", "AB-0007"),
        Column("fibre", "name", "A fibre that is entered.", "Abaca pulp sheet",
               "the name of a fibre", needed=True, also=("fiber",)),
        Column("source", "name", "A source that is entered.", "Greyling Fibres",
               "the name of a source", needed=True, also=("from", "supplier", "donor")),
        Column("received", "day", "The day it came; of an opening stock, the day it was weighed.",
               "2026-03-14", needed=True, also=("received on", "date")),
        Column("mass", "mass", "As it came, with its water.", "10", needed=True, unit="kg",
               zero=False, also=("received as is", "as is")),
        Column("moisture", "share", "Water of that mass; empty: usual for the fibre.", "10",
               unit="%", below_one=True),
        Column("moisture known", "choice", "How the moisture is known; empty: from the label, or "
               "assumed where none is given.", "label", choices=choices_of(Lot.MoistureKnown)),
        Column("left as is", "mass", "What is left of it now, with its water; empty: all of it.",
               "4.5", unit="kg", also=("left",)),
        Column("left oven-dry", "mass", "The same without its water; give one of the two.",
               unit="kg", also=("left oven dry",)),
        Column("form", "name", "The form it came in.", "Dry sheet", longest=60),
        Column("place", "name", "Where it lies.", "Shelf B2", longest=40),
        Column("measured", "choice", "How its mass is known; empty: weighed.", "weighed",
               choices=choices_of(Lot.Measured)),
        Column("either way", "share", "How far the mass may differ from it.", unit="%"),
        Column("preparation yield", "share", "Only where it differs from its fibre.", unit="%",
               zero=False),
        Column("keep until", "day", "Of wet fibre, the day it goes off."),
        Column("paid", "money", "For the whole lot, with its share of freight.", "94.00",
               money=True),
        Column("sorting minutes", "number", "Spent on it in all; empty: usual for the fibre.",
               most=999_999),
        Column("private papers", "yes", "Whether it may show private papers: yes or no.", "no"),
        Column("remarks", "text", longest=2000),
        Column("closed", "day", "The day from which it is not offered any more."),
    )  # fmt: skip
    rules = (
        "Fibres and sources are not entered by this list: bring in theirs first.",
        "What is left is entered as a count of today, so that the ledger says what came and what "
        "went.",
        "A lot with a number that is there already is left as it is; where the list says "
        "something else of it, that is a fault.",
    )

    def known(self, studio: Studio) -> KnownStore:
        """Read fibres, sources and places."""
        return KnownStore.read()

    def read(self, row: RowReader, known: KnownStore) -> Arriving:
        """Return the receipt of a row and what is left of it."""
        take = row.take
        fibre = take("fibre", known.fibre)
        moisture = take("moisture")
        receipt = Receipt(
            fibre=fibre,
            source=take("source", known.sources.called),
            as_is_mg=take("mass"),
            moisture=fibre.usual_moisture if moisture is None and fibre else moisture,
            received_on=known.past(row, "received"),
            measured=take("measured", default=Lot.Measured.WEIGHED),
            moisture_known=take("moisture known")
            or (Lot.MoistureKnown.ASSUMED if moisture is None else Lot.MoistureKnown.LABEL),
            band=take("either way", default=Decimal(0)),
            form=take("form", default=""),
            place=take("place", known.place, ""),
            paid_minor=take("paid"),
            sorting_minutes=take("sorting minutes"),
            preparation_yield=take("preparation yield"),
            is_confidential=take("private papers", default=False),
            remarks=take("remarks", default=""),
        )
        arriving = Arriving(
            receipt,
            ref=take("ref", read_ref, ""),
            keep_until=take("keep until"),
            closed_on=known.past(row, "closed"),
        )
        left = {name: take(name) for name in ("left as is", "left oven-dry")}
        return replace(arriving, left_mg=_left(row, receipt, left)) if row.is_fine else arriving

    def together(self, rows: Sequence[tuple[int, Arriving]], known: KnownStore) -> Iterable[Fault]:
        """Find numbers that stand there twice."""
        return twice(rows)

    def changes(self, rows: Sequence[tuple[int, Arriving]], known: KnownStore) -> list[Change]:
        """Tell new lots from those whose number is there."""
        return lots_apart(rows)

    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Receive all of them."""
        receive_all([change.what for change in changes], entry=entry, tell=tell, step=STEP)

    def words(self, change: Change, studio: Studio) -> str:
        """Name fibre, source and mass."""
        return receipt_words(change.what, studio)

    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield every lot that came; of one that never came no mass is left."""
        rows = Lot.objects.filter(as_is_mg__gt=0).select_related("fibre", "source").order_by("pk")
        for lot in rows.iterator(chunk_size=500):
            yield {
                "ref": lot.ref, "fibre": lot.fibre.name, "source": lot.source.name,
                "received": lot.received_on, "mass": lot.as_is_mg, "moisture": lot.moisture,
                "moisture known": lot.moisture_known, "left as is": "",
                "left oven-dry": lot.oven_dry_mg, "form": lot.form, "place": lot.place,
                "measured": lot.measured, "either way": lot.band,
                "preparation yield": lot.preparation_yield, "keep until": lot.keep_until,
                "paid": lot.paid_minor, "sorting minutes": lot.sorting_minutes,
                "private papers": lot.is_confidential, "remarks": lot.remarks,
                "closed": lot.closed_on,
            }  # fmt: skip


def _left(row: RowReader, receipt: Receipt, left: dict[str, int | None]) -> int | None:
    """Return what is left, oven-dry; None where all of it is."""
    try:
        fibre_in(receipt)
    except StudioError as fault:
        row.blame("mass", str(fault))
        return None
    as_is, dry = left["left as is"], left["left oven-dry"]
    if as_is is not None and dry is not None:
        row.blame("left oven-dry", "Give what is left as is or oven-dry, not both.")
    if as_is is not None:
        dry = wet.oven_dry_mg(as_is, receipt.moisture)
    if dry is not None and dry > receipt.as_is_mg:
        shown, came = mass_words(dry, receipt.as_is_mg)
        column = "left oven-dry" if as_is is None else "left as is"
        row.blame(column, f"{shown} oven-dry is more than the {came} that came as it was.")
    return dry


def lots_apart(rows: Sequence[tuple[int, Arriving]]) -> list[Change]:
    """Return what becomes of each receipt; one whose number is there must say the same of it."""
    there = Lot.objects.select_related("fibre", "source")
    changes, faults = told_apart(rows, there, noun="Lot", same=SAME, of=lambda row: row.receipt)
    if faults:
        raise ListFaultsError(faults)
    return changes


def receipt_words(row: Arriving, studio: Studio) -> str:
    """Name what a row brings, with the day and the amount as they were read."""
    receipt = row.receipt
    mass = show_mass(receipt.as_is_mg, system=studio.units)
    left = "" if row.left_mg is None else (
        f", {show_mass(row.left_mg, system=studio.units)} oven-dry left"
    )  # fmt: skip
    paid = receipt.paid_minor
    return (
        f"{row.ref + ' ' if row.ref else ''}{receipt.fibre} from {receipt.source}, {mass} at "
        f"{show_share(receipt.moisture)} moisture{left}, came {receipt.received_on:%d %b %Y}"
        f"{f', paid {show_money(paid, studio.currency)}' if paid else ''}"
    )
