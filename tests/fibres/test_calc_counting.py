"""By hand: the moisture of a lot that only dried or drew water."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc import moisture as wet
from fibres.calc.counting import moisture_by_fibre
from studio.errors import RangeError


@pytest.mark.parametrize(
    ("as_is_mg", "oven_dry_mg", "moisture"),
    [
        # 9 kg of fibre in 10 kg, in 9.5 kg, and in 9 kg: 10 %, 5.263158 %, none.
        (10_000_000, 9_000_000, "0.1"),
        (9_500_000, 9_000_000, "0.052632"),
        (9_000_000, 9_000_000, "0"),
        # 1 kg of fibre in 5 kg of drained pulp: 80 %.
        (5_000_000, 1_000_000, "0.8"),
    ],
)
def test_by_hand(as_is_mg, oven_dry_mg, moisture):
    assert moisture_by_fibre(as_is_mg, oven_dry_mg=oven_dry_mg) == Decimal(moisture)


@given(
    oven_dry_mg=st.integers(min_value=1_000, max_value=50_000_000),
    water_mg=st.integers(min_value=0, max_value=50_000_000),
)
def test_fibre_is_found_again_to_a_millionth_of_the_lot(oven_dry_mg, water_mg):
    as_is_mg = oven_dry_mg + water_mg
    found = moisture_by_fibre(as_is_mg, oven_dry_mg=oven_dry_mg)
    assert abs(wet.oven_dry_mg(as_is_mg, found) - oven_dry_mg) <= as_is_mg / 1_000_000 + 1


@pytest.mark.parametrize(
    ("as_is_mg", "oven_dry_mg", "refusal"),
    [
        (8_999_999, 9_000_000, "more than water is missing"),
        (10_000_000, 0, "Without fibre there is nothing"),
        (10**13, 1, "there would be water alone"),
        (-1, 1, "must be 0 mg or more"),
        (1, 1.5, "must be a whole number of mg"),
    ],
)
def test_refusals(as_is_mg, oven_dry_mg, refusal):
    with pytest.raises(RangeError, match=refusal):
        moisture_by_fibre(as_is_mg, oven_dry_mg=oven_dry_mg)
