"""The ledger table of the house: columns with units, a totals row, sorting, pages.

A table is told the studio's units and currency and whether its reader sees money. It prints
with ``studio/tables/ledger.html`` and goes to a file through :mod:`studio.exports`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.core.exceptions import FieldError, ImproperlyConfigured
from django.core.paginator import Page
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.safestring import SafeString
from django_tables2.columns import BoundColumn
from django_tables2.data import TableQuerysetData
from django_tables2.rows import BoundRow

from studio.columns import (
    CountColumn,
    DayColumn,
    FigureColumn,
    GaugeColumn,
    HouseColumn,
    KgColumn,
    MarkColumn,
    MoneyColumn,
    NumberColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
    read_from,
)
from studio.units import System

__all__ = [
    "CountColumn",
    "DayColumn",
    "FigureColumn",
    "GaugeColumn",
    "HouseColumn",
    "KgColumn",
    "LedgerTable",
    "MarkColumn",
    "MoneyColumn",
    "NumberColumn",
    "RowHeader",
    "ShareColumn",
    "TextColumn",
]


@dataclass(frozen=True, slots=True)
class Heading:
    """The head of a column; ``address`` sorts by it, ``direction`` says how it is sorted."""

    words: str
    classes: str
    address: str
    direction: str


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell as the template prints it; an empty one has no label and no content."""

    content: str
    classes: str
    label: str = ""
    is_header: bool = False
    address: str = ""
    second: str = ""


@dataclass(frozen=True, slots=True)
class Pages:
    """Where the reader stands in a list of several pages."""

    number: int
    count: int
    rows: int
    earlier: str
    later: str


def pages_of(page: Page, address: Callable[[int], str]) -> Pages | None:
    """Return the pages round one, or None where it is the only one."""
    if page.paginator.num_pages == 1:
        return None
    return Pages(
        number=page.number,
        count=page.paginator.num_pages,
        rows=page.paginator.count,
        earlier=address(page.number - 1) if page.has_previous() else "",
        later=address(page.number + 1) if page.has_next() else "",
    )


