"""How far the good share of a sheet varies, where its broke or retree was taken over.

What was taken over stays what it was: only the makings behind it count, those that were finished
before it in the book of entries. The day that a making bears does not tell: one that is entered
late may bear an earlier day than those that were looked at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache
from typing import NamedTuple

from django.db.models import Min, Sum
from django.db.models.functions import Coalesce

from orders.calc.culls import Learned
from orders.calc.learned import beta_with, share_of_sheets
from orders.learning.origins import Book
from orders.models import AcceptedFigure, Making, Post, Sheet

Figure = AcceptedFigure.Figure
CULLS = {Figure.BROKE: "broke", Figure.RETREE: "retree"}
Counts = tuple[tuple[int, int], ...]


class Counted(NamedTuple):
    """Sheets of one finished making, and the number of the entry by which it was finished."""

    entry: int
    good: int
    finished: int


@lru_cache(maxsize=10_000)
def _weight(counts: Counts, usual: Decimal) -> float:
    return share_of_sheets(counts, usual=usual).weight


class Spreads:
    """The learned good shares by sheet, for the safe counts."""

    def __init__(self, book: Book, counted: dict[int, list[Counted]]) -> None:
        self._book, self._counted = book, counted

    def of(self, sheet: Sheet) -> Learned | None:
        """Return the Beta parameters of the good share; None where broke and retree are set.

        The mean is what the sheet says; only how far it varies is learned.
        """
        counts = self._behind(sheet)
        good = 1 - sheet.broke - sheet.retree
        if not counts or not 0 < good < 1:
            return None
        usual = 1 - sum(self._set_before(sheet, figure) for figure in CULLS)
        weight = _weight(counts, min(max(usual, Decimal(0)), Decimal(1)))
        return beta_with(good, weight=weight)

    def _behind(self, sheet: Sheet) -> Counts:
        """Return the counts of the makings behind what was taken over and still stands."""
        rows = (
            self._book.taken_over(figure, f"sheet {sheet.pk}", getattr(sheet, field))
            for figure, field in CULLS.items()
        )
        taken_over = max((row.entry_id for row in rows if row), default=0)
        return tuple(
            (one.good, one.finished)
            for one in self._counted.get(sheet.pk, ())
            if one.entry < taken_over
        )

    def _set_before(self, sheet: Sheet, figure: Figure) -> Decimal:
        value: Decimal = getattr(sheet, CULLS[figure])
        return self._book.set_before(figure, f"sheet {sheet.pk}", value)


def read_spreads() -> Spreads:
    """Read what was taken over; the makings too where anything was, in three queries at most."""
    rows = list(AcceptedFigure.objects.filter(figure__in=CULLS).order_by("pk"))
    sheets = {int(row.subject.split()[1]) for row in rows}
    return Spreads(Book(rows), _counted(sheets) if sheets else {})


def _counted(sheets: Iterable[int]) -> dict[int, list[Counted]]:
    """Return good and finished sheets of each finished making, the first entered first."""
    makings = Making.objects.filter(state=Making.State.FINISHED, sheet__in=list(sheets)).annotate(
        # What is issued and what is made moves with the entry that finishes a making.
        entry=Coalesce(Min("issues__movement__entry"), Min("sheet_movements__entry"), 0)
    )
    finished_by = dict(makings.order_by().values_list("pk", "entry"))
    rows = (
        Post.objects.filter(making__state=Making.State.FINISHED, making__sheet__in=list(sheets))
        .order_by()
        .values_list("making__sheet_id", "making_id")
        .annotate(good_ones=Sum("good"), rest=Sum("retree") + Sum("broke"))
    )
    found: dict[int, list[Counted]] = defaultdict(list)
    for sheet, making, good, rest in rows:
        if good + rest:
            found[sheet].append(Counted(finished_by[making], good, good + rest))
    return {sheet: sorted(counted) for sheet, counted in found.items()}
