"""The charge of a vat, its top-ups and its heel: by hand, in balance, refused."""

import json
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from orders.calc import vat
from orders.calc._thinning import Draining
from orders.calc.consistencies import from_share
from orders.calc.sheets import fibre_in_sheet
from studio.errors import RangeError, StudioError
from studio.sizes import Size, size_named
from studio.units import Q
from tests.orders.vats import decimals, sixty, vats

D = Decimal

A4 = size_named("A4")
SMALL = D("1e-25")


def words(charge, system="metric"):
    return {
        line.label: f"{line.value} {line.because}".replace("\u00a0", " ")
        for line in charge.lines(system)
    }


def card():
    """A small order, H5 of the scenarios: 49 pulls of 2.859 g from 60 L at 0.5 %."""
    fibre, mould, half = Q("2.859", "g"), Size(165_000, 240_000), from_share(D("0.005"))
    wet = vat.wet_grammage(fibre, mould)
    return vat.charge(
        Q(60, "L"), mould=mould, draw=vat.draw_for(wet, half), wet_grammage=wet, pulls=49,
        tolerance=D("0.1"), thick=from_share(D("0.02")), lost=D("0.05"),
    )  # fmt: skip


# --- properties ------------------------------------------------------------------------------


@settings(deadline=None)
@given(vats())
def test_fibre_put_in_is_in_sheets_or_lost_or_left(charge):
    area = Fraction(charge.plan.mould_m2)
    sheets = sum(Fraction(sheet.g_m2) * area for sheet in charge.pulled())
    lost = sheets * charge.plan.lost / (1 - charge.plan.lost)
    assert abs(sheets - Fraction(charge.fibre_in_sheets_g)) < Fraction(SMALL)
    assert abs(lost - Fraction(charge.fibre_lost_g)) < Fraction(SMALL)
    end = charge.pulled()[-1].volume_l - charge.heel_volume_l
    assert abs(Fraction(end) - charge.plan.carry_l) < Fraction(SMALL)
    out = sheets + lost + Fraction(charge.heel_fibre_g)
    assert abs(Fraction(charge.fibre_total_g) - out) < Fraction(SMALL)


@settings(deadline=None)
@given(vats())
def test_no_sheet_is_lighter_than_the_tolerance_allows(charge):
    least = (1 - charge.plan.tolerance) * charge.plan.wet_grammage_g_m2
    assert min(sheet.g_m2 for sheet in charge.pulled()) >= least - Fraction(SMALL)
    assert len(charge.pulled()) == charge.plan.pulls


@settings(deadline=None)
@given(vats())
def test_the_level_never_rises_above_full(charge):
    full = charge.plan.volume_l
    assert max(sheet.volume_l for sheet in charge.pulled()) <= full
    for sheet in charge.pulled():
        assert not sheet.is_topped_up or sheet.volume_l == full


@settings(deadline=None)
@given(vats())
def test_the_last_top_up_is_never_the_larger_one(charge):
    assume(charge.schedule)
    usual, last = charge.schedule[0], charge.schedule[-1]
    assert 0 <= last.fibre_g <= charge.scoop.fibre_g
    assert usual.fibre_g == charge.scoop.fibre_g or len(charge.schedule) == 1
    afters = [top_up.after for top_up in charge.schedule]
    assert afters == [charge.recharge_every * (step + 1) for step in range(len(afters))]
    assert afters[-1] < charge.plan.pulls


@settings(deadline=None)
@given(vats())
def test_a_top_up_after_all_pulls_makes_the_vat_what_it_was(charge):
    assume(charge.recharge is not None)
    vat_left = charge.plan.draining
    fibre = charge.plan.fibre_charge_g * Fraction(vat_left.fibre_share(charge.plan.pulls))
    added = Fraction(charge.recharge.thick_l) * charge.plan.thick_g_per_l
    level = vat_left.level(charge.plan.pulls)
    poured = Fraction(charge.recharge.thick_l + charge.recharge.water_l)
    assert abs(fibre + added - charge.plan.fibre_charge_g) < Fraction(SMALL)
    assert abs(level + poured - charge.plan.volume_l) < Fraction(SMALL)


