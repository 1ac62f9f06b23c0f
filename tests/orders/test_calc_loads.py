"""Beater and blender loads: how many, how full, and what is left over."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.loads import blender_loads, loads_for
from studio.errors import RangeError
from studio.units import Q

D = Decimal

TWO_PERCENT = Q(20, "g/L")
GRAM = 1000


def beater(grams, least=340, most=900):
    return loads_for(
        grams * GRAM, least_mg=least * GRAM, most_mg=most * GRAM, consistency=TWO_PERCENT
    )


@given(st.integers(0, 10**8), st.integers(1, 10**6), st.integers(0, 10**6))
def test_loads_hold_what_is_wanted_and_what_is_left_over(need, most, less):
    least = max(most - less, 0)
    loads = loads_for(need, least_mg=least, most_mg=most, consistency=TWO_PERCENT)
    held = loads.each_mg * max(loads.count - 1, 0) + loads.last_mg
    assert held == loads.loaded_mg == need + loads.left_over_mg
    assert loads.left_over_mg >= 0
    if need:
        assert least <= loads.last_mg <= loads.each_mg <= most
        # One load fewer would not take it.
        assert (loads.count - 1) * most < need


@given(st.integers(0, 10**8), st.integers(1, 10**6))
def test_no_blender_load_is_left_over(need, most):
    loads = blender_loads(need, load_mg=most, water=Q(1, "L"))
    assert loads.loaded_mg == need
    assert loads.litres == loads.count


def test_a_need_below_the_smallest_load_is_made_up_to_it():
    # 147 g wanted, 340 g the least: 193 g left over, in 340 / 20 = 17 L.
    loads = beater(147)
    assert (loads.count, loads.each_mg, loads.left_over_mg) == (1, 340 * GRAM, 193 * GRAM)
    assert (loads.litres_each, loads.litres) == (17, 17)


def test_more_than_one_load_is_shared_out_evenly():
    # 2450 g in three loads of 816.667 g and 40.83 L each.
    loads = beater(2450)
    assert (loads.count, loads.each_mg, loads.last_mg) == (3, 816_667, 816_666)
    assert round(loads.litres_each, 2) == D("40.83")
    assert round(loads.litres, 1) == D("122.5")
    assert loads.left_over_mg == 0


def test_a_load_that_is_just_full_is_one_load():
    assert beater(900).count == 1
    assert loads_for(900_001, least_mg=0, most_mg=900_000, consistency=TWO_PERCENT).count == 2


def test_two_loads_that_would_be_too_small_are_made_up():
    # 1000 g in loads of 600 to 900 g: two of 600, 200 g left over.
    loads = beater(1000, least=600)
    assert (loads.count, loads.each_mg, loads.last_mg) == (2, 600 * GRAM, 600 * GRAM)
    assert loads.left_over_mg == 200 * GRAM


def test_nothing_wanted_is_no_load():
    loads = beater(0)
    assert (loads.count, loads.litres, loads.left_over_mg, loads.consistency) == (0, 0, 0, None)
    assert blender_loads(0, load_mg=GRAM, water=Q(1, "L")).litres == 0


def test_the_consistency_of_a_load_is_its_fibre_in_its_litres():
    assert beater(900).consistency == Q(20, "g/L")
    # 27 g in 1.25 L
    blended = blender_loads(54 * GRAM, load_mg=27 * GRAM, water=Q("1.25", "L"))
    assert (blended.count, blended.consistency) == (2, Q("21.6", "g/L"))


@pytest.mark.parametrize(
    ("masses", "said"),
    [
        ((-1, 0, 1), "must be whole mg of 0 or more, got -1"),
        ((D("1.5"), 0, 1), "must be whole mg of 0 or more"),
        ((True, 0, 1), "must be whole mg of 0 or more"),
        ((1, 0, 0), "The largest load must be more than 0 mg"),
        ((1, 900_000, 340_000), "The smallest load, 0.900.kg, must not be above the largest"),
    ],
)
def test_loads_that_cannot_be_are_refused(masses, said):
    need, least, most = masses
    with pytest.raises(RangeError, match=said):
        loads_for(need, least_mg=least, most_mg=most, consistency=TWO_PERCENT)


def test_a_load_without_water_is_refused():
    with pytest.raises(RangeError, match="The water of a load must be more than 0"):
        blender_loads(GRAM, load_mg=GRAM, water=Q(0, "L"))
