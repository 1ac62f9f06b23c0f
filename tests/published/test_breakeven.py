"""The break-even point against print; ours is the next whole sheet."""

import math
from decimal import Decimal

from orders.calc.ladder import break_even
from tests.published.rows import published


@published("breakeven")
def test_break_even_is_the_printed_point_rounded_up(row):
    found = break_even(
        int(row["fixed"]), price_minor=int(row["price"]), own_minor=int(row["variable"])
    )
    expected, tolerance = Decimal(row["expected"]), Decimal(row["tolerance"])
    assert found == math.ceil(expected - tolerance)
