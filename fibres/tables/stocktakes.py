"""Tables of counts of the store."""

from __future__ import annotations

from typing import Any

from django.urls import reverse

from fibres.models import Stocktake
from fibres.stocktaking import Row
from studio.tables import (
    CountColumn,
    DayColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)

EVERYWHERE = "Everything in store"


def place_in_words(stocktake: Stocktake) -> str:
    """Return where a count is taken."""
    return stocktake.place or EVERYWHERE


class StocktakeTable(LedgerTable):
    """Every count, with how far it is and what it found."""

    caption = "Counts of the store; the difference is oven-dry"
    shape = "three"
    nothing = "Nothing has been counted yet."

    count = RowHeader("Count", accessor="ref", code=True, second=place_in_words)
    started = DayColumn("Begun", accessor="started_on")
    posted = DayColumn("Posted", accessor="posted_on")
    lots = CountColumn("Lots", accessor="lots")
    weighed = CountColumn("Weighed", accessor="weighed")
    difference = KgColumn("Difference", accessor="difference_mg", basis="oven-dry")
    state = MarkColumn("State", accessor="state_mark")


def fibre_and_place(row: Row) -> str:
    """Return what a lot is and where the book has it."""
    return ", ".join(filter(None, [row.lot.fibre.name, row.lot.place]))


def address_of(row: Row) -> str:
    """Return where a lot is weighed, or its page once the count is over."""
    if row.line.stocktake.is_open:
        return reverse("countline", args=[row.line.pk])
    return str(row.lot.get_absolute_url())


class CountTable(LedgerTable):
    """The lots of one count: what the book has, what was weighed, and why they differ."""

    caption = "Kilograms; weighed as is, the rest oven-dry"
    shape = "three"
    nothing = "No lot is in this count."
    total_word = "Of the lots weighed"

    lot = RowHeader("Lot", accessor="lot__ref", link=address_of, code=True, second=fibre_and_place)
    state = MarkColumn("State", accessor="mark")
    weighed = KgColumn("Weighed", accessor="line__as_is_mg", basis="as is", in_caption=True)
    moisture = ShareColumn("Moisture", accessor="line__moisture")
    book = KgColumn("Book", accessor="book_mg", basis="oven-dry", in_caption=True)
    found = KgColumn("Found", accessor="line__oven_dry_mg", basis="oven-dry", in_caption=True)
    difference = KgColumn(
        "Difference", accessor="difference_mg", basis="oven-dry", in_caption=True
    )
    reason = TextColumn("Why", accessor="reason_in_words", wide=True)

    def render_difference(self, value: int) -> str:
        """Show a difference with its sign, so that more and less are told apart."""
        figure = str(self.columns["difference"].column.render(value))
        return f"+{figure}" if value > 0 else figure


class ReasonTable(LedgerTable):
    """What a count found more or less, by reason."""

    caption = "Oven-dry"
    shape = "few stay"
    nothing = "The book is right: nothing differs."
    total_word = "In all"

    reason = RowHeader("Why", accessor="reason", link=None)
    lots = CountColumn("Lots", accessor="lots", total=True)
    difference = KgColumn("Difference", accessor="difference_mg", basis="oven-dry", total=True)

    def render_difference(self, value: Any) -> str:
        """Show a difference with its sign."""
        figure = str(self.columns["difference"].column.render(value))
        return f"+{figure}" if value > 0 else figure
