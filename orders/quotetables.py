"""The tables of quotes."""

from __future__ import annotations

from typing import Any

from studio.money import major, show_figure, show_money
from studio.tables import (
    CountColumn,
    DayColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    RowHeader,
    TextColumn,
)


class QuotedColumn(MoneyColumn):
    """An amount as it was issued; one in another currency than the column's names it."""

    def render(self, value: int, record: Any) -> str:
        """Show the amount."""
        currency = record.frozen["currency"]
        if currency != self.currency:
            return show_money(value, currency)
        return show_figure(value, currency)

    def value(self, value: int, record: Any) -> Any:
        """Give the amount as a number, or with its currency where that is another."""
        currency = record.frozen["currency"]
        return major(value, currency) if currency == self.currency else show_money(value, currency)


class QuoteTable(LedgerTable):
    """Quotes, each as it was issued."""

    caption = "Quotes"
    caption_unseen = True
    nothing = "No quote is drawn up yet. One is made from a commission, a sheet or the Bench."

    ref = RowHeader("Quote", code=True, named="shown_title", second="shown_client")
    shown_title = TextColumn("What it is for", visible=False, order_by="title")
    shown_client = TextColumn("For", visible=False, order_by="client__name")
    sheet = TextColumn("Sheet", accessor="shown_sheet", wide=True, order_by="sheet__name")
    good_quantity = CountColumn("Good sheets", accessor="stands_at")
    price = QuotedColumn("Price in all", accessor="price_in_all_minor", orderable=False)
    valid_until = DayColumn("Holds until")
    commission = TextColumn("Commission", accessor="commission__ref", code=True)
    state = MarkColumn("State", accessor="state_mark", orderable=True, order_by="state")
