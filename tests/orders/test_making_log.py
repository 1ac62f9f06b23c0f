"""What is noted at the vat: each note once, each tap back again, and nothing moves the store."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest

from fibres.models import Movement
from orders.makings import log, planning, weighing
from orders.models import Commission, Fault, Making, TrialSheet
from studio.entries import AlreadyEnteredError
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry
from studio.units import show_mass, to_mg
from tests.builders import KG, make_commission, make_lot, make_making
from tests.orders.vatdays import GRAM, broke_fibre, count, making_and_lot, share

pytestmark = pytest.mark.django_db
Heel = Making.Heel


def test_starting_begins_the_first_post_and_the_making_of_its_commission():
    commission = make_commission()
    making = log.start(make_making(commission=commission), by=None)

    assert making.state == Making.State.AT_THE_VAT
    assert [post.number for post in making.posts.all()] == [1]
    commission.refresh_from_db()
    assert commission.state == Commission.State.MAKING


def test_a_second_making_leaves_its_commission_where_it_is():
    commission = make_commission(state=Commission.State.MAKING)
    log.start(make_making(commission=commission), by=None)
    commission.refresh_from_db()
    assert commission.state == Commission.State.MAKING


def test_a_making_for_a_withdrawn_commission_is_not_started():
    commission = make_commission(state=Commission.State.WITHDRAWN)
    with pytest.raises(StudioError, match="is withdrawn"):
        log.start(make_making(commission=commission), by=None)


def test_a_making_is_started_once():
    making, _ = making_and_lot()
    with pytest.raises(StudioError, match="at the vat already"):
        log.start(making, by=None)


def test_nothing_is_noted_before_the_start_nor_after_giving_up():
    making = make_making()
    with pytest.raises(StudioError, match="has not been started"):
        log.tap(making, "pulls", post=1, by=None)
    Making.objects.filter(pk=making.pk).update(state=Making.State.GIVEN_UP)
    with pytest.raises(StudioError, match="is given up, so nothing is noted"):
        log.tap(making, "pulls", post=1, by=None)


@pytest.mark.parametrize("what", log.COUNTED)
def test_a_tap_counts_and_is_taken_back(what: str):
    making, _ = making_and_lot()
    log.tap(making, what, post=1, change=5, by=None)
    log.tap(making, what, post=1, change=-2, by=None)
    assert getattr(making.posts.get(), what) == 3


def test_no_count_goes_below_none():
    making, _ = making_and_lot()
    count(making, good=2)
    with pytest.raises(RangeError, match="less than none"):
        log.tap(making, "good", post=1, change=-3, by=None)
    assert making.posts.get().good == 2


def test_faults_are_counted_by_kind():
    making, _ = making_and_lot()
    log.tap(making, Fault.Kind.HOLE, post=1, by=None)
    log.tap(making, Fault.Kind.HOLE, post=1, by=None)
    log.tap(making, Fault.Kind.SPECK, post=1, by=None)
    log.tap(making, Fault.Kind.SPECK, post=1, change=-1, by=None)
    found = dict(making.posts.get().faults.values_list("kind", "times"))
    assert found == {"hole": 2, "speck": 0}


def test_what_no_button_counts_is_refused():
    making, _ = making_and_lot()
    with pytest.raises(StudioError, match="Count pulls"):
        log.tap(making, "number", post=1, by=None)
    with pytest.raises(StudioError, match="has no post 2"):
        log.tap(making, "pulls", post=2, by=None)


def test_the_same_tap_sent_twice_counts_once():
    making, _ = making_and_lot()
    key = uuid.uuid4()
    log.tap(making, "pulls", post=1, by=None, key=key)
    with pytest.raises(AlreadyEnteredError):
        log.tap(making, "pulls", post=1, by=None, key=key)
    assert making.posts.get().pulls == 1
    assert Entry.objects.filter(request_key=key).count() == 1


def test_a_stale_copy_of_a_making_loses_no_tap():
    making, _ = making_and_lot()
    one, other = Making.objects.get(pk=making.pk), Making.objects.get(pk=making.pk)
    list(one.posts.all())
    log.tap(other, "pulls", post=1, by=None)
    log.tap(one, "pulls", post=1, by=None)
    assert making.posts.get().pulls == 2


def test_posts_follow_each_other_and_an_empty_one_is_not_left_behind():
    making, _ = making_and_lot()
    assert log.begin_post(making, by=None).number == 1
    count(making, pulls=1)
    assert log.begin_post(making, by=None).number == 2
    assert log.begin_post(making, by=None).number == 2


def test_minutes_of_one_operation_add_up_and_come_back():
    making, _ = making_and_lot()
    log.spend(making, "form", Decimal("12.5"), by=None)
    log.spend(making, "form", Decimal(30), by=None)
    log.spend(making, "form", Decimal(-2), by=None)
    assert making.spells.get().minutes == Decimal("40.5")
    with pytest.raises(RangeError, match=r"40\.5"):
        log.spend(making, "form", Decimal(-41), by=None)


def test_an_addition_is_there_once_with_its_last_mass_and_goes_at_0():
    making, _ = making_and_lot()
    log.dose(making, "Chalk", kind="filler", mass_mg=100 * GRAM, by=None)
    log.dose(making, "chalk", kind="filler", mass_mg=154 * GRAM, bottle="K 7", by=None)
    assert [(dose.mass_mg, dose.bottle) for dose in making.doses.all()] == [(154 * GRAM, "K 7")]
    log.dose(making, "Chalk", kind="filler", mass_mg=0, by=None)
    assert not making.doses.exists()


def test_an_addition_entered_anew_keeps_its_bottle_until_it_is_taken_off():
    making, _ = making_and_lot()
    log.dose(making, "Chalk", kind="filler", mass_mg=100 * GRAM, bottle="K 7", by=None)
    log.dose(making, "Chalk", kind="filler", mass_mg=154 * GRAM, by=None)
    assert making.doses.get().bottle == "K 7"
    log.dose(making, "Chalk", kind="filler", mass_mg=154 * GRAM, bottle="", by=None)
    assert making.doses.get().bottle == ""


def test_a_weighed_sheet_can_be_taken_out_again():
    making, _ = making_and_lot()
    trial = TrialSheet(mass_mg=7480, moisture=share("6"), number=2)
    log.weigh_trial(making, trial, by=None)
    log.take_back_trial(making, trial.pk, by=None)
    assert not making.trial_sheets.exists()
    with pytest.raises(StudioError, match="already"):
        log.take_back_trial(making, 1, by=None)


# --- what is weighed out -------------------------------------------------------------------------


def test_weighing_out_moves_nothing_in_the_store():
    making, lot = making_and_lot()
    found = log.issue(making, lot, as_is_mg=2 * KG, by=None)
    # 2 kg at 8 % moisture are 1.84 kg oven-dry.
    assert found.oven_dry_mg == 1_840_000
    lot.refresh_from_db()
    assert lot.oven_dry_mg == 9_200_000
    assert [moved.kind for moved in Movement.objects.filter(lot=lot)] == ["received"]


def test_what_is_weighed_out_has_the_moisture_it_was_weighed_with():
    making, lot = making_and_lot()
    found = log.issue(making, lot, as_is_mg=2 * KG, moisture=share("50"), by=None)
    assert (found.moisture, found.oven_dry_mg) == (share("50"), KG)


def test_what_others_weighed_out_is_not_there_any_more():
    making, lot = making_and_lot()
    other = log.start(make_making(), by=None)
    log.issue(other, lot, as_is_mg=8 * KG, by=None)
    with pytest.raises(NotEnoughError, match=r"has 2\.00\s+kg as is"):
        log.issue(making, lot, as_is_mg=3 * KG, by=None)


def test_what_a_making_given_up_had_weighed_out_is_there_again():
    making, lot = making_and_lot()
    other = log.start(make_making(), by=None)
    log.issue(other, lot, as_is_mg=8 * KG, by=None)
    planning.give_up(other, by=None)
    assert log.issue(making, lot, as_is_mg=10 * KG, by=None).oven_dry_mg == 9_200_000


def test_as_much_as_the_page_showed_is_the_whole_lot():
    making, lot = making_and_lot(as_is_mg=3_333_333)
    # 3.33 kg is shown; 3.3349 kg rounds to the same.
    found = log.issue(making, lot, as_is_mg=3_334_900, by=None)
    assert found.oven_dry_mg == lot.oven_dry_mg


def test_the_rest_of_a_lot_rounded_up_is_all_of_it_and_more_is_refused():
    making, lot = making_and_lot(as_is_mg=386_350)
    with pytest.raises(NotEnoughError, match=r"Give 0\.386"):
        log.issue(making, lot, as_is_mg=388_000, by=None)
    # A page that rounds up shows 0.387 kg.
    found = log.issue(making, lot, as_is_mg=387_000, by=None)
    assert (found.as_is_mg, found.oven_dry_mg) == (386_350, lot.oven_dry_mg)


@pytest.mark.parametrize(
    ("mass_mg", "system", "said"),
    [
        (386_350, "metric", "0.387\u00a0kg"),
        (13_737_838, "metric", "13.74\u00a0kg"),
        (5_001, "metric", "5.01\u00a0g"),
        (2_000_000, "metric", "2.00\u00a0kg"),
        # 1 lb is 453.59237 g, so 13 737.838 g are 30 lb 4.58 oz and 386.35 g are 13.628 oz.
        (13_737_838, "US", "30\u00a0lb\u00a04.6\u00a0oz"),
        (386_350, "US", "13.63\u00a0oz"),
    ],
)
def test_what_is_to_weigh_is_rounded_up_as_it_is_shown(mass_mg: int, system, said: str):
    mass = weighing.rounded_up(mass_mg, system)
    assert show_mass(mass, system=system) == said
    assert to_mg(mass) >= mass_mg


def test_a_pinch_of_water_is_no_issue():
    making, lot = making_and_lot()
    with pytest.raises(RangeError, match="holds no fibre"):
        log.issue(making, lot, as_is_mg=1, moisture=share("99"), by=None)


def test_what_was_weighed_out_by_mistake_goes_back():
    making, lot = making_and_lot()
    found = log.issue(making, lot, as_is_mg=10 * KG, by=None)
    log.take_back_issue(making, found.pk, by=None)
    log.issue(making, lot, as_is_mg=10 * KG, by=None)
    with pytest.raises(StudioError, match="put back already"):
        log.take_back_issue(making, found.pk, by=None)


def test_of_another_making_nothing_is_put_back():
    making, lot = making_and_lot()
    found = log.issue(making, lot, as_is_mg=KG, by=None)
    other, _ = making_and_lot()
    with pytest.raises(StudioError, match="put back already"):
        log.take_back_issue(other, found.pk, by=None)
    assert making.issues.count() == 1


# --- heel and broke ------------------------------------------------------------------------------


def test_a_kept_heel_needs_mass_moisture_and_fibre():
    making, _ = making_and_lot()
    with pytest.raises(StudioError, match="Weigh what is kept"):
        log.note_heel(making, Heel.KEPT, fibre=broke_fibre(), by=None)
    with pytest.raises(StudioError, match="Give its moisture"):
        log.note_heel(making, Heel.KEPT, fibre=broke_fibre(), as_is_mg=KG, by=None)
    with pytest.raises(StudioError, match="which fibre"):
        log.note_heel(making, Heel.KEPT, as_is_mg=KG, moisture=share("85"), by=None)


def test_what_is_said_of_the_heel_last_holds():
    making, _ = making_and_lot()
    fibre = broke_fibre()
    log.note_heel(making, Heel.KEPT, fibre=fibre, as_is_mg=KG, moisture=share("85"), by=None)
    log.note_heel(making, Heel.NONE, by=None)
    making.refresh_from_db()
    assert (making.heel, making.heel_as_is_mg, making.heel_fibre) == ("none", None, None)


def test_broke_is_noted_and_taken_back_at_0():
    making, _ = making_and_lot()
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=broke_fibre(), by=None)
    making.refresh_from_db()
    assert making.broke_as_is_mg == KG
    log.note_broke(making, as_is_mg=0, by=None)
    making.refresh_from_db()
    assert (making.broke_as_is_mg, making.broke_moisture, making.broke_fibre) == (None,) * 3


def test_heel_of_water_alone_is_refused():
    making, _ = making_and_lot()
    with pytest.raises(RangeError, match="holds no fibre"):
        log.note_heel(making, Heel.THROWN, as_is_mg=KG, moisture=Decimal(1), by=None)


def test_two_makings_of_one_lot_count_apart():
    making, lot = making_and_lot()
    lots = [lot, make_lot()]
    log.issue(making, lot, as_is_mg=KG, by=None)
    assert log.noted_mg(one.pk for one in lots) == {lot.pk: 920_000}
