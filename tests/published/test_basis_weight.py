"""Basis weight and grammage against factors and tables in print."""

from decimal import Decimal

from studio.reading import read_quantity
from studio.sizes import (
    BasicSize,
    basis_weight_from_grammage,
    grammage_from_basis_weight,
)
from studio.units import Q
from tests.published.rows import agrees, published


def basic(text: str) -> str | BasicSize:
    """Return a basic size by grade name, or one written as 25 x 40 in/1000."""
    if "/" not in text:
        return text
    sides, sheets = text.split("/")
    return BasicSize(text, read_quantity(sides, "size"), int(sheets), "the row")


@published("basis_weight")
def test_basis_weight_and_grammage_agree_with_print(row):
    given = Q(row["given"], row["given_unit"])
    if row["given_basic"]:
        given = grammage_from_basis_weight(given, basic_size=basic(row["given_basic"]))
    if row["wanted_basic"]:
        given = basis_weight_from_grammage(given, basic_size=basic(row["wanted_basic"]))
    assert agrees(given.to(row["unit"]).magnitude, row)


def test_bristol_area_is_not_the_misprinted_one():
    """A web chart gives 686 square inches for 22.5 x 28.5 in; it is 641.25 (G23)."""
    area = read_quantity("22.5 x 28.5 in", "size").area_m2
    assert area / Decimal("0.00064516") == Decimal("641.25")
