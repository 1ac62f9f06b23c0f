"""Means over makings against print: Student's t, limits of a mean, moments of a beta-binomial."""

from decimal import Decimal
from fractions import Fraction

import pytest

from orders.calc.learned import mean_of, share_of_sheets
from tests.published.rows import agrees, published

# Families of 12 children by the number of boys, 0 to 12: [BETABINOMIAL].
FAMILIES = (3, 24, 104, 286, 670, 1033, 1343, 1112, 829, 478, 181, 45, 7)
CHILDREN = 12
# The moments in print: [BETABINOMIAL].
ALPHA, BETA = 34.1350, 31.6085


def figures_with(mean: str, deviation: str, makings: int) -> list[Decimal]:
    """Return figures that have this mean and this standard deviation: half above, half below.

    An odd one lies on the mean.
    """
    pairs = makings // 2
    away = Decimal(deviation) * (Decimal(makings - 1) / (2 * pairs)).sqrt()
    middle = [Decimal(mean)] * (makings % 2)
    return [*middle, *[Decimal(mean) - away] * pairs, *[Decimal(mean) + away] * pairs]


def student(row):
    """Return t from the limits of makings whose deviation is the root of their number."""
    makings = int(row["makings"])
    figures = figures_with("0", str(Decimal(makings).sqrt()), makings)
    return mean_of(figures, assurance=Decimal(row["assurance"])).high


def limit(side):
    def calculated(row):
        figures = figures_with(row["mean"], row["deviation"], int(row["makings"]))
        return getattr(mean_of(figures, assurance=Decimal(row["assurance"])), side)

    return calculated


CALCULATIONS = {"student": student, "low": limit("low"), "high": limit("high")}


@published("learned")
def test_means_agree_with_print(row):
    assert agrees(Decimal(CALCULATIONS[row["calc"]](row)), row)


def test_moments_agree_with_print():
    families = [(boys, CHILDREN) for boys, many in enumerate(FAMILIES) for _ in range(many)]
    found = share_of_sheets(families, usual=Decimal("0.5"))
    # Print divides the square by the families, the calculation by one less of them.
    number, square = len(families), Fraction(1) / CHILDREN
    seen = (1 + (CHILDREN - 1) * found.between) * float(square)
    between = (seen * (number - 1) / number - 1 / CHILDREN) / (1 - 1 / CHILDREN)
    weight = 1 / between - 1
    assert number == 6115
    assert found.value * weight == pytest.approx(ALPHA, abs=0.00005)
    assert (1 - found.value) * weight == pytest.approx(BETA, abs=0.00005)
