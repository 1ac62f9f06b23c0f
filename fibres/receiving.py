"""Many lots entered as one act: the same receipt, lot and first movement for each of them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from fibres import ledger
from fibres.models import Lot, Movement
from fibres.services import Receipt, fibre_in, lot_of
from studio.models import Counter, Entry

NUMBERED = re.compile(r".*-([0-9]{1,6})")
LEFT = "What was left when the list was taken in"


@dataclass(frozen=True, slots=True)
class Arriving:
    """A receipt with what is left of it, oven-dry, and the lot's own number; both may be None."""

    receipt: Receipt
    ref: str = ""
    left_mg: int | None = None
    keep_until: date | None = None
    closed_on: date | None = None


def receive_all(
    arriving: Sequence[Arriving], *, entry: Entry, tell: Callable[[int], None], step: int
) -> None:
    """Enter lots as a part of one act, a portion at a time."""
    refs = _refs(arriving)
    for start in range(0, len(arriving), step):
        part = arriving[start : start + step]
        lots = Lot.objects.bulk_create(
            [_lot(one, ref) for one, ref in zip(part, refs[start : start + step], strict=True)]
        )
        ledger.post_first(
            [post for lot, one in zip(lots, part, strict=True) for post in _postings(lot, one)],
            entry=entry,
        )
        tell(start + len(part))


def highest_number(refs: Iterable[str]) -> int:
    """Return the highest number that references end in, of those that a studio counts to."""
    found = (NUMBERED.fullmatch(ref) for ref in refs)
    return max((int(one[1]) for one in found if one), default=0)


def _refs(arriving: Sequence[Arriving]) -> list[str]:
    """Return the number of each lot: its own, or the next one that is free."""
    without = sum(not one.ref for one in arriving)
    beyond = highest_number(one.ref for one in arriving)
    numbers = iter(Counter.take("lot", without, beyond=beyond) if without or beyond else ())
    return [one.ref or f"{one.receipt.fibre.code}-{next(numbers):04d}" for one in arriving]


def _lot(one: Arriving, ref: str) -> Lot:
    lot = lot_of(one.receipt, fibre_in(one.receipt), ref)
    lot.keep_until = one.keep_until or lot.keep_until
    lot.closed_on = one.closed_on
    lot.clean_fields(exclude={"fibre", "source"})
    return lot


def _postings(lot: Lot, one: Arriving) -> list[ledger.Posting]:
    came = ledger.Posting(
        lot, Movement.Kind.RECEIVED, lot.received_oven_dry_mg, lot.received_on, lot.as_is_mg
    )
    if one.left_mg is None or one.left_mg == lot.received_oven_dry_mg:
        return [came]
    today = max(timezone.localdate(), lot.received_on)
    change = one.left_mg - lot.received_oven_dry_mg
    return [came, ledger.Posting(lot, Movement.Kind.COUNTED, change, today, why=LEFT)]
