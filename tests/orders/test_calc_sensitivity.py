from dataclasses import replace
from decimal import Decimal

import pytest

from orders.calc import culls
from orders.calc.costcase import Spreads
from orders.calc.costrows import AdditionPrice
from orders.calc.sensitivity import sensitivity
from studio.errors import RangeError
from tests.orders.costcases import LINTER, case

SPREADS = Spreads(Decimal("0.1"), Decimal("0.2"))


def swings(asked, spreads=SPREADS):
    found = sensitivity(asked, spreads=spreads)
    return {swing.label: (swing.low_minor, swing.high_minor) for swing in found.swings}


def test_each_fibre_moves_the_price_by_its_own_share():
    # By hand: 0.06 kg at 10.00 ± 10 % and 0.04 kg at 20.00 ± 10 %, in a price of 1.40.
    furnish = [
        replace(LINTER, share=Decimal("0.6")),
        replace(LINTER, fibre="abaca", share=Decimal("0.4"), minor_per_kg=Decimal(2000)),
    ]
    assert swings(case(fibres=furnish)) == {
        "Price of abaca": (132, 148),
        "Price of linter": (134, 146),
    }


def test_the_widest_comes_first():
    found = sensitivity(
        case(
            hourly_rate_minor=Decimal(6000), minutes_per_pull=Decimal(1), setup_minutes=Decimal(10)
        ),
        spreads=SPREADS,
    )
    # By hand: a minute at 60.00 is 1.00 ± 20 %; fibre 1.00 ± 10 %; 10 min over 100 are 0.10
    # ± 20 %.
    assert [swing.label for swing in found.swings] == [
        "Minutes of a pull", "Price of linter", "Minutes of setting up",
    ]  # fmt: skip
    assert [swing.width_minor for swing in found.swings] == [40, 20, 4]
    assert found.words() == "The price moves most with this: minutes of a pull."


def test_a_markup_moves_along():
    # By hand: 1.00 ± 10 % and half as much again.
    marked = case(price_by="markup", price_rate=Decimal("0.5"))
    assert swings(marked) == {"Price of linter": (135, 165)}


def test_what_is_dosed_and_sorted_moves_it_too():
    # By hand: 0.1 kg takes 5 g at 40.00 = 0.20 ± 10 %, and 6 min of sorting at 10.00 = 1.00
    # ± 20 %.
    asked = case(
        fibres=[replace(LINTER, minor_per_kg=Decimal(0), sorting_minutes_per_kg=Decimal(60))],
        additions=[AdditionPrice("size", Decimal("0.05"), Decimal(4000))],
        hourly_rate_minor=Decimal(1000),
    )
    assert swings(asked) == {
        "Minutes of sorting fibre": (100, 140),
        "Price of sizing, filler and pigment": (118, 122),
    }


def test_culls_move_it_from_few_pulls_to_many():
    # By hand: fibre is in proportion to the pulls, 0.1 kg each at 10.00 over 100 good sheets.
    learned = (Decimal(45), Decimal(5))
    asked = case(broke=Decimal("0.06"), retree=Decimal("0.04"), learned=learned)
    few, many = (
        culls.pulls_safe(100, assurance=Decimal(c), learned=learned) for c in ("0.1", "0.9")
    )
    assert swings(asked, Spreads(Decimal(0), Decimal(0))) == {"Culls": (few, many)}


def test_what_does_not_move_it_is_left_out():
    assert swings(case(), Spreads(Decimal(0), Decimal(0))) == {}
    found = sensitivity(case(), spreads=Spreads(Decimal(0), Decimal(0)))
    assert found.words() == "Nothing that moves is counted in the price."


def test_it_goes_to_json_in_whole_units():
    found = sensitivity(case(), spreads=SPREADS)
    assert found.as_json() == [{"input": "Price of linter", "price_low": 0.9, "price_high": 1.1}]


def test_a_spread_that_is_no_share_is_refused():
    with pytest.raises(RangeError, match="must be from 0 to 1"):
        sensitivity(case(), spreads=Spreads(Decimal(2), Decimal(0)))
