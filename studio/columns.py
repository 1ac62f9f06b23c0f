"""The columns of a ledger table: each shows a figure to a person and gives a number to a file.

``render`` words a cell for the page; ``value`` gives what an export writes: a plain number, a
day or text without markup. Unit, basis and currency stand in the heading, not in the cells.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import django_tables2 as tables
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.html import format_html
from django_tables2.utils import Accessor

from studio import money as money_words
from studio import units
from studio.templatetags.studio import code as code_span
from studio.templatetags.studio import day as day_words
from studio.templatetags.studio import mark as mark_span

Path = str | Callable[[Any], Any] | None
MG_PER_POUND = Decimal("453592.37")


def read_from(record: Any, path: Path) -> Any:
    """Return what a path of attributes, or a function of the record, finds; None for nothing."""
    if path is None:
        return None
    if callable(path):
        return path(record)
    return Accessor(path.replace(".", "__")).resolve(record, quiet=True)


def tidy(number: Decimal) -> Decimal:
    """Return the same number without trailing zeros and without an exponent.

    >>> tidy(Decimal("6.500000")), tidy(Decimal("1E+3"))
    (Decimal('6.5'), Decimal('1000'))
    """
    bare = number.normalize()
    return bare.quantize(Decimal(1)) if bare == bare.to_integral_value() else bare


class HouseColumn(tables.Column):
    """What every column of the house can do.

    Parameters
    ----------
    heading : str
        The words over the column, without unit.
    second : path or callable
        What stands under the figure in small type.
    money : bool
        Gone for a person who sees no money: from the page, from sorting and from the file.
    wide : bool
        Takes a line of its own where the table is folded.
    total : bool
        Added up in the totals row.
    lack : bool
        Any figure but 0 is something missing, and set off as such.
    """

    css = ""
    is_figure = False
    is_row_header = False
    # The table sets both for its own copy of the column.
    units: units.System = "metric"
    currency = "GBP"

    def __init__(
        self,
        heading: str,
        accessor: str | None = None,
        *,
        second: Path = None,
        money: bool = False,
        wide: bool = False,
        total: bool = False,
        lack: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(heading, accessor, **kwargs)
        self.heading = heading
        self.second = second
        self.money = money
        self.wide = wide
        self.total = total
        self.lack = lack

    @property
    def header(self) -> str:
        """The words over the column on the page."""
        return self.heading

    @property
    def export_header(self) -> str:
        """The words over the column in a file, where no caption helps."""
        return self.header


class TextColumn(HouseColumn):
    """Words; ``code=True`` keeps a reference such as C-118 on one line."""

    def __init__(self, *args: Any, code: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.code = code

    def render(self, value: Any) -> Any:
        """Show the words."""
        if isinstance(value, bool):
            return "Yes" if value else "No"
        return code_span(value) if self.code else value

    def value(self, value: Any) -> Any:
        """Give the bare words."""
        return self.render(value) if isinstance(value, bool) else str(value)


class RowHeader(HouseColumn):
    """The name of a row, with the link to its page.

    ``link`` is True for the record's own address, a path or a function that gives an address,
    or None; ``named`` finds words that follow a code inside the link.
    """

    is_row_header = True

    def __init__(
        self,
        *args: Any,
        link: bool | Path = True,
        code: bool = False,
        named: Path = None,
        figure: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.leads_to = link
        self.code = code
        self.named = named
        self.css = "n" if figure else ""

    def address(self, record: Any) -> str:
        """Return where the name leads, or nothing."""
        path = "get_absolute_url" if self.leads_to is True else self.leads_to
        return str(read_from(record, path or None) or "")

    def render(self, value: Any, record: Any) -> Any:
        """Show the code or name and what it is called."""
        if self.css and isinstance(value, int | Decimal):
            value = units.show_number(value)
        shown = code_span(value) if self.code else value
        named = read_from(record, self.named)
        return format_html("{} {}", shown, named) if named else shown

    def value(self, value: Any) -> Any:
        """Give the bare name; a count stays a number."""
        return value if self.css else str(value)


class FigureColumn(HouseColumn):
    """A column of figures, set right."""

    css = "n"
    is_figure = True


class KgColumn(FigureColumn):
    """Milligrams, shown in kilograms, or in pounds where the studio measures in them.

    ``basis`` (as-is, oven-dry, usable, as sold) follows the unit in the heading. With
    ``in_caption`` the caption says both and the heading on the page stays short.
    """

    def __init__(
        self, *args: Any, basis: str = "", places: int = 2, in_caption: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.basis = basis
        self.places = places
        self.in_caption = in_caption

    @property
    def header(self) -> str:
        """The heading, with unit and basis unless the caption says them."""
        return self.heading if self.in_caption else self.export_header

    @property
    def export_header(self) -> str:
        """The heading with unit and basis."""
        unit = "lb" if self.units == "US" else "kg"
        return f"{self.heading}, {unit} {self.basis}".rstrip()

    def _figure(self, mass_mg: int) -> Decimal:
        if self.units == "US":
            return Decimal(mass_mg) / MG_PER_POUND
        return units.mg_to_kg(mass_mg)

    def render(self, value: int) -> str:
        """Show the plain figure."""
        return units.show_number(self._figure(value), places=self.places) if value else "0"

    def value(self, value: int) -> Decimal:
        """Give the number, to the milligram or a millionth of a pound."""
        return tidy(round(self._figure(value), 6))


class ShareColumn(FigureColumn):
    """Shares of 0 to 1, shown in percent."""

    def __init__(self, *args: Any, places: int = 1, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = places

    @property
    def export_header(self) -> str:
        """The heading with the unit of the number under it."""
        return f"{self.heading}, %"

    def render(self, value: Decimal) -> str:
        """Show percent."""
        return units.show_share(value, places=self.places)

    def value(self, value: Decimal) -> Decimal:
        """Give percent as a number."""
        return tidy(Decimal(value) * 100)


class MoneyColumn(FigureColumn):
    """Minor units, shown as an amount; ``per`` names what the price is for, such as kg."""

    def __init__(
        self,
        *args: Any,
        per: str = "",
        money: bool = True,
        either_way: bool = False,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, money=money, **kwargs)
        self.per = per
        # Below nothing is no lack, as where something is taken off a sum.
        self.either_way = either_way

    def _header(self, sign: str) -> str:
        per = "lb" if self._is_by_the_pound else self.per
        return f"{self.heading}, {sign}/{per}" if per else f"{self.heading}, {sign}"

    @property
    def _is_by_the_pound(self) -> bool:
        return self.units == "US" and self.per == "kg"

    @property
    def header(self) -> str:
        """The heading with the currency's sign."""
        return self._header(money_words.SIGNS.get(self.currency, self.currency))

    @property
    def export_header(self) -> str:
        """The heading with the currency's code, which no two countries share."""
        return self._header(self.currency)

    def value(self, value: int | Decimal) -> Decimal:
        """Give the amount as a number."""
        minor = Decimal(value) * money_words.KG_PER_POUND if self._is_by_the_pound else value
        return money_words.major(minor, self.currency)

    def render(self, value: int | Decimal) -> str:
        """Show the plain amount."""
        return units.show_number(self.value(value), places=money_words.digits(self.currency))


