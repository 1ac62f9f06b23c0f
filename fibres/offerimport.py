"""Take in a list of offers: all of its rows, or none and every fault by row and column.

An offer is known again by source, fibre, form and pack. Where an open one of these holds on any
of the same days, it is closed and the new one entered in its place, so that purchases keep the
offer they were made by; where nothing differs, nothing is written.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from fibres.models import Offer, OfferBreak
from fibres.offerfiles import Cells
from fibres.offerrows import Fault, Known, OfferRow, read_row
from studio.entries import enter, refuse_repeat
from studio.errors import StudioError

Progress = Callable[[int, int], None]
Deed = Literal["entered", "replaced", "unchanged"]
Key = tuple[int, int, str, int]
STEP = 250


class OfferFaultsError(StudioError):
    """A list that cannot be taken in; ``faults`` holds every one, in the order of the rows."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        rows = len({fault.row for fault in faults})
        counted = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        where = "1 row" if rows == 1 else f"{rows} rows"
        super().__init__(f"{counted} in {where}: nothing was entered.")
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Change:
    """What becomes of one row: the offer it makes, and the open ones that it closes."""

    row: OfferRow
    deed: Deed
    closes: tuple[Offer, ...] = ()


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What a list changes, row by row."""

    changes: tuple[Change, ...]

    def count(self, deed: Deed) -> int:
        """Return how many rows come to a deed."""
        return sum(change.deed == deed for change in self.changes)

    @property
    def counts(self) -> dict[str, int]:
        """Return rows, and rows by deed."""
        return {
            "rows": len(self.changes),
            "entered": self.count("entered"),
            "replaced": self.count("replaced"),
            "unchanged": self.count("unchanged"),
        }

    @property
    def said(self) -> str:
        """Word the counts."""
        return ", ".join(
            f"{number} {word}"
            for word, number in self.counts.items()
            if word != "rows" and (number or word == "entered")
        )


def take_in(
    rows: Sequence[Cells],
    *,
    currency: str,
    name: str = "",
    dry_run: bool = False,
    by: Any = None,
    key: uuid.UUID | None = None,
    progress: Progress | None = None,
) -> TakenIn:
    """Enter a list of offers in one transaction, with one entry; or only look it over."""
    with transaction.atomic():
        if key is not None:
            refuse_repeat(key)
        found = look_over(rows, currency=currency, progress=progress)
        if not dry_run:
            _write(found)
            enter(
                "take in offers",
                f"Took in offers{f' from {name}' if name else ''}: {found.said}",
                page=reverse("offers"),
                key=key,
                by=by,
            )
    return found


def look_over(
    rows: Sequence[Cells], *, currency: str, progress: Progress | None = None
) -> TakenIn:
    """Return what the rows would change, or raise every fault of theirs together."""
    known = Known.read(currency)
    faults: list[Fault] = []
    read: list[OfferRow] = []
    for done, cells in enumerate(rows, start=1):
        row, wrong = read_row(cells, known)
        faults += wrong
        if row is not None:
            read.append(row)
        if progress and (done % STEP == 0 or done == len(rows)):
            progress(done, len(rows))
    faults += _doubles(read)
    if faults:
        raise OfferFaultsError(sorted(faults, key=lambda fault: fault.row))
    open_offers = _open_offers()
    return TakenIn(tuple(_change(row, open_offers[_key(row.offer)]) for row in read))


def _doubles(rows: Sequence[OfferRow]) -> list[Fault]:
    """Return a fault for each row that offers on the same days what an earlier row offers."""
    earlier: dict[Key, list[OfferRow]] = defaultdict(list)
    faults = []
    for row in rows:
        alike = earlier[_key(row.offer)]
        same = next((one for one in alike if _share_days(one.offer, row.offer)), None)
        if same is not None:
            faults.append(
                Fault(
                    row.number,
                    "",
                    f"Row {same.number} offers the same pack of the same fibre on the same days. "
                    "Keep one of them.",
                )
            )
        alike.append(row)
    return faults


def _open_offers() -> dict[Key, list[Offer]]:
    found: dict[Key, list[Offer]] = defaultdict(list)
    for offer in Offer.objects.filter(closed_on=None).prefetch_related("breaks").order_by("pk"):
        found[_key(offer)].append(offer)
    return found


def _key(offer: Offer) -> Key:
    return offer.source_id, offer.fibre_id, offer.form.casefold(), offer.pack_mg


def _share_days(one: Offer, other: Offer) -> bool:
    def first(offer: Offer) -> date:
        return offer.valid_from or date.min

    def last(offer: Offer) -> date:
        return offer.valid_to or date.max

    return first(one) <= last(other) and first(other) <= last(one)


def _change(row: OfferRow, alike: Sequence[Offer]) -> Change:
    overlapping = tuple(one for one in alike if _share_days(one, row.offer))
    if not overlapping:
        return Change(row, "entered")
    if len(overlapping) == 1 and _says_the_same(row, overlapping[0]):
        return Change(row, "unchanged")
    return Change(row, "replaced", overlapping)


def _says_the_same(row: OfferRow, offer: Offer) -> bool:
    told = (
        "moisture", "price_per", "minor_per_kg", "least_packs", "breaks_are", "valid_from",
        "valid_to",
    )  # fmt: skip
    kept = tuple((step.from_packs, step.minor_per_kg) for step in offer.breaks.all())
    return kept == row.breaks and all(
        getattr(row.offer, name) == getattr(offer, name) for name in told
    )


def _write(found: TakenIn) -> None:
    """Close what is replaced, then write offers and breaks in portions."""
    closing = [offer.pk for change in found.changes for offer in change.closes]
    today = timezone.localdate()
    for start in range(0, len(closing), STEP):
        Offer.objects.filter(pk__in=closing[start : start + STEP]).update(closed_on=today)
    new = [change.row for change in found.changes if change.deed != "unchanged"]
    Offer.objects.bulk_create([row.offer for row in new], batch_size=STEP)
    OfferBreak.objects.bulk_create(
        [
            OfferBreak(offer=row.offer, from_packs=packs, minor_per_kg=price)
            for row in new
            for packs, price in row.breaks
        ],
        batch_size=STEP,
    )
