"""A lot on the scale beside what the book has of it, and the reason why they differ."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from fibres.calc import counting
from fibres.calc import moisture as wet
from fibres.models import CountLine, Lot
from fibres.wording import mass_words
from studio.errors import RangeError, StudioError

Reason = CountLine.Reason
# Water changes no fibre, so it explains neither.
EXPLAINS_MORE = (Reason.MISWEIGHED, Reason.FOUND)
EXPLAINS_LESS = (Reason.NOT_ENTERED, Reason.SPILT, Reason.MISWEIGHED, Reason.MISSING)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A lot on the scale beside what the book has of it."""

    as_is_mg: int
    moisture: Decimal
    oven_dry_mg: int
    book_oven_dry_mg: int

    @property
    def difference_mg(self) -> int:
        """What there is more than in the book, oven-dry; less, where below 0."""
        return self.oven_dry_mg - self.book_oven_dry_mg


def reckon(
    lot: Lot, *, as_is_mg: int, moisture: Decimal | None = None, reason: str = ""
) -> Weighed:
    """Return what a weighed lot holds: at the moisture of the book unless a sample says other.

    Where it only dried or drew water, its fibre is that of the book and its moisture follows.
    """
    book_mg = lot.oven_dry_mg
    if reason == Reason.DRIED:
        return _drifted(lot, as_is_mg, moisture)
    share = lot.moisture if moisture is None else moisture
    by_the_book = wet.as_is_mg(book_mg, share)
    shown, weighed = mass_words(by_the_book, as_is_mg)
    if shown == weighed:
        # The scale and the page round: what reads alike is no difference.
        return Weighed(by_the_book, share, book_mg, book_mg)
    return Weighed(as_is_mg, share, wet.oven_dry_mg(as_is_mg, share), book_mg)


def _drifted(lot: Lot, as_is_mg: int, moisture: Decimal | None) -> Weighed:
    if moisture is not None:
        raise RangeError(
            "Leave the moisture empty: where only water came or went, it follows from the fibre "
            "in the book. If a sample was weighed, say what else became of the lot.",
            field="moisture",
            value=moisture,
        )
    book_mg = lot.oven_dry_mg
    try:
        share = counting.moisture_by_fibre(as_is_mg, oven_dry_mg=book_mg)
    except RangeError as refusal:
        raise RangeError(
            f"{refusal} Give another reason, or weigh it again.", field="reason", value=as_is_mg
        ) from refusal
    return Weighed(as_is_mg, share, book_mg, book_mg)


def reason_for(weighed: Weighed, reason: str) -> str:
    """Return the reason to keep; none where the book is right, and never a contrary one."""
    change = weighed.difference_mg
    if not change:
        return reason if reason == Reason.DRIED else ""
    amount = mass_words(abs(change))[0]
    told = f"{amount} oven-dry {'more' if change > 0 else 'less'} than in the book"
    if not reason:
        raise StudioError(f"That is {told}. Say why.", field="reason")
    if reason not in (EXPLAINS_MORE if change > 0 else EXPLAINS_LESS):
        raise StudioError(
            f"That is {told}, which this does not explain. Choose another reason.",
            field="reason",
            value=reason,
        )
    return reason