class LedgerTable(tables.Table):
    """A table that looks like a page of the ledger.

    Children set ``caption`` and declare columns. ``shape`` adds classes of the look (three,
    stay, few), ``nothing`` is said where there are no rows, ``total_word`` heads the totals.
    """

    caption = ""
    caption_unseen = False
    shape = ""
    nothing = "Nothing is written here yet."
    total_word = "In all"
    request: HttpRequest | None = None

    def __init__(
        self,
        data: Any,
        *,
        units: System = "metric",
        currency: str = "GBP",
        sees_money: bool = False,
        totals: Mapping[str, Any] | None = None,
        **kwargs: Any,
    ) -> None:
        self.units = units
        self.currency = currency
        self.sees_money = sees_money
        self.totals = totals
        for name in ("caption", "caption_unseen", "shape", "nothing", "total_word"):
            setattr(self, name, kwargs.pop(name, getattr(self, name)))
        if not self.caption:
            message = f"{type(self).__name__} needs a caption: it names the table when read out."
            raise ImproperlyConfigured(message)
        if not sees_money:
            kwargs["exclude"] = [*(kwargs.get("exclude") or ()), *self._money_columns(kwargs)]
        kwargs.setdefault("default", "")
        if isinstance(data, QuerySet) and data.query.is_sliced:
            # The database cannot put a part of a list in another order; Python can.
            data = list(data)
        super().__init__(data, **kwargs)
        for bound in self.columns.iterall():
            if not isinstance(bound.column, HouseColumn):
                message = f"Column {bound.name!r} of {type(self).__name__} is no HouseColumn."
                raise ImproperlyConfigured(message)
            bound.column.units, bound.column.currency = units, currency
            if bound.orderable and not self._can_order_by(bound):
                bound.column.orderable = False

    def _money_columns(self, kwargs: Mapping[str, Any]) -> list[str]:
        columns = {**self.base_columns, **dict(kwargs.get("extra_columns") or ())}
        return [name for name, column in columns.items() if getattr(column, "money", False)]

    def _can_order_by(self, bound: BoundColumn) -> bool:
        """Tell whether rows can be put in order by a column: a database knows no properties."""
        if not isinstance(self.data, TableQuerysetData) or hasattr(self, f"order_{bound.name}"):
            return True
        try:
            self.data.data.order_by(*(part.for_queryset() for part in bound.order_by))
        except FieldError:
            return False
        return True

    # --- what the template prints -------------------------------------------------------------

    @property
    def html(self) -> SafeString:
        """The table in HTML, with links if it was arranged for a request."""
        html: SafeString = self.as_html(self.request)
        return html

    @property
    def headings(self) -> list[Heading]:
        """The heads of the columns."""
        return [
            Heading(
                words=str(bound.header),
                classes=self._classes(bound),
                address=self._sort_address(bound),
                direction=_direction(bound),
            )
            for bound in self.columns
        ]

    @property
    def sections(self) -> list[tuple[str, Iterable[list[Cell]]]]:
        """The body of the table and, where something is added up, its foot."""
        totals = self.total_cells
        body: tuple[str, Iterable[list[Cell]]] = ("tbody", self.lines)
        return [body, ("tfoot", [totals])] if totals else [body]

    @property
    def lines(self) -> Iterator[list[Cell]]:
        """The rows of the page, each a list of cells."""
        for row in self.paginated_rows:
            yield [self._cell(row, bound) for bound in self.columns]

    @property
    def total_cells(self) -> list[Cell]:
        """The cells of the totals row; none where nothing is added up."""
        sums = self._sums()
        if not sums:
            return []
        cells = [
            self._labelled(bound, self._total(bound, sums[bound.name]), sums[bound.name])
            if sums.get(bound.name) is not None
            else Cell("", self._classes(bound))
            for bound in self.columns
        ]
        first = cells[0]
        return [Cell(self.total_word, first.classes, is_header=True), *cells[1:]]

    @property
    def pages(self) -> Pages | None:
        """The pages of a list too long for one, or None."""
        page = getattr(self, "page", None)
        return None if page is None else pages_of(page, self._page_address)

    def _cell(self, row: BoundRow, bound: BoundColumn) -> Cell:
        column = bound.column
        content = _text(row.get_cell(bound.name))
        if column.is_row_header:
            return Cell(
                content,
                self._classes(bound),
                is_header=True,
                address=column.address(row.record),
                second=_text(read_from(row.record, column.second)),
            )
        second = _text(read_from(row.record, column.second))
        return self._labelled(bound, content, read_from(row.record, bound.accessor), second)

    def _labelled(self, bound: BoundColumn, content: str, value: Any, second: str = "") -> Cell:
        classes = self._classes(bound)
        if content and bound.column.is_figure and _is_off(bound.column, value):
            classes = f"{classes} off"
        label = str(bound.header) if content or second else ""
        return Cell(content, classes, label=label, second=second)

    def _classes(self, bound: BoundColumn) -> str:
        column = bound.column
        words = [column.css]
        if column.is_figure and bound.name == self._first_figure:
            words.append("opens")
        if column.wide:
            words.append("wide")
        return " ".join(word for word in words if word)

    @property
    def _first_figure(self) -> str:
        return next((bound.name for bound in self.columns if bound.column.is_figure), "")

    # --- totals -------------------------------------------------------------------------------

    def _sums(self) -> dict[str, Any]:
        """Return what is added up by column: as given, or over rows that all stand here."""
        shown = {bound.name for bound in self.columns}
        if self.totals is not None:
            return {name: total for name, total in self.totals.items() if name in shown}
        wanted = [bound for bound in self.columns if bound.column.total]
        if not wanted or self.pages or not len(self.rows):
            return {}
        return {bound.name: self._sum(bound) for bound in wanted}

    def _sum(self, bound: BoundColumn) -> Any:
        found = [read_from(row.record, bound.accessor) for row in self.paginated_rows]
        counted = [value for value in found if value is not None]
        return sum(counted) if counted else None

    @staticmethod
    def _total(bound: BoundColumn, value: Any) -> str:
        return str(bound.column.render(value))

    # --- links --------------------------------------------------------------------------------

    def _sort_address(self, bound: BoundColumn) -> str:
        if not bound.orderable:
            return ""
        return self._address(self.prefixed_order_by_field, bound.order_by_alias.next)

    def _page_address(self, number: int) -> str:
        return self._address(self.prefixed_page_field, str(number))

    def _address(self, field: str, value: str) -> str:
        """Return the query string of this page with one thing changed."""
        if self.request is None:
            return ""
        query = self.request.GET.copy()
        for stale in (self.prefixed_page_field, "format"):
            query.pop(stale, None)
        query[field] = value
        return f"?{query.urlencode()}"


def _text(value: Any) -> str:
    """Return text for a cell; what is marked safe stays so."""
    if value is None:
        return ""
    return value if isinstance(value, SafeString) else str(value)


def _direction(bound: BoundColumn) -> str:
    if not bound.is_ordered:
        return ""
    return "ascending" if bound.order_by_alias.is_ascending else "descending"


def _is_off(column: HouseColumn, value: Any) -> bool:
    """Tell whether a figure says that something is missing."""
    if not isinstance(value, int | Decimal) or getattr(column, "either_way", False):
        return False
    return value < 0 or (column.lack and value != 0)
