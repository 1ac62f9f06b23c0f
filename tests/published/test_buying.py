"""Lot sizing, quantity discounts and whole packs from print, run through the planner itself.

A period of the source is a day, a unit is a kilogram, and a unit comes in a pack of its own
unless the row names packs. A source that reckons in continuous time is given as even needs in
many short periods, over a horizon that its order size divides.
"""

from datetime import date, timedelta

import pytest

from orders.calc.buying import plan
from orders.calc.plan import from_json
from tests.published.rows import agrees, published

START = date(2027, 3, 1)
KG = 10**6


def on(day):
    return (START + timedelta(days=day)).isoformat()


def snapshot(sourcing):
    return from_json(
        {
            "halfstuff_snapshot": 1,
            "today": on(0),
            "currency": "GBP",
            "lots": [],
            "commissions": [],
            "sourcing": sourcing,
        }
    )


def numbers(text):
    return [int(word) for word in text.split()]


def bought(row):
    """Put the case of a row to the planner; every such case must be settled, not estimated."""
    periods = int(row["periods"])
    needs = numbers(row["needs"]) if " " in row["needs"] else [int(row["needs"])] * periods
    setup = numbers(row["setup"])
    freight = setup[0] if len(setup) == 1 else [[on(n), cost] for n, cost in enumerate(setup)]
    steps = [[int(part) for part in step.split(":")] for step in row["prices"].split()]
    answer = plan(
        snapshot(
            {
                "horizon_days": periods,
                "holding_minor_per_kg_day": {"linter": row["holding"]},
                "demand": [
                    {"fibre": "linter", "on": on(day), "mg": need * KG}
                    for day, need in enumerate(needs[:periods])
                ],
                "sources": [{"ref": "S1", "lead_days": 0, "freight_minor": freight}],
                "offers": [
                    {
                        "ref": "O1",
                        "source": "S1",
                        "fibre": "linter",
                        "pack_usable_mg": KG,
                        "breaks": steps,
                    }
                ],
            }
        ),
        time_limit_s=120,
    )
    assert answer.gap == 0
    return answer


def least_cost(row):
    return [bought(row).total_minor]


def ordered_in(row):
    day = START + timedelta(days=int(row["period"]) - 1)
    return [
        sum(
            line.packs
            for order in bought(row).purchases
            if order.order_on == day
            for line in order.lines
        )
    ]


def order_size(row):
    return [sum(line.packs for line in order.lines) for order in bought(row).purchases]


def orders(row):
    return [len(bought(row).purchases)]


def exact_totals(row, upto):
    """Which totals can be bought to the unit, where every unit costs one minor unit."""
    packs = numbers(row["packs"])
    found = set()
    for need in range(1, upto + 1):
        answer = plan(
            snapshot(
                {
                    "horizon_days": 1,
                    "demand": [{"fibre": "linter", "on": on(0), "mg": need * KG}],
                    "sources": [{"ref": "S1", "lead_days": 0}],
                    "offers": [
                        {
                            "ref": f"O{pack}",
                            "source": "S1",
                            "fibre": "linter",
                            "pack_usable_mg": pack * KG,
                            "breaks": [[1, pack]],
                        }
                        for pack in packs
                    ],
                }
            )
        )
        assert answer.gap == 0
        if answer.total_minor == need:
            found.add(need)
    return found


def unreachable(row):
    """Return the totals that cannot be bought; a run as long as the least pack ends them."""
    upto = 52
    found = exact_totals(row, upto)
    assert set(range(upto - min(numbers(row["packs"])) + 1, upto + 1)) <= found
    return set(range(1, upto + 1)) - found


CALCULATIONS = {
    "least_cost": least_cost,
    "ordered_in": ordered_in,
    "order_size": order_size,
    "orders": orders,
    "largest_unreachable": lambda row: [max(unreachable(row))],
    "count_unreachable": lambda row: [len(unreachable(row))],
}


@published("buying")
def test_buying_agrees_with_print(row):
    values = CALCULATIONS[row["calc"]](row)
    assert values
    for value in values:
        assert agrees(value, row), values


def test_nothing_is_bought_in_a_period_of_which_the_printed_plan_is_silent():
    # [WAGNER]: orders in periods 1, 3, 5, 8, 10 and 11 and in no other.
    row = {
        "needs": "69 29 36 61 61 26 34 67 45 67 79 56",
        "setup": "85 102 102 101 98 114 105 86 119 110 98 114",
        "periods": "12",
        "holding": "1",
        "prices": "1:0",
    }
    periods = [(order.order_on - START).days + 1 for order in bought(row).purchases]
    assert periods == [1, 3, 5, 8, 10, 11]


# Own constructed cases, each by enumeration of all small plans: need, price of two 25 kg packs,
# total, packs of 5, 10 and 25 kg.
FREIGHT_CASES = [
    (38, [[1, 270]], 485, {"P5": 1, "P10": 1, "P25": 1}),
    (43, [[1, 270], [2, 250]], 500, {"P25": 2}),
]


@pytest.mark.parametrize(("need", "price_of_25", "total", "packs"), FREIGHT_CASES)
def test_freight_and_breaks_change_which_packs_are_cheapest(need, price_of_25, total, packs):
    offers = {"P5": (5, [[1, 62]]), "P10": (10, [[1, 118]]), "P25": (25, price_of_25)}
    answer = plan(
        snapshot(
            {
                "horizon_days": 7,
                "demand": [{"fibre": "linter", "on": on(3), "mg": need * KG}],
                "sources": [
                    {
                        "ref": "S1",
                        "lead_days": 1,
                        "freight_minor": 35,
                        "free_freight_from_minor": 500,
                    }
                ],
                "offers": [
                    {
                        "ref": ref,
                        "source": "S1",
                        "fibre": "linter",
                        "pack_usable_mg": kg * KG,
                        "breaks": price,
                    }
                    for ref, (kg, price) in offers.items()
                ],
            }
        )
    )
    lines = [line for order in answer.purchases for line in order.lines]
    assert (answer.total_minor, answer.gap) == (total, 0)
    assert {line.offer: line.packs for line in lines} == packs
