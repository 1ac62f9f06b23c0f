"""Pulls for good sheets against a printed table, a calculator and other routes."""

from decimal import Decimal

from orders.calc.culls import chance_of, pulls_average, pulls_safe
from tests.published.rows import agrees, published


def share_of(row):
    if row["learned"]:
        a, b = row["learned"].split(":")
        return {"learned": (Decimal(a), Decimal(b))}
    return {"good_share": Decimal(row["good_share"])}


def just_now(row):
    """Return the chance that the last good sheet is just the one of the last pull."""
    good, pulls = int(row["good"]), int(row["pulls"])
    return chance_of(good, pulls, **share_of(row)) - chance_of(good, pulls - 1, **share_of(row))


CALCULATIONS = {
    "pulls_safe": lambda row: pulls_safe(
        int(row["good"]), assurance=Decimal(row["assurance"]), **share_of(row)
    ),
    "pulls_average": lambda row: pulls_average(int(row["good"]), **share_of(row)),
    "chance": lambda row: chance_of(int(row["good"]), int(row["pulls"]), **share_of(row)),
    "just_now": just_now,
}


@published("culls")
def test_culls_agree_with_print(row):
    assert agrees(Decimal(CALCULATIONS[row["calc"]](row)), row)
