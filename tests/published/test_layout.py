"""Finished sheets from one pull against printers' practice, standards and constructed cases."""

from decimal import Decimal

from orders.calc.layout import best_cut
from orders.calc.moulds import dry_size
from studio.reading import read_quantity
from studio.units import to_um
from tests.published.rows import agrees, published


def pull_of(row):
    pull = read_quantity(row["pull"], "size")
    if not row["shrinkage"]:
        return pull
    across, down = row["shrinkage"].split(" x ")
    return dry_size(pull, shrinkage=(Decimal(across), Decimal(down)))


@published("layout")
def test_layouts_agree_with_print(row):
    trim = to_um(read_quantity(row["trim"], "length")) if row["trim"] else 0
    found = best_cut(pull_of(row), piece=read_quantity(row["piece"], "size"), trim_um=trim)
    pieces = {"rows": found.same_way, "straight cuts": found.pieces}[row["rule"]]
    assert agrees(Decimal(pieces), row)
