"""What looks like a slip at the vat is asked about when it is entered, and kept with a tick."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.urls import reverse

from fibres.models import Addition
from orders.makings import doubts, log
from orders.models import Dose, TrialSheet
from tests.builders import KG, make_furnish, make_making, make_mould, make_sheet, make_vat
from tests.orders.vatdays import broke_fibre, count, logged, making_and_lot, share
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db


def sent(client, making, route: str, **fields):
    given = {"request_key": str(uuid.uuid4()), **fields}
    return client.post(reverse(route, args=[making.ref]), given, follow=True)


def ticks(answer) -> list[str]:
    """Return the values of the ticks that a page offers to keep a figure all the same."""
    boxes = Page(answer.content.decode()).all("input", name="is_right")
    assert all("checked" not in box.attrs for box in boxes)
    return [box.attrs["value"] for box in boxes]


def words(answer) -> str:
    return answer.content.decode().replace("\u00a0", " ").replace("\u202f", " ")


# An A4 of 120 g/m² weighs 0.210 × 0.297 × 120 = 7.48 g; half a tonne is no sheet.
TRIAL = {"moisture": "6", "number": "1"}


def test_a_trial_sheet_of_half_a_tonne_is_asked_about_and_kept_with_a_tick(hand_client):
    making, _ = making_and_lot()
    given = {"mass": "500 kg", "mass_unit": "g", **TRIAL}
    asked = sent(hand_client, making, "making_trial", **given)
    assert "500.00 kg is far from what a whole pull weighs at 120 g/m², about 7.48 g" in words(
        asked
    )
    assert not TrialSheet.objects.exists()

    sent(hand_client, making, "making_trial", **given, is_right=ticks(asked)[0])
    assert TrialSheet.objects.get().mass_mg == 500 * KG


def test_a_tick_for_one_figure_does_not_speak_for_the_next(hand_client):
    making, _ = making_and_lot()
    asked = sent(hand_client, making, "making_trial", mass="75 g", **TRIAL)
    again = sent(
        hand_client, making, "making_trial", mass="75 kg", **TRIAL, is_right=ticks(asked)[0]
    )
    assert "75.00 kg is far from" in words(again)
    assert ticks(again) != ticks(asked)
    assert not TrialSheet.objects.exists()


@pytest.mark.parametrize(
    ("grams", "is_asked"), [("1.4", True), ("1.5", False), ("37", False), ("38", True)]
)
def test_five_times_off_either_way_is_far(hand_client, grams: str, is_asked: bool):
    # 7.484 g by five is 1.497 g, five times is 37.42 g.
    making, _ = making_and_lot()
    sent(hand_client, making, "making_trial", mass=f"{grams} g", **TRIAL)
    assert TrialSheet.objects.exists() != is_asked


def test_a_usual_sheet_brings_no_tick(hand_client):
    making, _ = making_and_lot()
    page = hand_client.get(reverse("making_trial", args=[making.ref]))
    assert ticks(page) == []
    sent(hand_client, making, "making_trial", mass="7.5 g", **TRIAL)
    assert TrialSheet.objects.exists()


def test_a_dose_beyond_the_fibre_itself_is_asked_about(hand_client):
    making, lot = making_and_lot()
    log.issue(making, lot, as_is_mg=2 * KG, by=None)
    given = {"name": "Chalk", "kind": "filler", "mass": "900 kg"}
    asked = sent(hand_client, making, "making_dose", **given)
    # 2 kg at 8 % are 1.84 kg.
    assert "900.00 kg is more than the fibre itself, 1.84 kg weighed out" in words(asked)
    assert not Dose.objects.exists()
    sent(hand_client, making, "making_dose", **given, is_right=ticks(asked)[0])
    assert Dose.objects.get().mass_mg == 900 * KG


def test_a_dose_is_compared_with_what_the_furnish_asks_for(hand_client):
    making, lot = making_and_lot()
    Addition.objects.create(
        furnish=making.sheet.furnish, name="AKD", kind="sizing", dose=Decimal("0.02")
    )
    log.issue(making, lot, as_is_mg=2 * KG, by=None)
    # 2 % of 1.84 kg are 36.8 g, five times that 184 g.
    asked = sent(hand_client, making, "making_dose", name="akd", kind="sizing", mass="185 g")
    assert "0.184 kg, 5 times the 2 %" in words(asked)
    sent(hand_client, making, "making_dose", name="akd", kind="sizing", mass="183 g")
    assert Dose.objects.get().mass_mg == 183_000


def test_nothing_of_an_addition_is_refused_unless_it_takes_it_out(hand_client):
    making, _ = making_and_lot()
    given = {"name": "Alum", "kind": "sizing", "mass": "0"}
    refused = sent(hand_client, making, "making_dose", **given)
    assert "no Alum is noted that 0 could take out" in words(refused)
    log.dose(making, "Alum", kind="sizing", mass_mg=5_000, by=None)
    sent(hand_client, making, "making_dose", **given)
    assert not Dose.objects.exists()


def test_no_minutes_are_refused(hand_client):
    making, _ = making_and_lot()
    answer = sent(hand_client, making, "making_spend", operation="form", minutes="0", way="add")
    assert "Give more than 0." in words(answer)
    assert not making.spells.exists()


@pytest.mark.parametrize("route", ["making_heel", "making_broke"])
def test_more_fibre_kept_than_went_in_is_asked_about(hand_client, route: str):
    making, lot = making_and_lot()
    log.issue(making, lot, as_is_mg=2 * KG, by=None)
    log.dose(making, "Chalk", kind="filler", mass_mg=100_000, by=None)
    given = {"heel": "kept", "mass": "20 kg", "moisture": "85", "fibre": broke_fibre().pk}
    # 20 kg at 85 % hold 3 kg; 1.84 kg of fibre and 100 g of chalk went in.
    asked = sent(hand_client, making, route, **given)
    assert "holds 3.00 kg oven-dry, more than can be there: at most 1.94 kg" in words(asked)
    sent(hand_client, making, route, **given, is_right=ticks(asked)[0])
    making.refresh_from_db()
    assert (making.heel_as_is_mg or making.broke_as_is_mg) == 20 * KG


def test_broke_is_compared_with_what_the_heel_left(hand_client):
    making, lot = making_and_lot()
    log.issue(making, lot, as_is_mg=2 * KG, by=None)
    own = broke_fibre()
    log.note_heel(
        making, making.Heel.KEPT, fibre=own, as_is_mg=8 * KG, moisture=share("85"), by=None
    )
    # 1.84 kg less 1.2 kg of heel leaves 0.64 kg; 2 kg of broke at 65 % hold 0.7 kg.
    asked = sent(hand_client, making, "making_broke", mass="2 kg", moisture="65", fibre=own.pk)
    assert "at most 0.640 kg, from what is weighed out beside 1.20 kg kept otherwise" in words(
        asked
    )


def test_more_than_the_vat_holds_is_asked_about(hand_client):
    vat = make_vat(width_um=300_000, height_um=300_000, depth_um=300_000)
    making = log.start(make_making(vat=vat), by=None)
    given = {"heel": "thrown", "litres": "5000", "litres_unit": "L"}
    asked = sent(hand_client, making, "making_heel", **given)
    assert f"5000 L is more than {vat.name} holds, 27 L" in words(asked)
    making.refresh_from_db()
    assert making.heel == ""
    sent(hand_client, making, "making_heel", **given, is_right=ticks(asked)[0])
    making.refresh_from_db()
    assert making.heel == "thrown"


def test_wet_broke_and_its_refusal_say_the_same_moisture(hand_client):
    making, _ = making_and_lot()
    page = hand_client.get(reverse("making_broke", args=[making.ref]))
    refused = sent(hand_client, making, "making_broke", mass="1 kg", fibre=broke_fibre().pk)
    for answer in (page, refused):
        assert "pressed and still wet, about 65 %" in words(answer)
        assert "85 %" not in words(answer)


# --- counts, which are tapped: asked about on the page as long as they look odd ------------------


def counted(making, **counts: int) -> list[str]:
    return doubts.of_counts(making, {"pulls": 0, "good": 0, "retree": 0, "broke": 0, **counts})


def test_more_sheets_than_pulls_can_give_are_asked_about():
    making = make_making(pulls=27, wanted_good=20)
    assert counted(making, pulls=27, good=20, retree=4, broke=3) == []
    asked = counted(making, pulls=27, good=90, retree=5, broke=4)
    assert asked == ["99 sheets were sorted and 27 sheets formed. Count the pulls again."]
    assert counted(making, good=1) == [
        "1 sheet was sorted and 0 sheets formed. Count the pulls again."
    ]


def test_sheets_cut_from_one_pull_are_that_many():
    # Two by two A5 lie in a dry pull of 320 × 450 mm.
    mould = make_mould()
    furnish = make_furnish(shrinkage=("0", "0"), drying="restraint")
    sheet = make_sheet(furnish, mould=mould, width_um=148_000, height_um=210_000, edges="trimmed")
    making = make_making(sheet, mould=mould)
    assert counted(making, pulls=10, good=40) == []
    assert "41 sheets were sorted and 40 sheets formed" in counted(making, pulls=10, good=41)[0]


def test_many_more_pulls_than_planned_are_asked_about():
    making = make_making(pulls=27, wanted_good=20)
    assert counted(making, pulls=40) == []
    assert counted(making, pulls=99)[0].startswith("99 pulls are counted and 27 pulls planned.")
    # A few pulls more are trial pulls, however few were planned.
    assert counted(make_making(pulls=1, wanted_good=1), pulls=11) == []


def test_more_pulls_than_the_fibre_gives_are_asked_about():
    making, lot = making_and_lot()
    log.issue(making, lot, as_is_mg=KG // 2, by=None)
    # 0.46 kg of fibre at 7.035 g a pull give 65 pulls; half as many again are 97.
    assert counted(making, pulls=97) == []
    assert "gives about 65 pulls" in counted(making, pulls=98)[0]


def test_the_log_asks_while_it_looks_odd(hand_client):
    making, _ = making_and_lot()
    count(making, pulls=2, good=5)
    page = hand_client.get(log.page_of(making))
    assert "5 sheets were sorted and 2 sheets formed" in words(page)
    log.tap(making, "pulls", post=1, change=3, by=None)
    assert "were sorted" not in words(hand_client.get(log.page_of(making)))


def test_the_finish_says_it_too(hand_client):
    making = logged(good=1, retree=0)
    page = hand_client.get(reverse("making_finish", args=[making.ref]))
    assert "1 sheet was sorted and 0 sheets formed" in words(page)
