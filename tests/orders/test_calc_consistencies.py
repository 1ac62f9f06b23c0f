"""Consistency by volume and by mass, in kitchen measures, and what makes it up."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.consistencies import (
    as_share,
    consistency_of,
    from_share,
    letter_sheets_per_four_cups,
    make_up,
    plan_area,
    suspension,
    volume_of,
)
from studio.errors import RangeError, StudioError
from studio.sizes import Size
from studio.units import Q

D = Decimal
SHARES = st.decimals(D("0.0001"), D("0.5"), places=4)
LITRES = st.decimals(D("0.1"), D(500), places=1)


@given(SHARES)
def test_percent_and_grams_to_the_litre_are_the_same_both_ways(share):
    assert as_share(from_share(share)) == share


@given(LITRES, SHARES, SHARES)
def test_stuff_and_water_make_the_volume_and_hold_its_fibre(litres, one, other):
    thin, thick = sorted([one, other])
    made = make_up(Q(litres, "L"), consistency=from_share(thin), thick=from_share(thick))
    assert float(made.thick_l + made.water_l) == pytest.approx(float(litres))
    assert float(made.thick_l * thick * 1000) == pytest.approx(float(made.fibre_g))
    assert made.water_l >= 0


@given(st.integers(50, 2000), st.integers(50, 2000), st.integers(10, 900))
def test_area_is_volume_by_depth_both_ways(across, along, depth):
    plan = Size(across * 1000, along * 1000)
    deep = Q(depth, "mm")
    assert plan_area(volume_of(plan, deep), deep).magnitude == plan.area_m2


def test_a_letter_sheet_to_four_cups_is_the_same_by_both_functions():
    # Common practice, no source: one sheet of 4.536 g at 6 % in four cups.
    stirred = suspension(Q("4.536", "g"), moisture=D("0.06"), water=Q(4, "cup"))
    sheets = letter_sheets_per_four_cups(Q(stirred.g_per_l, "g/L"))
    assert float(sheets) == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize("share", [D(0), D(1), D("-0.1"), 2])
def test_a_consistency_is_between_none_and_all(share):
    with pytest.raises(RangeError, match="The consistency must be more than 0 and less than 1"):
        from_share(share)


def test_thin_stuff_makes_nothing_thicker():
    with pytest.raises(RangeError, match="thinner than what is wanted") as refused:
        make_up(Q(60, "L"), consistency=Q(5, "g/L"), thick=Q(4, "g/L"))
    assert refused.value.field == "thick"


@pytest.mark.parametrize(
    ("fibre", "volume", "said"),
    [
        (Q(1, "L"), Q(1, "L"), "The fibre must be a mass such as 300 g"),
        (Q("-1", "g"), Q(1, "L"), "The fibre must be 0 or more"),
        (Q(1, "g"), Q(0, "L"), "The volume must be more than 0"),
        (Q(1, "g"), 1, "The volume must be a volume such as 60 L"),
    ],
)
def test_what_is_no_consistency_is_refused(fibre, volume, said):
    with pytest.raises(StudioError, match=said):
        consistency_of(fibre, volume)