@settings(deadline=None)
@given(vats(topped_up=False))
def test_a_vat_left_alone_ends_as_its_steps_do(charge):
    assert charge.pulled() == charge.thinning()
    last = charge.pulled()[-1]
    assert float(last.g_m2) == pytest.approx(float(charge.last_g_m2), abs=1e-12)
    assert float(last.volume_l) - float(charge.plan.carry_l) == pytest.approx(
        float(charge.heel_volume_l), abs=1e-12
    )
    assert (charge.schedule, charge.recharge, charge.scoop) == ((), None, None)


@given(decimals("20", "300", 1), decimals("1", "40", 2))
def test_draw_and_consistency_are_the_same_sum_both_ways(grammage, depth):
    wet, draw = Q(grammage, "g/m2"), Q(depth, "mm")
    consistency = vat.consistency_for(wet, draw)
    assert float(vat.draw_for(wet, consistency).magnitude) == pytest.approx(float(depth))


@given(st.integers(1_000, 90_000), decimals("1", "20", 2))
def test_a_trial_sheet_gives_the_consistency_it_was_pulled_from(fibre_mg, g_per_l):
    consistency = Q(g_per_l, "g/L")
    draw = vat.effective_draw(fibre_mg, A4, consistency)
    wet = vat.wet_grammage(Q(fibre_mg, "mg"), A4)
    assert float(vat.consistency_for(wet, draw).magnitude) == pytest.approx(float(g_per_l))


# --- by hand ---------------------------------------------------------------------------------


def test_the_vat_of_a4_sheets_is_topped_up_by_the_scoop():
    # 480 g in 80 L; a sheet holds 7.035 g, takes 7.035 / 0.96 = 7.328 g (1.5268 %) out of it and
    # 7.035 × 0.825 / 0.175 = 33 mL (0.0415 %) of water: × 0.98473 / 0.99959 = 0.98514 a pull, and
    # ln 0.9 / ln 0.98514 = 7.04.
    fibre = fibre_in_sheet(Q(120, "g/m2"), size=A4)
    wet = vat.wet_grammage(fibre, A4)
    charge = vat.charge(
        Q(80, "L"), mould=A4, draw=vat.draw_for(wet, Q(6, "g/L")), wet_grammage=wet, pulls=50,
        tolerance=D("0.1"), thick=Q(20, "g/L"), lost=D("0.04"),
        carry=vat.carried(fibre, couched_solids=D("0.175")),
    )  # fmt: skip
    assert float(charge.fibre_charge_g) == pytest.approx(480)
    assert (charge.pulls_within_tolerance, charge.recharge_every) == (8, 7)
    # 7 × 7.328 g / 20 g/L = 2.56 L, less what the thinner sheets take less.
    assert 2.4 < charge.scoop.thick_l < 2.56
    # About 17 L over fifty sheets, 2 L less for the sheets that are lighter.
    assert 13 < charge.draw_off_l < 17


def test_a_small_order_leaves_more_in_the_vat_than_it_takes():
    charge = card()
    assert float(charge.fibre_charge_g) == pytest.approx(300)
    # 147 g for the order and 300 g for the vat at the most; the last sheets may be lighter.
    assert 400 < charge.fibre_total_g <= D("447.5")
    assert charge.heel_fibre_g > charge.fibre_in_sheets_g


def test_the_heel_is_a_wet_lot_with_a_last_day():
    left = vat.heel(
        Q(60, "L"), Q(5, "g/L"), strained=D("0.9"), moisture=D("0.85"), keeps_days=10,
        on=date(2026, 2, 20),
    )  # fmt: skip
    # 300 g; 270 g of it; 270 / 0.15 = 1.8 kg; ten days from 20 February.
    assert (left.oven_dry_mg, left.kept_oven_dry_mg, left.as_is_mg) == (
        300_000, 270_000, 1_800_000,
    )  # fmt: skip
    assert left.keep_until == date(2026, 3, 2)


