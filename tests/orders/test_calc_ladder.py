from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.ladder import break_even, ladder
from studio.errors import RangeError
from tests.orders.costcases import case

HOUR = {"hourly_rate_minor": Decimal(2000), "setup_minutes": Decimal(60)}
MARGIN = {"price_by": "margin", "price_rate": Decimal("0.5")}


def climb(*quantities, asked, **changes):
    return ladder([case(number, **changes) for number in quantities], asked=asked)


def test_set_up_falls_with_the_number_and_the_sheet_itself_does_not():
    # By hand: an hour at 20.00 over 10 and over 100; 1.00 of fibre each.
    found = climb(100, 10, asked=100, **HOUR)
    assert [(rung.quantity, rung.setup_minor, rung.own_minor) for rung in found.rungs] == [
        (10, 200, 100),
        (100, 20, 100),
    ]


def test_trial_pulls_and_the_heel_are_set_up():
    # By hand: 2 trial sheets of 0.1 kg and a heel of 0.3 kg at 10.00 are 5.00 over 10.
    (rung,) = climb(10, asked=10, trial_pulls=2, heel_mg=300_000).rungs
    assert rung.setup_minor == 50


def test_packing_is_of_the_sheet_and_no_set_up():
    (rung,) = climb(10, asked=10, packing_minor_per_sheet=Decimal(7), **HOUR).rungs
    assert (rung.own_minor, rung.setup_minor) == (107, 200)


def test_set_up_is_earned_where_what_sheets_bring_in_pays_it():
    # By hand: at 100 a sheet costs 1.20, at a margin of half its price is 2.40. It brings in 1.40
    # over its own 1.00; 20.00 / 1.40 is 14.29, so 15 sheets.
    earned = climb(10, 100, asked=100, **HOUR, **MARGIN).earned
    assert (earned.price_minor, earned.own_minor, earned.setup_minor) == (240, 100, 2000)
    assert earned.sheets == 15
    assert earned.words() == (
        "At £2.40 a sheet the set-up of £20.00 is earned from 15 sheets on. If fewer were taken "
        "at that price, it would not be paid."
    )
    assert earned.lines()[-1].value == "15 sheets"


def test_without_margin_set_up_is_earned_at_the_very_number_it_was_spread_over():
    # By hand: 1.20 at 100; it brings in 0.20, and 20.00 / 0.20 is 100.
    assert climb(100, asked=100, **HOUR).earned.sheets == 100


def test_a_price_rounded_down_to_the_sheet_itself_never_earns_it():
    # By hand: 0.20 over 100 000 sheets is nothing of a penny.
    earned = climb(
        100_000, asked=100_000, hourly_rate_minor=Decimal(2000), setup_minutes=Decimal("0.6")
    ).earned
    assert earned.sheets is None
    assert "never earned" in earned.words()
    assert earned.lines()[-1].value == "never"


def test_where_nothing_is_set_up_there_is_nothing_to_earn():
    earned = climb(10, asked=10).earned
    assert earned.sheets == 0
    assert "nothing to earn" in earned.words()


def test_the_share_of_set_up_is_of_the_price():
    # By hand: 2.00 of a price of 6.00 (3.00 at a margin of half).
    (rung,) = climb(10, asked=10, **HOUR, **MARGIN).rungs
    assert round(rung.setup_share, 4) == Decimal("0.3333")
    assert rung.kept_minor == 300
    assert rung.price_total_minor == 6000


def test_a_price_of_nothing_has_no_share():
    (rung,) = ladder([case(10, fibres=[])], asked=10).rungs
    assert rung.setup_share == 0


def test_the_ladder_goes_to_json_in_whole_units():
    (plain,) = climb(10, asked=10, **HOUR).as_json()
    assert plain == {
        "quantity": 10, "cost_per_sheet": 3.0, "setup_per_sheet": 2.0, "price_per_sheet": 3.0,
        "price_total": 30.0,
    }  # fmt: skip


def test_a_number_that_was_not_reckoned_is_refused():
    with pytest.raises(RangeError, match="no price for 7 sheets"):
        climb(10, asked=7)


def test_a_set_up_below_nothing_is_refused():
    with pytest.raises(RangeError, match="costs 0 or more, got -1"):
        break_even(-1, price_minor=10, own_minor=1)


@given(setup=st.integers(1, 10**9), price=st.integers(1, 10**6), own=st.integers(0, 10**6))
def test_from_there_on_it_is_paid_and_one_sheet_before_it_is_not(setup, price, own):
    sheets = break_even(setup, price_minor=price, own_minor=own)
    if sheets is None:
        assert price <= own
        return
    assert sheets * (price - own) >= setup > (sheets - 1) * (price - own)


@given(numbers=st.sets(st.integers(1, 5000), min_size=2, max_size=6))
def test_more_sheets_never_cost_more_each_where_nothing_is_culled(numbers):
    found = climb(*numbers, asked=min(numbers), **HOUR)
    costs = [rung.cost_minor for rung in found.rungs]
    assert costs == sorted(costs, reverse=True)
