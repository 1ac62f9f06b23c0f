"""Units against their published definitions."""

from studio.units import Q
from tests.published.rows import agrees, published


@published("units")
def test_conversion_gives_the_published_figure(row):
    converted = Q(row["magnitude"], row["from_unit"]).to(row["unit"])
    assert agrees(converted.magnitude, row)
