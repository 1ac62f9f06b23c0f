"""What a run at the vat takes, and the sheet that hangs beside it."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as some

from orders.calc.forming import ToForm, form, trial_sheet
from orders.calc.loads import Loads, loads_for
from orders.calc.makingsheet import (
    About,
    DoseOut,
    DryerLoads,
    HeelKeeps,
    MakingSheet,
    Missing,
    WeighOut,
)
from orders.calc.makingsteps import soaking, steps_of
from orders.calc.spec import SheetSpec
from studio import cautions
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Q

A4 = SheetSpec(Size(210_000, 297_000), Decimal(120))
# Scenario H5, an invented order: 40 flax cards, air-dried, from a vat of 60 litres at 0.5 %.
CARD = SheetSpec(
    Size(130_000, 180_000),
    Decimal(130),
    broke=Decimal("0.12"),
    retree=Decimal("0.05"),
    retention=Decimal("0.95"),
    shrinkage=(Decimal("0.208"), Decimal("0.25")),
)
CARDS = ToForm(
    CARD, 49, opening=Size(165_000, 240_000), vat=Q(60, "L"), usual_consistency=Decimal("0.005")
)


def grams(mass_mg):
    return round(mass_mg / 1000)


def sheet(asked, **changes):
    return MakingSheet(
        **{
            "about": About(
                ref="M-007", title="C-115 Cards", commission="C-115", state="Planned",
                planned_on=date(2026, 11, 26), sheet="Card", size=asked.spec.size,
                grammage=asked.spec.grammage, furnish="Flax", mould="Card mould", vat="Small vat",
                drying="Free in the air", wanted_good=40,
            ),
            "forming": form(asked),
            "weigh": (
                WeighOut("Flax", "FL-02", "shelf B2", 540_000, 496_800, Decimal("0.08")),
            ),
            **changes,
        }
    )  # fmt: skip


# --- what is over at the end ---------------------------------------------------------------------


def test_the_heel_of_the_sheet_is_the_heel_of_the_vat_and_the_rest_stays_in_the_stuff():
    found = form(replace(CARDS, trial_pulls=2))
    assert found.left_in_vat_mg == round(found.charge.heel_fibre_g * 1000)
    # All that is prepared has gone into the vat or to trial sheets, or is over in the stuff.
    into_vat = found.charge.fibre_total_g * 1000
    assert found.left_in_stuff_mg == pytest.approx(
        float(found.total_mg - found.trial_mg - Fraction(into_vat)), abs=1
    )
    words = " ".join(sheet(replace(CARDS, trial_pulls=2)).vat_words()).replace("\u00a0", " ")
    vat, stuff = found.left_in_vat_mg, found.left_in_stuff_mg
    assert 0 < stuff < vat < found.heel_mg
    assert (
        f"Left at the end: about {vat / 10**6:.3f} kg of fibre in the vat and "
        f"{stuff / 1000:.2f} g in the stuff that was not poured; strain it"
    ) in words


def test_without_a_vat_the_usual_heel_is_left_and_no_stuff():
    found = form(replace(CARDS, vat=None, heel_mg=120_000))
    assert (found.left_in_vat_mg, found.left_in_stuff_mg) == (120_000, 0)


def test_a_vat_that_keeps_to_the_last_sheet_leaves_all_that_fills_it_but_what_is_pulled():
    """By hand: 1 pull of A4 from 60 L at 5 g/L, nothing poured after the charge.

    300 g less one pull of 112.8 g/m² × 0.06237 m² / 0.96 = 7.329 g; as much stays in the stuff.
    """
    found = form(ToForm(A4, 1, opening=Size(210_000, 297_000), vat=Q(60, "L")))
    assert (found.left_in_vat_mg, found.left_in_stuff_mg) == (292_672, 7_329)


@given(some.integers(1, 400), some.integers(0, 5), some.sampled_from([None, "0.004", "0.008"]))
def test_fibre_prepared_is_fibre_pulled_and_fibre_that_is_over(pulls, trials, said):
    asked = replace(CARDS, pulls=pulls, trial_pulls=trials, consistency=said and Decimal(said))
    found = form(asked)
    gone = found.charge.fibre_in_sheets_g + found.charge.fibre_lost_g
    over = found.left_in_vat_mg + found.left_in_stuff_mg
    assert Fraction(gone) * 1000 + found.trial_mg + over == pytest.approx(found.total_mg, abs=2)


# --- H5: the order is a third of the pulp --------------------------------------------------------


def test_h5_the_order_the_vat_and_both():
    found = form(CARDS)
    assert (grams(found.order_mg), grams(found.heel_mg), grams(found.total_mg)) == (147, 300, 447)
    assert found.is_heel_larger


def test_h5_without_a_vat_the_heel_is_the_usual_one():
    found = form(ToForm(CARD, 49, heel_mg=25_000))
    assert (grams(found.total_mg), found.charge) == (172, None)


def test_trial_sheets_come_on_top():
    """By hand: 51 pulls × 2.859 g / 0.95 = 153.5 g."""
    found = form(ToForm(CARD, 49, trial_pulls=2))
    assert round(found.total_mg / 1000, 1) == 153.5


# --- the vat -------------------------------------------------------------------------------------


def test_the_vat_of_the_thinning_table():
    """80 L at 0.6 % hold 480 g; an A4 of 120 g/m² takes 7.04 g: 2.6 L of 2 % stuff for 7 pulls.

    Trade facts, C15, reckoned there by hand; by the same table 7 pulls thin it by 10 %.
    """
    found = form(ToForm(A4, 100, vat=Q(80, "L"), consistency=Decimal("0.006")))
    assert grams(found.heel_mg) == 480
    charge = found.charge
    assert charge.recharge_every in {6, 7}
    # The table counts every sheet in full; from a thinning vat each takes a little less.
    scoop_for_seven = charge.scoop.thick_l / charge.scoop.after * 7
    assert Decimal("2.565") * Decimal("0.9") <= scoop_for_seven <= Decimal("2.565")


def test_fibre_on_the_mould_by_the_worked_grammage():
    """250 g/m² at 7 % moisture, shrunk by 3 and 2 %: 221.01 g/m² wet, 32.82 g on 330 × 450 mm.

    Worked by hand in the study of shrinkage that stands behind this arithmetic.
    """
    spec = SheetSpec(
        Size(64_000, 88_200), Decimal(250), sheet_moisture=Decimal("0.07"),
        shrinkage=(Decimal("0.03"), Decimal("0.02")), mould=Size(330_000, 450_000),
    )  # fmt: skip
    found = form(ToForm(spec, 10, opening=Size(330_000, 450_000)))
    assert round(found.wet_grammage.magnitude, 2) == Decimal("221.01")
    assert round(float(spec.fibre_per_pull_mg) / 1000, 2) == 32.82


def test_the_draw_of_the_mould_gives_the_consistency():
    """By hand: 112.8 g/m² of fibre over 22.56 mm are 5 g/L."""
    found = form(ToForm(A4, 10, draw=Q("22.56", "mm")))
    assert found.consistency.magnitude == pytest.approx(Decimal(5))
    assert found.consistency_is == "learned"


def test_what_was_said_stands_before_the_draw():
    found = form(ToForm(A4, 10, draw=Q("22.56", "mm"), consistency=Decimal("0.004")))
    assert (found.consistency.magnitude, found.consistency_is) == (Decimal(4), "said")


def test_stuff_and_water_of_the_charge():
    """By hand: 300 g at 20 g/L are 15 L of stuff; 60 L less these are 45 L of water."""
    found = form(CARDS)
    assert (found.charge_stuff.magnitude, found.charge_water.magnitude) == (15, 45)


def test_water_beside_what_the_lots_bring():
    """By hand: 447.4 g at 2 % are 22.37 L; 2 kg of wet stuff bring theirs, 20.37 L are left."""
    assert round(form(CARDS).water_for(2_000_000).magnitude, 2) == Decimal("20.37")


def test_refuses_stuff_that_is_no_thicker_than_the_vat():
    with pytest.raises(RangeError, match="Top up with thicker stuff"):
        form(ToForm(A4, 10, thick_consistency=Decimal("0.005")))


def test_refuses_no_pulls():
    with pytest.raises(RangeError, match="1 or more, got 0"):
        form(ToForm(A4, 0))


@given(
    some.integers(1, 2000),
    some.integers(0, 5),
    some.integers(5, 400),
    some.decimals(Decimal("0.002"), Decimal("0.015"), places=4),
)
def test_fibre_is_that_of_pulls_trials_and_vat(pulls, trials, litres, consistency):
    """Property: nothing is in the total that is not in one of its three parts."""
    found = form(
        ToForm(
            A4, pulls, trial_pulls=trials, vat=Q(litres, "L"), consistency=consistency,
            thick_consistency=Decimal("0.02"), tolerance=Decimal("0.4"),
        )
    )  # fmt: skip
    parts = (pulls + trials) * A4.drawn_per_pull_mg + litres * Fraction(consistency) * 10**6
    assert 0 <= found.total_mg - parts < 1


# --- trial sheets --------------------------------------------------------------------------------


def test_a_trial_sheet_weighs_what_its_area_gives():
    """By hand: 0.06237 m² × 120 g/m² = 7.484 g dry; 7.0353 g of fibre / 0.175 = 40.202 g wet."""
    found = trial_sheet(A4, couched_solids=Decimal("0.175"), tolerance=Decimal("0.05"))
    assert (found.dry_mg, found.wet_mg) == (7_484, 40_202)
    assert (found.least_mg, found.most_mg) == (7_111, 7_858)


# --- the sheet -----------------------------------------------------------------------------------


def test_blocks_hold_every_pull_once_and_every_top_up():
    found = sheet(ToForm(A4, 131, vat=Q(80, "L"), consistency=Decimal("0.006")))
    pulls = [pull for block in found.blocks for pull in range(block.first, block.last + 1)]
    assert pulls == list(range(1, 132))
    assert tuple(one for block in found.blocks for one in block.top_ups) == found.top_ups
    assert 1 < len(found.blocks) <= 16


@given(some.integers(1, 3000))
def test_no_making_has_more_blocks_than_a_page_holds(pulls):
    found = sheet(ToForm(A4, pulls))
    assert len(found.blocks) <= 16
    assert (found.blocks[0].first, found.blocks[-1].last) == (1, pulls)


def test_the_text_names_what_is_done_in_the_order_of_the_day():
    found = sheet(
        CARDS,
        missing=(Missing("Abaca", 360_000),),
        soak=("Flax: soak it overnight, from Wed 25 Nov",),
        doses=(DoseOut("Chalk", "filler", Decimal("0.04"), 17_880),),
        dryer=DryerLoads("Loft", 2, 30, Decimal(6)),
        cautions=cautions.of_steps(["press"]),
    )
    text = [line.replace("\u00a0", " ") for line in found.as_text()]
    titles = [line for line in text if line and not line.startswith(" ")][4:]
    assert titles == [
        "Weigh out", "Soak", "Prepare", "Add, in this order", "Vat", "A sheet weighs", "Dry",
        "Caution",
    ]  # fmt: skip
    assert text[0] == "Making M-007, C-115 Cards"
    assert text[1].startswith("Thursday 26 November 2026. Card, 130 × 180 mm, 130 g/m², of Flax.")
    assert "      0.540 kg  Flax, lot FL-02, shelf B2; 8 % moisture, 0.497 kg oven-dry" in text
    assert "  Missing: 0.360 kg oven-dry of Abaca; no lot is left for it" in text
    assert "  Loft: 2 loads of 30 pulls, 6 days" in text


def test_the_json_has_units_in_its_keys():
    plain = sheet(CARDS).as_json()
    assert (plain["ref"], plain["pulls"], plain["good_sheets"]) == ("M-007", 49, 40)
    assert round(plain["fibre_g"]) == 447
    assert plain["weigh"][0]["as_is_g"] == 540
    assert plain["charge"]["fibre_charge_g"] == pytest.approx(300)


# --- steps and their cautions --------------------------------------------------------------------


def test_wet_stuff_is_not_soaked():
    assert soaking("bast", Decimal("0.785")) == ""
    assert "before it is cooked" in soaking("bast", Decimal("0.1"))


def test_only_the_steps_that_are_taken_are_cautioned():
    steps = steps_of(["waste paper"], doses=["filler"], drying="restraint", is_beaten=True)
    assert steps == ("tear", "beat", "powder", "lift", "press", "wet", "heat", "drain")


def test_every_step_has_its_care():
    used = steps_of(["bast", "rag"], doses=["pigment", "sizing"], drying="iron", is_beaten=False)
    every = (*used, "beat")
    assert len(cautions.of_steps(every)) == len(set(every)) == len(cautions.STEPS)


def test_refuses_a_step_that_nobody_knows():
    with pytest.raises(ValueError, match="No such step: fly"):
        cautions.of_steps(["fly"])


def test_larger_mould_takes_fibre_over_all_of_its_opening():
    """An A4 on a mould of twice its area: each pull draws twice the fibre, by definition."""
    a4 = SheetSpec(Size(210_000, 297_000), Decimal(120))
    own, twice = (
        form(ToForm(a4, 100, opening=opening, vat=Q(60, "L")))
        for opening in (Size(210_000, 297_000), Size(420_000, 297_000))
    )
    assert twice.order_mg == 2 * own.order_mg
    assert twice.trial.dry_mg == pytest.approx(2 * own.trial.dry_mg, abs=1)
    # What is prepared is enough for the charge and every top-up of that mould.
    assert twice.total_mg >= 1000 * twice.charge.fibre_total_g


# --- words ---------------------------------------------------------------------------------------


def plain(lines):
    return [line.replace("\u00a0", " ") for line in lines]


@pytest.mark.parametrize(("system", "answer"), [("metric", "0.447 kg"), ("US", "15.78 oz")])
def test_the_sum_of_the_fibre_ends_in_what_has_to_be_prepared(system, answer):
    lines = form(CARDS).lines(system)
    assert (lines[-1].label, lines[-1].kind) == ("Fibre to prepare", "answer")
    assert plain([lines[-1].value]) == [answer]
    assert plain([lines[-2].because]) == ["60 L kept at 5.00 g/L"]


def test_the_sum_without_a_vat_says_that_the_heel_is_the_usual_one():
    lines = form(ToForm(CARD, 49, heel_mg=25_000)).lines()
    assert lines[-2].because == "the studio’s usual heel; no vat is chosen"


def test_without_a_vat_only_the_consistency_is_said():
    found = sheet(ToForm(CARD, 49))
    (said,) = plain(found.vat_words())
    assert said.startswith("Work it at 5.00 g/L (0.5 %), the studio’s usual one")
    assert (found.top_ups, found.blocks[0].scoops()) == ((), "")


def test_a_few_sheets_from_a_large_vat_need_no_topping_up():
    found = sheet(ToForm(A4, 2, vat=Q(160, "L")))
    assert "It needs no topping up" in found.vat_words()


def test_stuff_as_wet_as_the_sheets_take_it_asks_for_clear_water():
    thick = ToForm(A4, 60, vat=Q(60, "L"), thick_consistency=Decimal("0.4"))
    said, last = [line for line in sheet(thick).vat_words() if "clear water" in line]
    assert said.startswith("Add ")
    # The last scoop brings less stuff, so more clear water goes with it.
    assert last.startswith("The last one is smaller")
    assert sheet(thick).top_ups[-1].clear_water_l > sheet(thick).top_ups[0].clear_water_l


def test_the_last_smaller_scoop_has_a_draw_off_of_its_own():
    found = sheet(ToForm(A4, 23, vat=Q(60, "L")))
    first, last = found.top_ups[0], found.top_ups[-1]
    assert last.draw_off_l < first.draw_off_l
    assert any(line.startswith("The last one is smaller") for line in found.vat_words())


def test_the_last_block_names_the_smaller_scoop_that_ends_it():
    # 250 g/m² on 559 × 762 mm, 3 % filler, 96 % stays: a pull of 97.10 g draws 101.14 g from 160 L
    # at 5 g/L, so stuff at 20 g/L fills up with 101.14 / 20 = 5.06 L; the last pull may be 10 %
    # light, from 720 g in the vat, which holds 800 - 101.14 = 698.86 g: 21.14 g more, 1.057 L.
    # A pull carries 97.10 / 0.175 - 97.10 = 457.7 g of water away: 1.057 - 0.4577 = 0.599 L over.
    broadside = SheetSpec(
        Size(559_000, 762_000),
        Decimal(250),
        non_fibre_share=Decimal("0.03"),
        retention=Decimal("0.96"),
    )
    found = sheet(ToForm(broadside, 144, vat=Q(160, "L"), consistency=Decimal("0.005")))
    assert plain([block.scoops() for block in found.blocks][-2:]) == [
        "9 × 5.06 L",
        "7 × 5.06 L, 1.06 L",
    ]
    said = [line for line in plain(found.vat_words()) if line.startswith("The last one")]
    assert said == ["The last one is smaller: 1.06 L, after drawing off 599 mL"]
    poured = sum(round(top_up.thick_l, 2) for top_up in found.top_ups)
    assert poured == 142 * Decimal("5.06") + Decimal("1.06")


def test_beater_and_blender_are_named_with_their_loads():
    found = sheet(
        CARDS,
        beater=Loads(900_000, 2, 450_000, 450_000, Decimal("22.5"), Decimal("22.5"), 0),
        blender=Loads(27_000, 1, 27_000, 27_000, Decimal("1.25"), Decimal("1.25"), 0),
        dryer=DryerLoads("Loft", 1, 60, Decimal(1)),
        heel_keeps=HeelKeeps("Own broke", 7, date(2026, 12, 6)),
        weigh=(
            WeighOut("Flax", "FL-02", "", 540_000, 496_800, Decimal("0.08")),
            WeighOut("Flax", "FL-03", "", 100_000, 92_000, Decimal("0.08")),
        ),
    )
    assert plain(found.load_words()) == [
        "2 beater loads of 0.450 kg in 22.5 L",
        "Too little for the beater: 1 blender load of 27.00 g in 1.25 L",
    ]
    assert found.dryer_words == "Loft: 1 load, 1 day"
    assert plain(found.vat_words())[-1].endswith(
        ". Wet, as Own broke, it keeps 7 days from the day the making is finished: until Sunday "
        "6 December, if that is its day at the vat"
    )
    assert "0.640 kg  in all; 0.589 kg oven-dry" in "\n".join(plain(found.as_text()))


def test_a_last_top_up_that_is_next_to_nothing_asks_for_no_draw_off():
    found = sheet(replace(CARDS, pulls=22))
    assert found.top_ups[-1].draw_off_l < Decimal("0.0005")
    assert any(
        line.startswith("The last one is smaller") and line.endswith("draw nothing off before it")
        for line in found.vat_words()
    )


def test_loads_made_up_to_the_smallest_say_what_is_over():
    # 1.0 kg in loads of 0.6 to 0.9 kg: two of 0.6 kg are 1.2 kg.
    loads = loads_for(1_000_000, least_mg=600_000, most_mg=900_000, consistency=Q(20, "g/L"))
    (words,) = sheet(CARDS, beater=loads).load_words()
    assert words.replace("\u00a0", " ") == (
        "2 beater loads of 0.600 kg in 30 L: 1.20 kg in all, 0.200 kg more than the run takes; "
        "keep what is over"
    )
    even = loads_for(1_000_000, least_mg=500_000, most_mg=900_000, consistency=Q(20, "g/L"))
    (words,) = sheet(CARDS, beater=even).load_words()
    assert words.endswith("25\u00a0L")


def test_without_a_dryer_nothing_is_said_of_loads():
    assert sheet(CARDS).dryer_words == ""
    assert "Dry" not in sheet(CARDS).as_text()


def test_top_ups_that_are_all_alike_name_no_smaller_last_one():
    # Topped up after 10 and 20 pulls, and the last sheet needs all of the second scoop.
    found = sheet(replace(CARDS, pulls=31))
    assert len({round(top_up.draw_off_l, 6) for top_up in found.top_ups}) == 1
    words = " ".join(found.vat_words())
    assert "Draw off" in words
    assert "smaller" not in words