@pytest.mark.parametrize("known", [{"keeps_days": 10}, {"on": date(2026, 2, 20)}, {}])
def test_without_day_or_keeping_time_there_is_no_last_day(known):
    assert vat.heel(Q(60, "L"), Q(5, "g/L"), **known).keep_until is None


def test_an_emptied_vat_leaves_nothing():
    left = vat.heel(Q(0, "L"), Q(5, "g/L"))
    assert (left.oven_dry_mg, left.as_is_mg) == (0, 0)


def test_the_last_top_up_is_left_out_where_the_last_sheet_does_without():
    # Every 2, three sheets within: of 9 pulls, 2 + 2 + 2 and 3 without the last one.
    assert [top_up.after for top_up in sixty(pulls=9).schedule] == [2, 4, 6]
    assert [top_up.after for top_up in sixty(pulls=10).schedule] == [2, 4, 6, 8]
    assert sixty(pulls=3).schedule == ()


def test_the_last_top_up_brings_the_last_sheet_just_within():
    sheets = sixty().pulled()
    assert sheets[-1].g_m2.quantize(D("1e-20")) == 95
    assert [sheet.pull for sheet in sheets if sheet.is_topped_up] == [3, 5, 7, 9]


def test_the_series_of_a_vat_left_alone_thins_from_sheet_to_sheet():
    # 100; × (1 − 1.209978 / 60) / (59.9 / 60) = 98.1470…
    first, second, *_ = sixty().thinning()
    assert (first.g_m2, first.volume_l) == (100, 60)
    assert float(second.g_m2) == pytest.approx(98.146949, abs=1e-6)


def test_stuff_as_thick_as_the_level_needs_is_neither_drawn_off_nor_watered():
    # 1.209978 L × 5.154639 g/L / 0.1 L
    holds = sixty().level_holds_at_g_per_l
    assert float(holds) == pytest.approx(62.37)
    assert sixty(thick=Q(40, "g/L")).scoop.draw_off_l > 0
    assert sixty(thick=Q(70, "g/L")).scoop.clear_water_l > 0


def test_a_vat_that_does_not_thin_is_topped_up_for_its_level_alone():
    # A pull takes 0.1 L of fibre and 1 L of water: of 6 L the fifth leaves 1 L.
    charge = sixty(
        volume=Q(6, "L"), mould=Size(100_000, 50_000), retention=D(1), carry=Q(1, "L"), pulls=12
    )
    assert charge.pulls_within_tolerance is None
    assert charge.recharge_every == 5
    assert [top_up.after for top_up in charge.schedule] == [5, 10]
    # It is made full again, though the sheets left would be within the tolerance with less.
    assert charge.schedule[-1].fibre_g == charge.scoop.fibre_g
    assert (charge.last_g_m2, charge.recharge) == (None, None)
    assert charge.as_json()["last_g_m2"] is None


def test_no_more_sheets_are_within_than_the_vat_gives():
    # 3 L, 0.055 m² × 20 mm = 1.1 L taken and 1 L carried: after two pulls 1 L is left.
    small = {"mould": Size(250_000, 220_000), "retention": D(1), "carry": Q(1, "L")}
    charge = sixty(volume=Q(3, "L"), tolerance=D("0.9"), **small)
    assert (charge.pulls_within_tolerance, charge.recharge_every) == (2, 2)


def test_a_last_sheet_that_needs_no_more_fibre_is_given_water_alone():
    # 2.2 L, 1.3 L taken and 1.12 L carried: 0.9 / 2.2 of the fibre are left, 41 %, and 36 % do.
    tiny = {"mould": Size(250_000, 260_000), "retention": D(1), "carry": Q("1.12", "L")}
    charge = sixty(volume=Q("2.2", "L"), tolerance=D("0.64"), pulls=2, **tiny)
    (last,) = charge.schedule
    assert (last.fibre_g, last.thick_l) == (0, 0)
    assert float(charge.fibre_in_sheets_g + charge.heel_fibre_g) == pytest.approx(11)
    assert last.clear_water_l == D("1.12")


