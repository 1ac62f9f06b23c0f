"""Fibre in a sheet and a pull, and the chain of losses both ways."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orders.calc.chain import fibre_for_sheets, sheets_from_fibre
from orders.calc.sheets import (
    average_pulls,
    fibre_in_pull,
    fibre_in_sheet,
    need_mg,
    pull_mg,
    pulls_possible,
    safe_need_mg,
    safe_pulls,
    sheets_per_pull,
)
from orders.calc.spec import SheetSpec
from studio.errors import RangeError, StudioError
from studio.sizes import Size
from studio.units import Q

D = Decimal
A4 = Size(210_000, 297_000)
NO_LOSS = {"retention": D(1), "broke": D(0), "retree": D(0)}
FROM_MOULD = {
    "mould": Size(520_000, 391_000),
    "shrinkage": (D("0.04"), D("0.025")),
    "trim_um": 5_000,
}
SHARES = st.decimals(min_value=0, max_value=D("0.4"), places=3)
KEPT = st.decimals(min_value=D("0.2"), max_value=1, places=3)
SPECS = st.builds(
    SheetSpec,
    size=st.builds(Size, st.integers(50_000, 180_000), st.integers(50_000, 180_000)),
    grammage=st.decimals(min_value=20, max_value=400, places=1),
    sheet_moisture=SHARES,
    non_fibre_share=SHARES,
    retention=KEPT,
    broke=SHARES,
    retree=SHARES,
    assurance=st.sampled_from([D("0.5"), D("0.9"), D("0.95")]),
    mould=st.sampled_from([None, Size(520_000, 391_000), Size(330_000, 450_000)]),
    shrinkage=st.tuples(SHARES, SHARES),
    trim_um=st.integers(0, 4_000),
)
MASSES = st.integers(0, 40_000_000).map(lambda mg: Q(mg, "mg"))


STORE = {"moisture": D("0.08"), "preparation_yield": D("0.96")}
ONE_KG = Q(1, "kg")


def counted(mass, spec, **how):
    return sheets_from_fibre(mass, spec=spec, **(STORE | how))


def needed(wanted, spec, mass=ONE_KG, **how):
    return fibre_for_sheets(wanted, as_is_mass=mass, spec=spec, **(STORE | how))


# --- fibre in a sheet and in a pull -----------------------------------------------------------


def test_fibre_in_a_sheet_leaves_out_water_and_what_is_not_fibre():
    # 250 × 0.0625 m² = 15.625 g; × 0.94 × 0.97 = 14.246875 g
    found = fibre_in_sheet(Q(250, "g/m2"), size=Size(250_000, 250_000), non_fibre_share=D("0.03"))
    assert found == Q("14.246875", "g")


def test_fibre_in_a_sheet_is_refused_for_a_mass():
    with pytest.raises(StudioError, match="grammage must be a grammage such as"):
        fibre_in_sheet(Q(120, "g"), size=A4)


def test_fibre_in_a_pull_counts_what_is_trimmed_off():
    # Dry pull 499.2 × 381.225 mm; 120 g/m² × 0.94
    spec = SheetSpec(A4, D(120), **FROM_MOULD)
    assert spec.pull == Size(499_200, 381_225)
    assert fibre_in_pull(spec) == Q(D("112.8") * D("0.4992") * D("0.381225"), "g")
    assert sheets_per_pull(spec) == 2


def test_a_sheet_as_pulled_is_its_own_pull():
    spec = SheetSpec(A4, D(120), shrinkage=(D("0.1"), D("0.1")), trim_um=5_000)
    assert spec.layout is None
    assert sheets_per_pull(spec) == 1
    assert fibre_in_pull(spec) == fibre_in_sheet(Q(120, "g/m2"), size=A4)


def test_usable_fibre_for_sheets_is_rounded_up_once():
    # f = 7.035336 g, / 0.96 = 7.328475 g a pull; 400 / 0.88 → 455 pulls: 3334.456125 g
    spec = SheetSpec(A4, D(120))
    assert average_pulls(spec, 400) == 455
    assert need_mg(spec, 400) == 3_334_457
    assert pull_mg(spec) == 7_329
    assert need_mg(spec, 0) == 0
    assert safe_need_mg(spec, 0) == 0


def test_the_safe_need_is_never_below_the_need_on_average():
    # At 96 % good one pull is enough for one sheet with 95 %, on average it takes 1 / 0.96 → 2.
    spec = SheetSpec(A4, D(120), broke=D("0.04"), retree=D(0))
    assert (average_pulls(spec, 1), safe_pulls(spec, 1)) == (2, 1)
    assert safe_need_mg(spec, 1) == need_mg(spec, 1)


def test_pulls_possible_counts_a_pull_that_fits_exactly():
    # 100 g/m² × 0.01 m² bone-dry = 1 g; retention 0.8: 1.25 g a pull
    spec = SheetSpec(
        Size(100_000, 100_000), D(100), sheet_moisture=D(0), retention=D("0.8"), broke=D(0)
    )
    assert pulls_possible(12_500, spec=spec) == 10
    assert pulls_possible(12_499, spec=spec) == 9
    with pytest.raises(RangeError, match="Usable fibre must be 0 mg or more, got -1"):
        pulls_possible(-1, spec=spec)


def test_a_learned_share_takes_the_place_of_broke_and_retree():
    spec = SheetSpec(A4, D(120), learned=(D(45), D(5)))
    assert spec.good_share == Fraction(9, 10)
    assert average_pulls(spec, 900) == 1000


# --- the chain, both ways ---------------------------------------------------------------------


def test_sheets_from_fibre_goes_through_every_loss():
    # 10 kg × 0.92 = 9.2 kg; × 0.96 = 8.832 kg; / 7.328475 g = 1205.1; × 0.88 = 1060.4
    count = counted(Q(10, "kg"), SheetSpec(A4, D(120)))
    assert count.oven_dry_g == 9200
    assert count.usable_g == 8832
    assert count.fibre_per_sheet_g == Fraction("7.035336")
    assert (count.pulls_possible, count.good_sheets) == (1205, 1060)
    assert count.good_sheets_safe < count.good_sheets


def test_the_counted_figures_go_out_as_plain_numbers():
    figures = counted(Q(10, "kg"), SheetSpec(A4, D(120))).as_json()
    assert list(figures) == [
        "oven_dry_g", "usable_g", "fibre_per_sheet_g", "fibre_per_pull_g", "sheets_per_pull",
        "pulls_possible", "good_sheets", "good_sheets_safe",
    ]  # fmt: skip
    assert figures["oven_dry_g"] == 9200.0
    assert {type(figure) for figure in figures.values()} == {int, float}


def test_fibre_for_sheets_goes_back_through_every_loss():
    # 455 pulls × 7.328475 g = 3334.456125 g; / 0.96 = 3473.391797 g; / 0.92 = 3775.425866 g
    need = needed(400, SheetSpec(A4, D(120)))
    figures = need.as_json()
    assert list(figures) == [
        "pulls_average", "pulls_safe", "vat_fibre_g", "oven_dry_needed_g", "as_is_needed_g",
        "covered", "short_oven_dry_g",
    ]  # fmt: skip
    assert figures["pulls_average"] == 455
    assert figures["vat_fibre_g"] == 3334.456125
    assert figures["oven_dry_needed_g"] == pytest.approx(3473.391797, abs=1e-6)
    assert figures["as_is_needed_g"] == pytest.approx(3775.425866, abs=1e-6)
    assert figures["covered"] is False
    # 1 kg at 8 % is 920 g oven-dry
    assert figures["short_oven_dry_g"] == pytest.approx(2553.391797, abs=1e-6)


def test_a_need_met_to_the_milligram_is_covered():
    # No loss, 1 g a pull: 10 g cover 10 sheets, and a milligram less does not.
    spec = SheetSpec(Size(100_000, 100_000), D(100), sheet_moisture=D(0), **NO_LOSS)
    whole = {"moisture": D(0), "preparation_yield": D(1)}
    assert needed(10, spec, Q(10, "g"), **whole).state == "covered"
    short = needed(10, spec, Q("9.999", "g"), **whole)
    assert (short.state, short.short_oven_dry_g) == ("short", Fraction(1, 1000))


def test_enough_on_average_but_not_to_be_safe_is_just_covered():
    spec = SheetSpec(A4, D(120))
    on_average = needed(400, spec)
    enough = Q(D(on_average.as_is_needed_g.numerator) / on_average.as_is_needed_g.denominator, "g")
    need = needed(400, spec, enough + Q("0.001", "g"))
    assert (need.covered, need.state, need.short_oven_dry_g) == (True, "just covered", 0)


@settings(deadline=None)
@given(st.integers(1, 400), SPECS, SHARES, KEPT)
def test_fibre_for_sheets_and_back_gives_the_sheets_and_no_milligram_less_would(
    wanted, spec, moisture, preparation_yield
):
    how = {"moisture": moisture, "preparation_yield": preparation_yield}
    need = needed(wanted, spec, **how)
    enough_mg = -(-need.as_is_needed_g * 1000 // 1)
    assert counted(Q(int(enough_mg), "mg"), spec, **how).good_sheets >= wanted
    less = counted(Q(int(enough_mg) - 1, "mg"), spec, **how)
    assert less.pulls_possible < need.pulls_average


@settings(deadline=None)
@given(MASSES, SPECS, SHARES, KEPT)
def test_sheets_promised_never_take_more_fibre_than_there_is(
    mass, spec, moisture, preparation_yield
):
    how = {"moisture": moisture, "preparation_yield": preparation_yield}
    count = counted(mass, spec, **how)
    drawn = count.pulls_possible * spec.drawn_per_pull_mg / 1000
    assert drawn <= count.usable_g <= count.oven_dry_g <= count.as_is_g
    if count.good_sheets:
        need = needed(count.good_sheets, spec, mass, **how)
        assert need.covered
        assert need.oven_dry_needed_g <= count.oven_dry_g
    promised = count.good_sheets_safe
    if promised:
        assert needed(promised, spec, mass, **how).pulls_safe <= count.pulls_possible


@settings(deadline=None)
@given(
    MASSES,
    SPECS,
    SHARES,
    SHARES,
    st.sampled_from(["sheet", "moisture", "yield", "retention", "broke", "retree"]),
)
def test_more_loss_never_gives_more_sheets(mass, spec, less, more, loss):
    less, more = sorted((less, more))
    fewer = lost(mass, spec, loss, more)
    most = lost(mass, spec, loss, less)
    assert fewer.good_sheets <= most.good_sheets
    assert fewer.good_sheets_safe <= most.good_sheets_safe


def lost(mass, spec, loss, share):
    """Count the sheets with one loss set to a share."""
    how = {"moisture": D("0.08"), "preparation_yield": D("0.96")}
    losses = {"retention": spec.retention, "broke": spec.broke, "retree": spec.retree}
    if loss == "moisture":
        how["moisture"] = share
    elif loss == "yield":
        how["preparation_yield"] = 1 - share
    elif loss == "retention":
        losses["retention"] = 1 - share
    elif loss in losses:
        losses[loss] = share
    else:
        mass = mass * (1 - share)
    worse = SheetSpec(spec.size, spec.grammage, spec.sheet_moisture, **losses)
    return counted(mass, worse, **how)


# --- the working ------------------------------------------------------------------------------


def said(result, **how):
    return {
        line.label: f"{line.value} {line.because}".replace("\u00a0", " ")
        for line in result.lines(**how)
    }


def test_the_working_of_a_count_shows_each_figure_with_its_basis():
    count = counted(Q(10, "kg"), SheetSpec(A4, D(120)))
    words = said(count)
    assert words["As weighed"].startswith("10.00 kg as-is")
    assert words["Oven-dry"] == "9.20 kg as weighed less 8 % moisture"
    assert words["Sheets per pull"] == "1 as pulled, deckle edges kept"
    assert words["Good sheets on average"].startswith("1060 pulls × 1 × 88 % good (8 % broke")
    assert [line.label for line in count.working if line.kind == "answer"] == [
        "Good sheets on average", "Good sheets to promise",
    ]  # fmt: skip


def test_the_working_speaks_of_the_mould_and_of_what_was_learned():
    spec = SheetSpec(A4, D(120), learned=(D(45), D(5)), **FROM_MOULD)
    words = said(counted(Q(10, "kg"), spec))
    assert words["Dry pull"] == "499.2 × 381.2 mm mould 520 × 391 mm less 4 % × 2.5 % shrinkage"
    assert words["Sheets per pull"].startswith("2 straight cuts")
    assert "5 mm off each side first" in words["Sheets per pull"]
    # 1 − 2 × 62370 / (499.2 × 381.225) = 34.5 %
    assert "34.5 % of it is cut away" in words["Fibre in one pull"]
    assert "90 % good (learned 45:5)" in words["Good sheets on average"]


def test_the_working_of_a_need_ends_with_what_is_missing_or_left():
    spec = SheetSpec(A4, D(120))
    short = said(needed(400, spec))
    assert short["Short"] == "2.55 kg missing oven-dry; 0.920 kg oven-dry on hand"
    # 5 kg × 0.92 − 3.473 kg
    covered = said(needed(400, spec, Q(5, "kg")))
    assert covered["Covered"].startswith("1.13 kg left oven-dry; 4.60 kg oven-dry on hand")
    assert needed(400, spec).working == needed(400, spec).lines()


def test_the_working_can_be_shown_in_pounds():
    words = said(counted(Q(10, "lb"), SheetSpec(A4, D(120))), system="US")
    assert words["As weighed"].startswith("10 lb 0.0 oz")


# --- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"grammage": D(0)}, "Grammage must be more than 0"),
        ({"grammage": D("NaN")}, "Grammage must be more than 0"),
        ({"sheet_moisture": D(1)}, "Sheet moisture must be at least 0 and less than 1"),
        ({"non_fibre_share": D(1)}, "The non-fibre share must be at least 0"),
        ({"retention": D(0)}, "Retention must be more than 0 and at most 1, got 0"),
        ({"broke": D(8)}, "Broke must be from 0 to 1, got 8; 8 % is 0.08"),
        ({"retree": D("-0.1")}, "Retree must be from 0 to 1"),
        ({"assurance": D(1)}, "Assurance must be more than 0 and less than 1"),
        ({"broke": D("0.6"), "retree": D("0.5")}, "Broke and retree together"),
        ({"learned": (D(0), D(1))}, "The learned a must be from 0.01"),
    ],
)
def test_a_specification_that_cannot_be_is_refused(wrong, message):
    with pytest.raises(RangeError, match=message):
        SheetSpec(**({"size": A4, "grammage": D(120)} | wrong))


def test_a_sheet_that_does_not_fit_its_mould_is_refused_when_reckoned():
    spec = SheetSpec(A4, D(120), mould=Size(200_000, 300_000))
    assert sheets_per_pull(spec) == 0
    for reckon in (
        lambda: counted(Q(1, "kg"), spec),
        lambda: needed(5, spec),
        lambda: need_mg(spec, 5),
        lambda: safe_need_mg(spec, 5),
    ):
        with pytest.raises(RangeError, match="Not one sheet of 210"):
            reckon()


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"mass": Q(-1, "kg")}, "The as-is mass must be 0 or more"),
        ({"moisture": D(1)}, "Moisture must be at least 0 and less than 1"),
        ({"moisture": D(8)}, "Moisture must be at least 0 and less than 1, got 8"),
        ({"preparation_yield": D(0)}, "Preparation yield must be more than 0"),
    ],
)
def test_fibre_that_cannot_be_is_refused_both_ways(wrong, message):
    spec = SheetSpec(A4, D(120))
    with pytest.raises(RangeError, match=message):
        counted(**({"mass": Q(1, "kg"), "spec": spec} | wrong))
    with pytest.raises(RangeError, match=message):
        needed(**({"wanted": 5, "spec": spec} | wrong))


def test_nothing_at_hand_makes_nothing():
    count = counted(Q(0, "kg"), SheetSpec(A4, D(120)))
    assert (count.pulls_possible, count.good_sheets, count.good_sheets_safe) == (0, 0, 0)


def test_no_good_sheet_is_promised_when_all_become_broke():
    spec = SheetSpec(A4, D(120), broke=D("0.5"), retree=D("0.5"))
    assert counted(Q(10, "kg"), spec).good_sheets == 0
    with pytest.raises(RangeError, match="good share is 0"):
        needed(1, spec)
