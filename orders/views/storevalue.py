"""The value of the store by the book, for who sees money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.views.generic import TemplateView

from orders import storevalue
from orders.costtables import ValueRow, ValueTable
from orders.explained.cost import by_the_book
from orders.storevalue import FibreValue
from orders.views.shapes import today
from studio.explaining import Explained
from studio.lists import house_table
from studio.models import Studio
from studio.money import show_money
from studio.pages import HousePage
from studio.roles import needs

WAYS = {
    Studio.BookCost.FIRST_IN_FIRST_OUT: (
        "First in, first out: whichever lot is weighed out, the oldest cost of its fibre goes, "
        "and what came last is what still lies here."
    ),
    Studio.BookCost.AVERAGE: (
        "Moving average: each receipt moves the one price of its fibre, and what goes takes that "
        "price along."
    ),
}
RULES = (
    "A lot cost what was paid for it with its share of freight, less what was taken off.",
    "Lots that a commission names are kept apart, each at its own cost.",
    "What was counted as lost or thrown away has left at its cost; what a count found has come in "
    "at the average cost of what lay there.",
    "A gift cost nothing. Heel and broke of the studio’s own were paid for by their making.",
    "The rules follow IAS 2, as summaries give them; an accountant says what holds for you.",
)


@needs("money")
class StoreValue(HousePage, TemplateView):
    """What the fibre in the store cost, fibre by fibre and in all."""

    template_name = "orders/store_value.html"
    heading = "Value of the store"
    back = ("Store", "store")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the table, the sentence over it, and the rules."""
        found = storevalue.values(self.studio, today())
        way = Studio.BookCost(self.studio.book_cost)
        return super().get_context_data(
            lede=self._finding(found),
            table=house_table(
                self.request, ValueTable, [_row(one) for one in found], paginate=False
            ),
            way=WAYS[way],
            rules=RULES,
            **kwargs,
        )

    def _finding(self, found: list[FibreValue]) -> str:
        if not found:
            return "Nothing is in store."
        whole = sum((one.value_minor for one in found), Decimal(0))
        said = f"By the book the fibre in store cost {show_money(whole, self.studio.currency)}."
        if any(one.unpriced_mg for one in found):
            said += " Some of it has no price and is counted as nothing: enter what its lots cost."
        return said

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the value is kept, by all that is in store."""
        studio = self.studio
        way = WAYS[Studio.BookCost(studio.book_cost)]
        return by_the_book(shown["table"], way, studio.currency, studio.units)


def _row(one: FibreValue) -> ValueRow:
    return ValueRow(
        fibre=one.fibre.name,
        address=one.fibre.get_absolute_url(),
        oven_dry_mg=one.held_mg,
        value=one.value_minor,
        each=one.minor_per_kg,
        today=one.today_minor,
        unpriced_mg=one.unpriced_mg or None,
    )