def test_a_vat_that_lasts_and_does_not_thin_needs_nothing():
    charge = sixty(mould=Size(50_000, 50_000))
    assert (charge.pulls_within_tolerance, charge.recharge_every, charge.scoop) == (None,) * 3
    assert charge.schedule == ()
    assert words(charge)["Sheets within the tolerance"].startswith("all")
    assert words(charge)["Top-ups"].startswith("none")


def test_a_pull_beyond_the_tolerance_is_topped_up_every_time():
    charge = sixty(volume=Q(10, "L"), tolerance=D("0.05"))
    assert (charge.pulls_within_tolerance, charge.recharge_every) == (1, 1)
    assert len(charge.schedule) == 9
    assert "every pull" in words(charge)["Scoop"]


def test_the_consistency_is_a_quantity_and_the_number_of_it():
    # 100 g/m² / (97 % of 20 mm)
    assert float(sixty().consistency.to("g/L").magnitude) == pytest.approx(5.154639, abs=5e-7)
    assert float(sixty().consistency_g_per_l) == float(sixty().consistency.magnitude)


def test_the_charge_is_made_up_of_stuff_and_water():
    # 309.278351 g / 40 g/L
    filled = sixty().charged_with
    assert float(filled.thick_l) == pytest.approx(7.731959, abs=1e-6)
    assert float(filled.thick_l + filled.water_l) == pytest.approx(60)
    assert sixty(thick=None).charged_with is None


def test_all_the_stuff_holds_the_fibre_of_the_charge_and_the_top_ups():
    charge = sixty()
    stuff = charge.charged_with.thick_l + sum(top_up.thick_l for top_up in charge.schedule)
    # At 40 g/L.
    assert float(stuff) * 40 == pytest.approx(float(charge.fibre_total_g))


def test_a_thicker_charge_puts_the_band_round_the_target():
    charge = sixty()
    lowest = charge.pulled()[1].g_m2 / 100
    by = charge.centre_by
    assert float((1 + by) + (1 + by) * lowest) == pytest.approx(2)
    assert sixty(pulls=2).centre_by is None


def test_the_fixed_keys_come_first_and_are_plain_numbers():
    plain = json.loads(json.dumps(sixty().as_json()))
    assert list(plain)[:8] == [
        "consistency_g_per_l", "fibre_charge_g", "effective_draw_l", "pulls_within_tolerance",
        "first_g_m2", "last_g_m2", "recharge_thick_l", "recharge_water_l",
    ]  # fmt: skip
    assert plain["schedule"][0]["after"] == plain["recharge_every"] == 2
    assert sixty(thick=None).as_json()["recharge_thick_l"] is None


def test_the_working_goes_from_consistency_to_heel():
    found = words(sixty(lost=D("0.04")))
    assert found["Consistency"].startswith("5.15 g/L (0.515 %) 100 g/m² wet-formed / 19.4 mm")
    assert found["Fibre in the charge"].startswith("0.309 kg")
    assert "/ 96 % that becomes sheet" in found["One pull takes the fibre of"]
    assert "through a sieve" in found["Draw off"]
    assert found["Lost"].endswith("4 % of what leaves the vat")
    assert list(found)[-1] == "Heel"


def test_a_vat_without_stuff_is_told_of_no_top_up():
    found = words(sixty(thick=None))
    assert not {"Charge with", "Scoop", "Top-ups", "Last scoop"} & set(found)
    assert "Sheets within the tolerance" in found


def test_one_top_up_is_no_smaller_last_one():
    assert len(sixty(pulls=5).schedule) == 1
    assert "Last scoop" not in words(sixty(pulls=5))


