"""How far the good share of a sheet varies, where its broke or retree was taken over.

What was taken over stays what it was: only the makings behind it count, not those since.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from decimal import Decimal
from functools import lru_cache

from django.db.models import Sum

from orders.calc.culls import Learned
from orders.calc.learned import beta_with, share_of_sheets
from orders.learning.origins import Book
from orders.models import AcceptedFigure, Making, Post, Sheet

Figure = AcceptedFigure.Figure
CULLS = {Figure.BROKE: "broke", Figure.RETREE: "retree"}
Counts = tuple[tuple[int, int], ...]


@lru_cache(maxsize=10_000)
def _weight(counts: Counts, usual: Decimal) -> float:
    return share_of_sheets(counts, usual=usual).weight


class Spreads:
    """The learned good shares by sheet, for the safe counts."""

    def __init__(self, book: Book, counts: dict[int, Counts]) -> None:
        self._book, self._counts = book, counts

    def of(self, sheet: Sheet) -> Learned | None:
        """Return the Beta parameters of the good share; None where broke and retree are set.

        The mean is what the sheet says; only how far it varies is learned.
        """
        counts = self._counts.get(sheet.pk, ())
        good = 1 - sheet.broke - sheet.retree
        makings = self._makings(sheet)
        if not makings or not counts or not 0 < good < 1:
            return None
        usual = 1 - sum(self._set_before(sheet, figure) for figure in CULLS)
        weight = _weight(counts[:makings], min(max(usual, Decimal(0)), Decimal(1)))
        return beta_with(good, weight=weight)

    def _makings(self, sheet: Sheet) -> int:
        """Return how many makings are behind what was taken over and still stands."""
        rows = (
            self._book.taken_over(figure, f"sheet {sheet.pk}", getattr(sheet, field))
            for figure, field in CULLS.items()
        )
        return max((row.makings for row in rows if row), default=0)

    def _set_before(self, sheet: Sheet, figure: Figure) -> Decimal:
        value: Decimal = getattr(sheet, CULLS[figure])
        return self._book.set_before(figure, f"sheet {sheet.pk}", value)


def read_spreads() -> Spreads:
    """Read what was taken over; the makings too where anything was, in two queries at most."""
    rows = list(AcceptedFigure.objects.filter(figure__in=CULLS).order_by("pk"))
    sheets = {int(row.subject.split()[1]) for row in rows}
    return Spreads(Book(rows), _counts(sheets) if sheets else {})


def _counts(sheets: Iterable[int]) -> dict[int, Counts]:
    """Return good and finished sheets of each finished making, the first finished first."""
    rows = (
        Post.objects.filter(making__state=Making.State.FINISHED, making__sheet__in=list(sheets))
        .order_by("making__finished_on", "making_id")
        .values_list("making__sheet_id", "making_id", "making__finished_on")
        .annotate(good_ones=Sum("good"), rest=Sum("retree") + Sum("broke"))
    )
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for sheet, _, _, good, rest in rows:
        if good + rest:
            found[sheet].append((good, good + rest))
    return {sheet: tuple(counts) for sheet, counts in found.items()}
