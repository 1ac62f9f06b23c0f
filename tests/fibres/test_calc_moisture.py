"""Water in fibre: exact, on the wet basis, and rounded the safe way."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc.moisture import (
    as_is_mass,
    as_is_mg,
    moisture_from_sample,
    oven_dry_mass,
    oven_dry_mg,
    oven_dry_mg_for,
    regain,
    saleable_mass,
    usable_mass,
    usable_mg,
    wet_basis,
)
from studio.errors import RangeError, StudioError
from studio.units import Q

MASSES = st.integers(0, 10**11)
MOISTURES = st.integers(0, 9_999).map(lambda parts: Decimal(parts) / 10_000)
YIELDS = st.integers(1, 10_000).map(lambda parts: Decimal(parts) / 10_000)
PLAIN = (8, -1, 1, Decimal("-0.01"))


def test_oven_dry_mass_by_hand():
    # 14.20 kg at 7.5 %: 14.20 x 0.925 = 13.135
    assert oven_dry_mass(Q("14.20", "kg"), moisture=Decimal("0.075")) == Q("13.135", "kg")


def test_answer_is_in_the_unit_given():
    assert str(oven_dry_mass(Q(10, "lb"), moisture=Decimal("0.1")).units) == "pound"


def test_regain_and_moisture_differ_by_hand():
    # 100 kg water in 100 kg fibre: half of the wet mass, all of the dry one
    assert (wet_basis(Decimal(1)), regain(Decimal("0.5"))) == (Decimal("0.5"), Decimal(1))


@given(MOISTURES)
def test_regain_comes_back_as_moisture(moisture):
    assert abs(wet_basis(regain(moisture)) - moisture) < Decimal("1e-24")


@given(MOISTURES)
def test_regain_is_never_below_moisture(moisture):
    assert regain(moisture) >= moisture


def test_moisture_from_a_sample_by_hand():
    # dish 10 g: 50 g wet, 46 g dry, 4 g water; 4 / 50 = 0.08
    sample = moisture_from_sample(Q(60, "g"), dry_mass=Q(56, "g"), tare_mass=Q(10, "g"))
    assert sample == Decimal("0.08")


def test_moisture_from_a_sample_without_a_dish_in_mixed_units():
    assert moisture_from_sample(Q("0.05", "kg"), dry_mass=Q(46, "g")) == Decimal("0.08")


def test_a_sample_that_lost_nothing_is_dry():
    assert moisture_from_sample(Q(50, "g"), dry_mass=Q(50, "g")) == 0


def test_a_sample_that_gained_is_refused():
    with pytest.raises(RangeError, match=r"got 51 g dry and 50 g wet\. Check which is which"):
        moisture_from_sample(Q(50, "g"), dry_mass=Q(51, "g"))


@pytest.mark.parametrize("tare", [46, 47, -1])
def test_a_dish_as_heavy_as_the_dry_sample_is_refused(tare):
    with pytest.raises(RangeError, match=f"up to the dry mass of 46 g, got {tare} g"):
        moisture_from_sample(Q(50, "g"), dry_mass=Q(46, "g"), tare_mass=Q(tare, "g"))


def test_a_sample_of_nothing_is_refused():
    with pytest.raises(RangeError, match="The tare must be from 0 g"):
        moisture_from_sample(Q(0, "g"), dry_mass=Q(0, "g"))


@pytest.mark.parametrize("moisture", [*PLAIN, Decimal(1)])
@pytest.mark.parametrize("reckon", [oven_dry_mass, as_is_mass])
def test_moisture_outside_0_to_1_is_refused(reckon, moisture):
    with pytest.raises(RangeError, match=r"Moisture must be from 0 up to 1, got .*Write 8 % as"):
        reckon(Q(1, "kg"), moisture=moisture)


@pytest.mark.parametrize("moisture", [0.08, True, "0.08", None])
def test_moisture_that_is_not_exact_is_refused(moisture):
    with pytest.raises(RangeError, match="Moisture must be a Decimal or an int"):
        oven_dry_mg(1, moisture)


@pytest.mark.parametrize("moisture", ["NaN", "Infinity"])
def test_moisture_that_is_not_finite_is_refused(moisture):
    with pytest.raises(RangeError, match="Moisture must be finite"):
        as_is_mg(1, Decimal(moisture))


@pytest.mark.parametrize("share", [0, Decimal("1.01"), -1])
def test_a_yield_outside_its_limits_is_refused(share):
    with pytest.raises(RangeError, match="Preparation yield must be more than 0 and at most 1"):
        usable_mass(Q(1, "kg"), preparation_yield=share)
    with pytest.raises(RangeError, match="Preparation yield must be more than 0 and at most 1"):
        usable_mg(1, share)
    with pytest.raises(RangeError, match="Preparation yield must be more than 0 and at most 1"):
        oven_dry_mg_for(1, share)


def test_a_dryness_of_nothing_is_refused():
    with pytest.raises(RangeError, match="Dryness must be more than 0"):
        saleable_mass(Q(1, "kg"), dryness=Decimal(0))


def test_a_negative_regain_is_refused():
    with pytest.raises(RangeError, match="Regain must be 0 kg/kg or more, got -1"):
        wet_basis(Decimal(-1))


@pytest.mark.parametrize(
    "reckon",
    [
        lambda mass: oven_dry_mass(mass, moisture=Decimal("0.1")),
        lambda mass: as_is_mass(mass, moisture=Decimal("0.1")),
        lambda mass: saleable_mass(mass),
        lambda mass: usable_mass(mass, preparation_yield=Decimal("0.9")),
    ],
)
def test_a_negative_mass_and_another_dimension_are_refused(reckon):
    with pytest.raises(RangeError, match="mass must be 0 or more, got -1 kilogram"):
        reckon(Q(-1, "kg"))
    with pytest.raises(StudioError, match=r"must be a mass such as 2\.5 kg, got 1 metre"):
        reckon(Q(1, "m"))


@pytest.mark.parametrize("reckon", [oven_dry_mg, as_is_mg, usable_mg, oven_dry_mg_for])
@pytest.mark.parametrize(
    ("mass_mg", "match"),
    [(-1, "must be 0 mg or more, got -1 mg"), (1.5, "whole number of mg"), (True, "whole")],
)
def test_stored_masses_are_whole_and_not_negative(reckon, mass_mg, match):
    with pytest.raises(RangeError, match=match):
        reckon(mass_mg, Decimal("0.5"))


def test_old_convention_of_88_per_cent_is_a_choice():
    # 880 kg oven-dry / 0.88 = 1000 kg
    assert saleable_mass(Q(880, "kg"), dryness=Decimal("0.88")) == Q(1000, "kg")


def test_stored_masses_round_half_even():
    # half of 1, 3 and 5 mg: 0.5, 1.5, 2.5 mg
    assert [oven_dry_mg(mg, Decimal("0.5")) for mg in (1, 3, 5)] == [0, 2, 2]
    # 1, 3 and 5 mg / 0.4: 2.5, 7.5, 12.5 mg
    assert [as_is_mg(mg, Decimal("0.6")) for mg in (1, 3, 5)] == [2, 8, 12]


def test_usable_rounds_down_and_what_it_takes_rounds_up():
    assert usable_mg(999, Decimal("0.5")) == 499  # 499.5
    assert oven_dry_mg_for(499, Decimal("0.8")) == 624  # 623.75


@given(MASSES, YIELDS)
def test_what_is_issued_is_never_too_little(wanted_mg, share):
    issued_mg = oven_dry_mg_for(wanted_mg, share)
    assert usable_mg(issued_mg, share) >= wanted_mg
    assert issued_mg == 0 or usable_mg(issued_mg - 1, share) < wanted_mg


@given(MASSES, YIELDS)
def test_what_is_promised_is_never_more_than_there_is(stock_mg, share):
    assert oven_dry_mg_for(usable_mg(stock_mg, share), share) <= stock_mg


@given(MASSES, MOISTURES)
def test_stored_mass_comes_back_through_its_moisture(dry_mg, moisture):
    assert oven_dry_mg(as_is_mg(dry_mg, moisture), moisture) == pytest.approx(dry_mg, abs=1)


@given(MASSES, MOISTURES, MOISTURES)
def test_more_water_never_means_more_fibre(as_is, one, other):
    drier, wetter = sorted((one, other))
    assert oven_dry_mg(as_is, wetter) <= oven_dry_mg(as_is, drier)


@given(MASSES, MOISTURES)
def test_quantity_and_stored_twin_agree(as_is, moisture):
    exact = oven_dry_mass(Q(as_is, "mg"), moisture=moisture).magnitude
    assert abs(exact - oven_dry_mg(as_is, moisture)) <= Decimal("0.5")
