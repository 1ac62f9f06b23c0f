"""Where a figure comes from: learned from makings, set by somebody, or usual."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from orders.models import AcceptedFigure, Sheet
from studio.origins import Asked

USUAL, SET = "usual", "set"
Key = tuple[str, str]


class Book:
    """The book of learned figures, read once: what was taken over for what, in order."""

    def __init__(self, rows: Iterable[AcceptedFigure]) -> None:
        self._rows: dict[Key, list[AcceptedFigure]] = defaultdict(list)
        for row in rows:
            self._rows[row.figure, row.subject].append(row)

    @classmethod
    def read(cls, subjects: Iterable[str] | None = None) -> Book:
        """Return the book, or what it has of some subjects, in one query."""
        rows = AcceptedFigure.objects.order_by("pk")
        return cls(rows if subjects is None else rows.filter(subject__in=list(subjects)))

    def taken_over(self, figure: str, subject: str, value: Any) -> AcceptedFigure | None:
        """Return the row by which a figure came to stand as it does; None for any other way."""
        rows = self._rows.get((figure, subject), ())
        last = rows[-1] if rows else None
        return last if last and is_same(last.value, value) else None

    def origin_of(
        self, figure: str, subject: str, value: Any, *, usual: Iterable[Any] = ()
    ) -> str:
        """Say where a figure comes from: "learned from 6 makings", "set" or "usual"."""
        if value is None:
            return USUAL
        row = self.taken_over(figure, subject, value)
        if row is not None:
            return f"learned from {makings_in_words(row.makings)}"
        return USUAL if any(is_same(one, value) for one in (*usual, *_usual(figure))) else SET

    def set_before(self, figure: str, subject: str, value: Decimal) -> Decimal:
        """Return the figure that was set before any learned one took its place.

        It stands in where makings are few; what was learned from them must not count again.
        """
        for row in reversed(self._rows.get((figure, subject), ())):
            if not is_same(row.value, value) or not row.before:
                break
            value = Decimal(row.before)
        return value


def origin_of(figure: str, subject: str, value: Any, *, usual: Iterable[Any] = ()) -> str:
    """Say where one figure comes from, in one query."""
    return Book.read([subject]).origin_of(figure, subject, value, usual=usual)


def origins_of(asked: Sequence[Asked]) -> list[str]:
    """Say where figures come from, however many, in one query."""
    book = Book.read({one.subject for one in asked})
    return [book.origin_of(one.figure, one.subject, one.value, usual=one.usual) for one in asked]


def sheet_origins(sheet: Sheet) -> dict[str, str]:
    """Return where each figure of a sheet comes from, by its field, in one query."""
    subject = f"sheet {sheet.pk}"
    book = Book.read([subject])
    return {
        field: book.origin_of(figure, subject, getattr(sheet, field))
        for figure, field in SHEET_FIELDS.items()
    }


def makings_in_words(number: int) -> str:
    """Return "1 making" or "6 makings"."""
    return f"{number} making" if number == 1 else f"{number} makings"


def is_same(one: Any, other: Any) -> bool:
    """Tell whether two figures are the same number, however they are written."""
    if one in (None, "") or other in (None, ""):
        return False
    return Decimal(str(one)) == Decimal(str(other))


Figure = AcceptedFigure.Figure
SHEET_FIELDS = {
    Figure.RETENTION: "retention",
    Figure.BROKE: "broke",
    Figure.RETREE: "retree",
    Figure.MINUTES: "minutes_per_pull",
}


def _usual(figure: str) -> tuple[Any, ...]:
    """Return what a new sheet starts with."""
    field = SHEET_FIELDS.get(Figure(figure))
    if field is None:
        return ()
    default = Sheet._meta.get_field(field).get_default()
    return () if default is None else (default,)
