import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orders.calc import culls
from orders.calc._pullchances import pulls_at
from orders.calc.costcase import Spreads
from orders.calc.costrange import cost_range
from orders.calc.costrows import AdditionPrice
from studio.errors import RangeError
from tests.orders.costcases import LINTER, case

STILL = Spreads(Decimal(0), Decimal(0))
USUAL = {
    "hourly_rate_minor": Decimal(2000),
    "minutes_per_pull": Decimal(6),
    "setup_minutes": Decimal(60),
}
CULLED = {"broke": Decimal("0.08"), "retree": Decimal("0.04")}


# --- by hand -----------------------------------------------------------------------------------


def test_without_spread_low_and_high_are_what_is_reckoned():
    found = cost_range(case(**USUAL), spreads=STILL)
    assert found.low_minor == found.likely_minor == found.high_minor
    assert found.low_price_minor == found.likely_price_minor == found.high_price_minor


def test_the_price_of_fibre_alone_reaches_as_far_as_its_triangle_says():
    # 1.00 of fibre a sheet. A tenth of a triangle over ± 10 % lies below 1 − 0.1 (1 − √0.2):
    # 1 − 0.0552786 = 0.9447214.
    found = cost_range(case(), spreads=Spreads(Decimal("0.1"), Decimal(0)))
    assert float(found.low_minor) == pytest.approx(94.47214, abs=0.05)
    assert float(found.high_minor) == pytest.approx(105.52786, abs=0.05)
    assert found.likely_minor == 100


def test_minutes_alone_reach_as_far_as_their_triangle_says():
    # 6 min at 20.00 is 2.00, and 60 min over 100 are 0.20: 220 a sheet, ± 20 % at the most.
    free = replace(LINTER, minor_per_kg=Decimal(0))
    found = cost_range(case(fibres=[free], **USUAL), spreads=Spreads(Decimal(0), Decimal("0.2")))
    reach = 220 * 0.2 * (1 - math.sqrt(0.2))
    assert float(found.low_minor) == pytest.approx(220 - reach, abs=0.2)
    assert float(found.high_minor) == pytest.approx(220 + reach, abs=0.2)


def test_culls_alone_reach_from_the_pulls_enough_in_one_of_ten_to_those_in_nine():
    # Fibre alone is in proportion to the pulls; culls.pulls_safe knows those by another way.
    spread = (Decimal(45), Decimal(5))
    found = cost_range(
        case(100, broke=Decimal("0.06"), retree=Decimal("0.04"), learned=spread), spreads=STILL
    )
    few, many = (
        culls.pulls_safe(100, assurance=Decimal(c), learned=spread) for c in ("0.1", "0.9")
    )
    assert found.pulls == (few, 112, many)
    assert float(found.low_minor) == pytest.approx(few, rel=0.01)
    assert float(found.high_minor) == pytest.approx(many, rel=0.01)
    assert found.is_learned


def test_where_nothing_is_taught_makings_differ_as_usual():
    found = cost_range(case(**CULLED), spreads=STILL)
    assert not found.is_learned
    # Beta with the mean 0.88 and a weight of 50.
    many = culls.pulls_safe(100, assurance=Decimal("0.9"), learned=(Decimal(44), Decimal(6)))
    assert found.pulls[2] == many


def test_what_has_no_price_moves_nothing():
    found = cost_range(
        case(fibres=[replace(LINTER, minor_per_kg=None)]),
        spreads=Spreads(Decimal("0.5"), Decimal("0.5")),
    )
    assert (found.low_minor, found.high_minor) == (0, 0)


def test_several_sheets_of_a_pull_take_fewer_pulls():
    one = pulls_at((0.1, 0.9), 100, 1, 45.0, 5.0)
    four = pulls_at((0.1, 0.9), 100, 4, 45.0, 5.0)
    assert four == tuple(math.ceil(count / 4) for count in one)


@pytest.mark.parametrize("good", [1, 7, 100, 3_000])
@pytest.mark.parametrize("spread", [(45, 5), (450, 50), (3, 2)])
def test_pulls_at_a_chance_are_those_that_the_safe_count_finds(good, spread):
    # Another way to the same: a search over tails of the beta-binomial.
    a, b = spread
    for chance in ("0.1", "0.5", "0.9"):
        learned = (Decimal(a), Decimal(b))
        expected = culls.pulls_safe(good, assurance=Decimal(chance), learned=learned)
        assert pulls_at((float(chance),), good, 1, float(a), float(b)) == (expected,)