def test_a_vat_that_does_not_give_so_many_is_told_of_no_last_sheet_without_a_top_up():
    charge = sixty(
        volume=Q(6, "L"), mould=Size(100_000, 50_000), retention=D(1), carry=Q(1, "L"), pulls=12
    )
    assert "Sheet 12 without a top-up" not in words(charge)
    assert "Scoop" in words(charge)


@pytest.mark.parametrize("drop", ["0.05", "0.99"])
def test_a_pull_that_takes_all_leaves_none_within_the_tolerance(drop):
    assert Draining(Fraction(1), Fraction(1), Fraction(0)).until(Fraction(drop)) == 0


def test_stuff_thick_enough_is_worked_with_clear_water():
    assert "beside the scoop" in words(sixty(thick=Q(70, "g/L")))["Water"]


def test_a_working_can_be_read_in_us_units():
    assert "gal" in words(sixty(), "US")["Charge with"]
    assert "in draw" in words(sixty(), "US")["One pull takes the fibre of"]


def test_an_area_can_be_given_instead_of_a_size():
    by_size = vat.wet_grammage(Q("7.035", "g"), A4)
    assert vat.wet_grammage(Q("7.035", "g"), Q("0.06237", "m2")) == by_size


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "said", "field"),
    [
        ({"pulls": 0}, "Pulls must be a whole number from 1", "pulls"),
        ({"pulls": True}, "Pulls must be a whole number from 1", "pulls"),
        ({"pulls": 1_000_001}, "Pulls must be a whole number from 1", "pulls"),
        ({"volume": Q("1.2", "L")}, "Take a larger vat or a smaller mould", "volume"),
        ({"thick": Q(5, "g/L")}, "must be thicker than the vat", "thick"),
        ({"thick": None, "pulls": 600}, "The vat gives 588 pulls", "pulls"),
        ({"tolerance": D(0)}, "The tolerance must be more than 0", ""),
        ({"tolerance": D(1)}, "The tolerance must be more than 0 and less than 1", ""),
        ({"retention": D(0)}, "Retention must be more than 0", ""),
        ({"lost": D(1)}, "The share lost must be at least 0 and less than 1", ""),
        ({"wet_grammage": Q(0, "g/m2")}, "The grammage must be more than 0", ""),
        ({"draw": Q(0, "mm")}, "The draw must be more than 0", ""),
        ({"carry": Q("-0.1", "L")}, "What one pull carries away must be 0 or more", ""),
    ],
)
def test_what_no_vat_gives_is_refused(changes, said, field):
    with pytest.raises(RangeError, match=said) as refused:
        sixty(**changes)
    assert refused.value.field == field


@pytest.mark.parametrize("name", ["volume", "draw", "wet_grammage", "carry", "thick"])
def test_a_quantity_of_another_dimension_is_refused(name):
    with pytest.raises(StudioError, match=r"must be a .* such as .*, got"):
        sixty(**{name: Q(1, "kg")})


@pytest.mark.parametrize("fibre_mg", [0, -1, D("7.5"), True])
def test_a_trial_sheet_weighs_whole_milligrams(fibre_mg):
    with pytest.raises(RangeError, match="must be whole mg, more than 0"):
        vat.effective_draw(fibre_mg, A4, Q(5, "g/L"))


@pytest.mark.parametrize("area", [Q(0, "m2"), Q(1, "m"), 1])
def test_an_area_is_above_nothing(area):
    with pytest.raises(RangeError, match="must be a size or an area above 0"):
        vat.effective_draw(7_000, area, Q(5, "g/L"))


@pytest.mark.parametrize(
    ("known", "said"),
    [
        ({"strained": D("1.1")}, "The share that the sieve keeps must be from 0 to 1"),
        ({"moisture": D(1)}, "Moisture must be at least 0 and less than 1"),
        ({"keeps_days": -1}, "Days to keep must be 0 or more"),
    ],
)
def test_a_heel_that_cannot_be_is_refused(known, said):
    with pytest.raises(RangeError, match=said):
        vat.heel(Q(60, "L"), Q(5, "g/L"), **known)
