"""Days at the vat, in the dryer, curing and packing, against counting day by day."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.dates import Capacity, making_days
from studio.errors import RangeError


def test_dryer_bounds_the_days_and_not_the_vat():
    """300 sheets, 50 a load, 2 days a load: 12 days (the trade notes' own sum, no source)."""
    assert making_days(300, Capacity(50, Decimal(2))).days_to_dry == 12


def test_cure_and_packing_come_after_the_last_load():
    found = making_days(
        300, Capacity(50, Decimal(2), pulls_a_day=100, cure_days=7, packing_days=1)
    )
    # The first load waits for the first day's pulls: 1 + 6 loads x 2 days, 7 to cure, 1 to pack.
    assert (found.days_at_vat, found.days_to_dry, found.days) == (3, 13, 21)
    assert found.finished_on(date(2027, 3, 1)) == date(2027, 3, 22)
    assert [line.value for line in found.working] == [
        "3 days",
        "13 days",
        "7 days",
        "1 day",
        "21 days",
    ]


def test_slow_vat_bounds_the_days_where_the_dryer_is_quick():
    # Ten days to form, and half a day for the last load.
    assert making_days(100, Capacity(50, Decimal("0.5"), pulls_a_day=10)).days_to_dry == 11


@given(
    pulls=st.integers(1, 400),
    a_load=st.integers(1, 90),
    a_day=st.integers(1, 120),
    quarters=st.integers(1, 20),
)
def test_days_are_those_of_loads_put_in_one_after_another(pulls, a_load, a_day, quarters):
    days_per_load = Fraction(quarters, 4)
    dry, formed = Fraction(0), 0
    while formed < pulls:
        formed = min(formed + a_load, pulls)
        ready = -(-formed // a_day)
        dry = max(dry, ready) + days_per_load
    capacity = Capacity(a_load, Decimal(quarters) / 4, pulls_a_day=a_day)
    assert making_days(pulls, capacity).days_to_dry == -(-dry // 1)


@pytest.mark.parametrize(
    ("pulls", "capacity", "field"),
    [
        (0, Capacity(50, Decimal(2)), "pulls"),
        (9, Capacity(0, Decimal(2)), "pulls_per_load"),
        (9, Capacity(50, Decimal(0)), "days_per_load"),
        (9, Capacity(50, Decimal(2), pulls_a_day=0), "pulls_a_day"),
    ],
)
def test_nothing_to_form_and_no_capacity_are_refused(pulls, capacity, field):
    with pytest.raises(RangeError) as refused:
        making_days(pulls, capacity)
    assert refused.value.field == field


def test_days_in_which_nothing_cures_are_not_told_of_curing():
    lines = making_days(100, Capacity(50, Decimal(1), pulls_a_day=50)).working
    assert [line.label for line in lines] == [
        "At the vat", "Until all is dry", "Sort and pack", "In all",
    ]  # fmt: skip
