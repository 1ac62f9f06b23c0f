"""Markup and margin against print: two different things from one cost."""

from decimal import Decimal

from orders.calc.costing import price_from_cost
from tests.published.rows import agrees, published


@published("costing")
def test_price_agrees_with_print(row):
    rate = Decimal(row["rate"])
    if row["kind"] == "equal markup":
        # The markup that makes the same price is what the price exceeds a cost of 1 by.
        assert agrees(price_from_cost(Decimal(1), by=row["by"], rate=rate) - 1, row)
    else:
        price_minor = price_from_cost(Decimal(row["cost"]) * 100, by=row["by"], rate=rate)
        assert agrees(price_minor / 100, row)
