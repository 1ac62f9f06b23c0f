"""Dry sizes of moulds, and the mould for a size."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.moulds import choose_mould, dry_size, mould_for
from studio.errors import RangeError
from studio.sizes import Size

D = Decimal
A4 = Size(210_000, 297_000)
SHARES = st.decimals(min_value=0, max_value=D("0.4"), places=3)


def test_a_dry_size_is_rounded_down():
    # 333.333 × 0.97 = 323.33301 mm
    assert dry_size(Size(333_333, 100_000), shrinkage=(D("0.03"), D(0))).width_um == 323_333


@given(
    st.builds(Size, st.integers(1_000, 2_000_000), st.integers(1_000, 2_000_000)),
    st.tuples(SHARES, SHARES),
)
def test_the_mould_for_a_size_gives_it_and_none_smaller_does(size, shrinkage):
    mould = mould_for(size, shrinkage=shrinkage)
    dry = dry_size(mould, shrinkage=shrinkage)
    assert dry.width_um >= size.width_um
    assert dry.height_um >= size.height_um
    narrower = dry_size(Size(mould.width_um - 1, mould.height_um), shrinkage=shrinkage)
    assert narrower.width_um < size.width_um


def test_a_mould_may_be_taken_the_other_way_up():
    moulds = [Size(600_000, 600_000), Size(310_000, 220_000)]
    assert choose_mould(moulds, size=A4, shrinkage=(D(0), D(0))) == moulds[1]


def test_a_mould_may_fall_short_by_the_tolerance_only():
    wanted, mould = Size(559_000, 762_000), Size(572_000, 780_000)
    # 572 × 0.977 = 558.844 mm: short by 0.156 mm
    shrinkage = (D("0.023"), D("0.023"))
    assert choose_mould([mould], size=wanted, shrinkage=shrinkage) == mould
    assert choose_mould([mould], size=wanted, shrinkage=shrinkage, tolerance_um=156) == mould
    assert choose_mould([mould], size=wanted, shrinkage=shrinkage, tolerance_um=155) is None
    assert choose_mould([], size=wanted, shrinkage=shrinkage) is None


def test_a_tolerance_below_nothing_is_refused():
    with pytest.raises(RangeError, match="The tolerance must be 0 or more"):
        choose_mould([A4], size=A4, shrinkage=(D(0), D(0)), tolerance_um=-1)


@pytest.mark.parametrize("shrinkage", [(D(1), D(0)), (D(0), D("-0.1")), (D("NaN"), D(0))])
def test_a_shrinkage_that_leaves_nothing_is_refused(shrinkage):
    with pytest.raises(RangeError, match=r"Shrinkage of the (width|height) must be at least 0"):
        dry_size(A4, shrinkage=shrinkage)