def test_very_many_sheets_take_as_many_pulls_as_their_share_says():
    (many,) = pulls_at((0.9,), 30_000, 1, 45.0, 5.0)
    exact = culls.pulls_safe(30_000, assurance=Decimal("0.9"), learned=(Decimal(45), Decimal(5)))
    assert many == pytest.approx(exact, rel=0.002)


def test_the_range_is_worded_and_set_out():
    found = cost_range(case(**USUAL, **CULLED), spreads=Spreads())
    assert found.words().startswith("In eight makings of ten a good sheet costs from £")
    labels = [line.label for line in found.lines()]
    assert labels == [
        "Culls", "Price of fibre", "Minutes", "Cost as reckoned", "Low cost", "High cost",
    ]  # fmt: skip
    assert "none taught" in found.lines()[0].because
    plain = found.as_json()
    assert plain["cost_low"] < plain["cost_likely"] < plain["cost_high"]
    assert plain["price_likely"] == found.likely_price_minor / 100


# --- against draws -----------------------------------------------------------------------------


def test_all_three_together_agree_with_random_draws():
    # The same three sources drawn at random and each draw costed by the function that costs.
    asked = case(
        60,
        trial_pulls=2,
        heel_mg=500_000,
        broke_recovered=Decimal("0.5"),
        fibres=[
            replace(LINTER, share=Decimal("0.6"), sorting_minutes_per_kg=Decimal(5)),
            replace(LINTER, fibre="abaca", share=Decimal("0.4"), minor_per_kg=Decimal(1800)),
        ],
        additions=[AdditionPrice("chalk", Decimal("0.05"), Decimal(300))],
        packing_minor_per_sheet=Decimal(5),
        learned=(Decimal(44), Decimal(6)),
        **USUAL,
        **CULLED,
    )
    spreads = Spreads(Decimal("0.3"), Decimal("0.25"))
    found = cost_range(asked, spreads=spreads)
    draws = np.random.default_rng(20261129)
    costs = []
    for _ in range(4_000):
        good = draws.beta(44, 6)
        pulls = 60 + int(draws.negative_binomial(60, good))
        price = Decimal(repr(round(float(draws.triangular(0.7, 1, 1.3)), 9)))
        minutes = Decimal(repr(round(float(draws.triangular(0.75, 1, 1.25)), 9)))
        drawn = asked.with_fibre_prices(price).with_minutes(
            pull=minutes, setup=minutes, sort=minutes
        )
        costs.append(float(drawn.cost(pulls).total_minor_per_sheet))
    low, high = np.quantile(costs, [0.1, 0.9])
    # 4000 draws know a tenth to about 2 % of the whole width.
    near = 0.03 * (high - low)
    assert float(found.low_minor) == pytest.approx(low, abs=near)
    assert float(found.high_minor) == pytest.approx(high, abs=near)


# --- properties and refusals -------------------------------------------------------------------

SHARES = st.integers(0, 100).map(lambda percent: Decimal(percent) / 100)


@settings(max_examples=40, deadline=None)
@given(price=SHARES, minutes=SHARES, more=SHARES)
def test_a_wider_spread_never_narrows_the_range(price, minutes, more):
    # Without culls: pulls come in whole ones, and an end of the range may step over one of them.
    asked = case(50, **USUAL)
    narrow = cost_range(asked, spreads=Spreads(price * more, minutes * more))
    wide = cost_range(asked, spreads=Spreads(price, minutes))
    fine = Decimal("0.01")
    assert wide.high_minor - wide.low_minor >= narrow.high_minor - narrow.low_minor - fine


@given(price=SHARES, minutes=SHARES)
@settings(max_examples=40, deadline=None)
def test_what_is_reckoned_lies_between_low_and_high(price, minutes):
    found = cost_range(case(20, **USUAL, **CULLED), spreads=Spreads(price, minutes))
    assert found.low_minor <= found.likely_minor <= found.high_minor


@pytest.mark.parametrize(
    "spreads", [Spreads(Decimal("1.2"), Decimal(0)), Spreads(Decimal(0), Decimal(-1))]
)
def test_a_spread_that_is_no_share_is_refused(spreads):
    with pytest.raises(RangeError, match="must be from 0 to 1"):
        cost_range(case(), spreads=spreads)
