"""Sheet sizes against the standards' and the trade's tables."""

import pytest

from studio.reading import read_quantity
from studio.sizes import size_named
from tests.published.rows import published, rows

HALVED = [row for row in rows("sizes") if row["halved_from"]]


@published("sizes")
def test_named_size_has_the_published_sides(row):
    assert size_named(row["name"]) == read_quantity(f"{row['expected']} {row['unit']}", "size")


@pytest.mark.parametrize("row", HALVED, ids=lambda row: f"{row['key']}-{row['name']}")
def test_halving_the_first_of_a_series_gives_every_other(row):
    first = size_named(row["halved_from"])
    assert first.halves(int(row["times"])) == read_quantity(
        f"{row['expected']} {row['unit']}", "size"
    )


def test_iso_b4_is_not_jis_b4():
    """ISO 216 gives 353, not the 352 of one package's table; JIS B4 is larger (S11, S17)."""
    assert size_named("B4") == read_quantity("250 x 353 mm", "size")
    assert size_named("JIS B4") == read_quantity("257 x 364 mm", "size")