class NumberColumn(FigureColumn):
    """Numbers in a unit of their own, such as g/m² or minutes."""

    def __init__(
        self, *args: Any, unit: str = "", places: int | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.unit = unit
        self.places = places

    @property
    def header(self) -> str:
        """The heading with its unit."""
        return f"{self.heading}, {self.unit}" if self.unit else self.heading

    def render(self, value: int | Decimal) -> str:
        """Show the number."""
        return units.show_number(value, places=self.places)

    def value(self, value: int | Decimal) -> int | Decimal:
        """Give the number."""
        return value if isinstance(value, int) else tidy(Decimal(value))


class CountColumn(NumberColumn):
    """Whole numbers of things."""


class DayColumn(HouseColumn):
    """Days; ``mark`` names the mark set before each, such as soon for a date to keep."""

    css = "day"

    def __init__(self, *args: Any, mark: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.mark = mark

    def render(self, value: datetime.date) -> Any:
        """Show the day in words."""
        return mark_span(self.mark, day_words(value)) if self.mark else day_words(value)

    def value(self, value: datetime.date) -> datetime.date:
        """Give the day where the studio stands."""
        if not isinstance(value, datetime.datetime):
            return value
        return (timezone.localtime(value) if timezone.is_aware(value) else value).date()


class MarkColumn(HouseColumn):
    """A state: a pair of kind and word, or an object that has both."""

    css = "state"

    def __init__(self, *args: Any, orderable: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, orderable=orderable, **kwargs)

    @staticmethod
    def _pair(value: Any) -> tuple[str, str]:
        kind, word = value if isinstance(value, tuple) else (value.kind, value.word)
        return kind, word

    def render(self, value: Any) -> Any:
        """Show the mark with its word."""
        return mark_span(*self._pair(value))

    def value(self, value: Any) -> str:
        """Give the word."""
        return self._pair(value)[1]


class GaugeColumn(HouseColumn):
    """A bar that repeats the figures of its row; the value is a ``studio.charts.Gauge``."""

    css = "pic"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, orderable=False, exclude_from_export=True, **kwargs)

    def render(self, value: Any, bound_row: Any, table: Any) -> str:
        """Draw the bar; the number of the row keeps its pattern apart from the others."""
        context = {"gauge": value, "id": f"{table.prefix}bar-{bound_row.row_counter}"}
        return render_to_string("components/gauge.html", context)
