"""The tables of costing in depth: fibre by the book and today, what moves a price, what came."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from studio.tables import (
    KgColumn,
    LedgerTable,
    MoneyColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)


@dataclass(frozen=True, slots=True)
class FibreCostRow:
    """One fibre of a furnish: what a kilogram is reckoned at, and to put it back today."""

    fibre: str
    book: Decimal | None
    today: Decimal | None
    today_basis: str


class FibreCostTable(LedgerTable):
    """Fibre as it is reckoned beside what it would cost today."""

    caption = "Each fibre oven-dry, as reckoned and today"
    shape = "three"

    fibre = RowHeader("Fibre", link=None, orderable=False)
    book = MoneyColumn("Reckoned at", per="kg", orderable=False)
    today = MoneyColumn("Today", per="kg", orderable=False)
    today_basis = TextColumn("Today’s price is from", wide=True, orderable=False)


class SwingTable(LedgerTable):
    """What moves the price of a good sheet, the most first."""

    caption = "Price of a good sheet, one thing moved at a time"
    shape = "three"
    nothing = "Nothing that moves is counted in the price."

    label = RowHeader("What moves", link=None, orderable=False)
    low_minor = MoneyColumn("Lower", orderable=False)
    high_minor = MoneyColumn("Higher", orderable=False)
    width_minor = MoneyColumn("Moves by", orderable=False)
    because = TextColumn("How far it is moved", wide=True, orderable=False)


class DifferenceColumn(MoneyColumn):
    """Amounts by which something differs, with their sign."""

    def render(self, value: int | Decimal) -> str:
        """Show the amount with its sign, more or less."""
        shown = super().render(value)
        return f"+{shown}" if self.value(value) > 0 else shown


@dataclass(frozen=True, slots=True)
class ActualRow:
    """One line of a making: reckoned, as it came, and why they differ."""

    label: str
    reckoned: Decimal
    actual: Decimal
    difference: Decimal
    reason: str


class ActualTable(LedgerTable):
    """What a making was reckoned to cost beside what it cost."""

    caption = "The whole making, reckoned and as it came"
    shape = "three"
    total_word = "In all"

    label = RowHeader("Part", link=None, orderable=False)
    reckoned = MoneyColumn("Reckoned", total=True, either_way=True, orderable=False)
    actual = MoneyColumn("As it came", total=True, either_way=True, orderable=False)
    difference = DifferenceColumn("Difference", total=True, either_way=True, orderable=False)
    reason = TextColumn("Why", wide=True, orderable=False)


@dataclass(frozen=True, slots=True)
class ValueRow:
    """One fibre in the store by the book."""

    fibre: str
    address: str
    oven_dry_mg: int
    value: Decimal
    each: Decimal | None
    today: Decimal | None
    unpriced_mg: int | None

    def get_absolute_url(self) -> str:
        """Return the page of the fibre."""
        return self.address


class ValueTable(LedgerTable):
    """What the fibre in the store cost by the book."""

    caption = "Fibre in the store by the book"
    caption_unseen = True
    shape = "three"
    nothing = "Nothing is in store."

    fibre = RowHeader("Fibre", orderable=False)
    oven_dry_mg = KgColumn("Left", basis="oven-dry", total=True, orderable=False)
    each = MoneyColumn("By the book", per="kg", orderable=False)
    value = MoneyColumn("Value by the book", total=True, orderable=False)
    share = ShareColumn("Of the whole", accessor="value", money=True, places=0, orderable=False)
    today = MoneyColumn("Today", total=True, orderable=False)
    unpriced_mg = KgColumn("No price known", total=True, lack=True, orderable=False)

    def render_share(self, value: Decimal) -> str:
        """Show its part of the value of the store."""
        whole = sum((row.value for row in self.data.data), Decimal(0))
        return self.columns["share"].column.render(value / whole) if whole else ""

    def value_share(self, value: Decimal) -> Decimal | str:
        """Give its part in percent."""
        whole = sum((row.value for row in self.data.data), Decimal(0))
        return self.columns["share"].column.value(value / whole) if whole else ""
