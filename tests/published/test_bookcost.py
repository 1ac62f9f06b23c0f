"""Book cost against print: the same purchases and issues, first in first out and on average."""

from decimal import Decimal

import pytest

from orders.calc.bookcost import Flow, book
from tests.published.rows import agrees, published

# Counted things in print, milligrams here: the sums are the same.
FLOWS = (
    Flow(1, "bought", 10, "A", Decimal(10 * 91)),
    Flow(2, "bought", 15, "B", Decimal(15 * 106)),
    Flow(3, "issued", 20),
    Flow(4, "bought", 20, "C", Decimal(20 * 115)),
    Flow(5, "bought", 10, "D", Decimal(10 * 119)),
    Flow(6, "issued", 23),
)


@published("bookcost")
def test_book_cost_agrees_with_print(row):
    found = book(FLOWS, way=row["way"])
    value = {
        "issue": lambda: found.outs[int(row["flow"])].minor,
        "issues": lambda: found.out_minor,
        "store": lambda: found.value_minor,
        "in": lambda: found.out_minor + found.value_minor,
    }[row["what"]]()
    assert agrees(value, row)


@pytest.mark.parametrize(
    ("flows", "average"), [(1, 91), (2, 100), (4, 112), (5, 114)], ids=lambda value: str(value)
)
def test_the_average_moves_with_each_receipt_as_printed(flows, average):
    # Averages in print: 91, 100, 112, 114 after the four purchases (STUDYAVERAGE).
    found = book(FLOWS[:flows], way="average")
    assert found.value_minor / found.held_mg == average
