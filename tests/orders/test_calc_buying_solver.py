"""Where the solver is wrong or at a loss, the plan is not: it is counted afresh every time."""

import pytest

from tests.orders.sourcings import offer, planned, source, wish


@pytest.mark.parametrize(
    ("kg", "pack_kg", "steps", "freight", "total"),
    [
        # By hand: 8 packs cover it and cost 226.80; at 13.74 each 15 packs reach the 200.00.
        (21.661879, 3, [(1, 3078), (4, 3339), (7, 2835), (10, 1374)], 500, 15 * 1374 + 500),
        # 6 packs cover it; 8 cost 268.48 and 55 packs at 3.64 reach the 200.00.
        (20.659742, 4, [(1, 2436), (5, 4740), (8, 3356), (9, 364)], 0, 55 * 364),
    ],
)
def test_a_step_far_beyond_the_need_is_found_though_the_rule_stops_before_it(
    kg, pack_kg, steps, freight, total
):
    answer = planned(
        [source(freight_minor=freight, order_minimum_minor=20_000)],
        [offer("O1", "linter", pack_kg, *steps)],
        [wish(19, kg)],
        horizon=28,
    )
    assert (answer.total_minor, answer.gap) == (total, 0)


def test_a_case_that_the_solver_takes_for_impossible_keeps_the_plan_of_the_rule():
    # Packs of a thousand tonnes beside packs of a milligram are more than its tolerances bear.
    huge = {"pack_usable_mg": 10**15, "least_packs": 10}
    answer = planned(
        [source(lead=9, order_minimum_minor=10**12, free_freight_from_minor=5)],
        [
            {**offer("O1", "abaca", 1, (1, 1)), **huge},
            {**offer("O2", "linter", 1, (1, 10**6)), **huge},
            {**offer("O3", "abaca", 1, (10, 999)), "pack_usable_mg": 1, "least_packs": 10},
        ],
        [wish("05-24", 5, "abaca")],
        minimum_mg={"linter": 5_000_000},
        holding_minor_per_kg_day={"abaca": "0.5"},
    )
    assert answer.total_minor == answer.rule_total_minor
    assert 0 < answer.gap <= 1
