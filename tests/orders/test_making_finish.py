"""Finishing posts all or nothing, and the balance says where the fibre went, corrections too."""

from __future__ import annotations

import uuid
from decimal import Decimal
from unittest.mock import patch

import pytest

from fibres import services, stocktaking
from fibres.models import Lot, Movement, Source
from orders.makings import finish as finishing
from orders.makings import log, standing
from orders.makings.finish import balance_of, finish
from orders.makings.sheet import sheet_of
from orders.makings.standing import issued_by_lot
from orders.models import Making, SheetMovement, TrialSheet
from studio.entries import AlreadyEnteredError
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry
from tests.builders import KG, day, make_mould, make_vat
from tests.fibres.test_audit import plant
from tests.orders.vatdays import GRAM, broke_fibre, count, logged, making_and_lot, share

pytestmark = pytest.mark.django_db
Heel = Making.Heel
# An A4 sheet of 120 g/m² at 6 % moisture: 0.06237 m² × 120 g/m² × 0.94 = 7.035336 g of fibre.
A4_MG = Decimal("7035.336")


def test_finishing_posts_issues_sheets_broke_and_heel_in_one_entry(owner):
    making, lot = making_and_lot(owner)
    log.issue(making, lot, as_is_mg=2 * KG, by=owner)
    count(making, owner, pulls=120, good=100, retree=8, broke=12)
    own = broke_fibre()
    # 240 g of dried broke at 6 %: 225.6 g; H5's strained heel: 1.80 kg at 85 % holds 270 g.
    log.note_broke(making, as_is_mg=240 * GRAM, moisture=share("6"), fibre=own, by=owner)
    log.note_heel(
        making,
        Heel.KEPT,
        fibre=lot.fibre,
        as_is_mg=1800 * GRAM,
        moisture=share("85"),
        by=owner,
    )

    done = finish(making, by=owner)

    assert (done.state, done.finished_on) == (Making.State.FINISHED, day())
    lot.refresh_from_db()
    assert lot.oven_dry_mg == 9_200_000 - 1_840_000
    assert (done.broke_lot.oven_dry_mg, done.heel_lot.oven_dry_mg) == (225_600, 270_000)
    entry = Entry.objects.get(act="finish making")
    assert {moved.kind for moved in entry.movements.all()} == {"issued", "received"}
    assert entry.movements.count() == 3
    made = entry.sheet_movements.values_list("quality", "kind", "sheets")
    assert set(made) == {("good", "made", 100), ("retree", "made", 8)}
    issue = done.issues.get()
    assert (issue.movement.lot, issue.movement.oven_dry_mg) == (lot, -1_840_000)


def test_the_balance_adds_up_to_what_was_issued(owner):
    making = logged(owner, as_is_mg=2 * KG, good=100, retree=8)
    log.note_broke(making, as_is_mg=240 * GRAM, moisture=share("6"), fibre=broke_fibre(), by=owner)
    # 40 litres of vat at 0.5 %: 200 g.
    log.note_heel(making, Heel.THROWN, as_is_mg=40 * KG, moisture=share("99.5"), by=owner)

    before, after = balance_of(_now(making)), balance_of(finish(making, by=owner))

    assert before == after
    assert after.issued_mg == 1_840_000
    assert (after.in_good_mg, after.in_retree_mg) == (round(100 * A4_MG), round(8 * A4_MG))
    assert (after.broke_kept_mg, after.heel_kept_mg) == (225_600, 0)
    assert after.heel_thrown_mg == 200_000
    # 1840 − 703.534 − 56.283 − 225.6 − 200 = 654.583 g
    assert after.lost_mg == 654_583
    assert after.over_mg == 0


def test_weighed_sheets_say_what_a_sheet_holds(owner):
    making = logged(owner)
    for mass in (8000, 8400):
        log.weigh_trial(making, TrialSheet(mass_mg=mass, moisture=share("6")), by=owner)
    found = balance_of(_now(making))
    # The mean of 8.0 and 8.4 g, less 6 % of water.
    assert (found.sheet_mg, found.weighed_sheets) == (Decimal("7708"), 2)
    assert found.in_good_mg == 770_800


def test_of_a_pull_that_is_cut_each_sheet_holds_its_share(owner):
    making = logged(owner)
    # Two A4 lie in a pull of 432 × 300 mm: each is 62 370 of its 129 600 mm².
    making.sheet.edges = "trimmed"
    making.sheet.save()
    Making.objects.filter(pk=making.pk).update(
        mould=make_mould(width_um=432_000, height_um=300_000)
    )
    log.weigh_trial(making, TrialSheet(mass_mg=20_000, moisture=share("6")), by=owner)
    found = balance_of(_now(making))
    assert found.sheet_mg == Decimal(18_800) * 62_370 / 129_600


def test_broke_and_heel_are_lots_of_the_studio_itself_that_cost_nothing_more(owner):
    making = logged(owner)
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=broke_fibre(), by=owner)
    lot = finish(making, by=owner).broke_lot
    assert (lot.source.kind, lot.source.name) == (Source.Kind.STUDIO, "The studio")
    assert (lot.paid_minor, lot.sorting_minutes) == (0, 0)
    # Wet pulp spoils: it is to be used within the days its fibre keeps wet.
    assert lot.keep_until == day(-7)


def test_dry_broke_keeps(owner):
    making = logged(owner)
    log.note_broke(making, as_is_mg=KG, moisture=share("6"), fibre=broke_fibre(), by=owner)
    assert finish(making, by=owner).broke_lot.keep_until is None


def test_a_making_is_finished_once(owner):
    making, key = logged(owner), uuid.uuid4()
    finish(making, by=owner, key=key)
    with pytest.raises(AlreadyEnteredError):
        finish(making, by=owner, key=key)
    with pytest.raises(StudioError, match="is finished, so nothing is noted"):
        finish(making, by=owner)
    assert Movement.objects.filter(kind="issued").count() == 1


def test_what_is_missing_is_said_all_at_once(owner):
    making, _ = making_and_lot(owner)
    with pytest.raises(StudioError, match=r"Nothing has been weighed out.*left in the vat"):
        finish(making, by=owner)


def test_an_issue_that_no_longer_fits_its_lot_stops_all_of_it_and_is_named(owner):
    making = logged(owner)
    lot = making.issues.get().lot
    # No service does that any more; it can have come so from elsewhere.
    plant("UPDATE fibres_lot SET oven_dry_mg = 920000 WHERE id = %s", lot.pk)
    with pytest.raises(NotEnoughError, match=f"Lot {lot.ref} holds 0.920\u00a0kg oven-dry"):
        finish(making, by=owner)
    assert not SheetMovement.objects.exists()
    assert _now(making).state == Making.State.AT_THE_VAT


def counted_yesterday(lot):
    """Post a count of a lot that found it as the book says, dated yesterday."""
    stocktake = stocktaking.begin(by=None)
    stocktaking.count_lot(stocktake, lot, as_is_mg=10 * KG, by=None)
    with patch("django.utils.timezone.localdate", return_value=day(1)):
        stocktaking.post(stocktake, by=None)


def test_a_hand_finishes_no_making_before_a_count_of_its_lot(hand, owner):
    making, lot = making_and_lot()
    counted_yesterday(lot)
    log.issue(making, lot, as_is_mg=2 * KG, by=hand)
    log.note_heel(making, Making.Heel.NONE, by=hand)
    with pytest.raises(RangeError, match=f"Lot {lot.ref} was counted on") as refusal:
        finish(making, finished_on=day(2), by=hand)
    assert refusal.value.field == "happened_on"
    assert _now(making).state == Making.State.AT_THE_VAT
    assert (
        finish(making, finished_on=day(1), by=hand).issues.get().movement.why.endswith(making.ref)
    )


def test_an_owner_who_does_leaves_a_note_in_the_lot(owner):
    making, lot = making_and_lot()
    counted_yesterday(lot)
    log.issue(making, lot, as_is_mg=2 * KG, by=owner)
    log.note_heel(making, Making.Heel.NONE, by=owner)
    moved = finish(making, finished_on=day(2), by=owner).issues.get().movement
    assert moved.why == f"Making {making.ref}. Dated before its count of {day(1):%d %b %Y}"


def test_a_fault_at_the_very_end_leaves_nothing_behind(owner):
    making = logged(owner)
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=broke_fibre(), by=owner)
    books = (Movement, SheetMovement, Lot, Entry, Source)
    before = [book.objects.count() for book in books]
    with (
        patch.object(finishing, "_post_sheets", side_effect=RuntimeError("power cut")),
        pytest.raises(RuntimeError, match="power cut"),
    ):
        finish(making, by=owner)
    assert [book.objects.count() for book in books] == before
    assert _now(making).issues.get().movement is None


def test_more_than_was_issued_is_finished_only_knowingly(owner):
    # 100 A4 hold 703.5 g; 0.5 kg as is at 8 % is 460 g.
    making = logged(owner, as_is_mg=KG // 2, retree=0)
    with pytest.raises(RangeError, match=r"come to 0\.244\s+kg more than was issued") as refusal:
        finish(making, by=owner)
    assert refusal.value.field == "accept_over"
    done = balance_of(finish(making, accept_over=True, by=owner))
    assert (done.over_mg, done.lost_mg) == (243_534, -243_534)


def test_no_fibre_comes_back_that_never_went_in(owner):
    making = logged(owner, as_is_mg=KG, good=0, retree=0)
    log.note_broke(making, as_is_mg=KG, moisture=share("0"), fibre=broke_fibre(), by=owner)
    with pytest.raises(RangeError, match="went into the making"):
        finish(making, accept_over=True, by=owner)


# --- corrections after it is finished ------------------------------------------------------------


def test_a_corrected_issue_is_what_the_balance_says(owner):
    done = finish(logged(owner), by=owner)
    issue = done.issues.get()
    before = balance_of(done)
    services.correct(
        issue.movement, as_is_mg=3 * KG, happened_on=day(), why="scale misread", by=owner
    )
    after = balance_of(done)
    # 3 kg at 8 % are 2.76 kg: the kilogram more was lost.
    assert after.issued_mg == 2_760_000
    assert after.lost_mg - before.lost_mg == 920_000
    assert after.in_sheets_mg == before.in_sheets_mg
    assert issued_by_lot([done]) == {(done.pk, issue.lot_id): 2_760_000}


def test_an_issue_corrected_twice_stands_as_it_was_put_right_last(owner):
    done = finish(logged(owner), by=owner)
    issue = done.issues.get()
    (_, right) = services.correct(
        issue.movement, as_is_mg=3 * KG, happened_on=day(), why="misread", by=owner
    )
    services.correct(right, as_is_mg=1 * KG, happened_on=day(), why="misread again", by=owner)
    assert balance_of(done).issued_mg == 920_000


def test_of_many_makings_each_is_found_though_few_are_asked_for_at_once(owner, monkeypatch):
    makings = [finish(logged(owner), by=owner) for _ in range(3)]
    for making in makings[:2]:
        services.correct(
            making.issues.get().movement,
            as_is_mg=3 * KG, happened_on=day(), why="scale misread", by=owner,
        )  # fmt: skip
    monkeypatch.setattr(standing, "MOST_KEYS", 1)
    # 2 kg at 8 % are 1.84 kg, 3 kg are 2.76 kg.
    found = issued_by_lot(makings)
    assert [found[making.pk, making.issues.get().lot_id] for making in makings] == [
        2_760_000, 2_760_000, 1_840_000,
    ]  # fmt: skip


def test_an_issue_that_never_was_counts_for_nothing(owner):
    done = finish(logged(owner), by=owner)
    services.correct(
        done.issues.get().movement, as_is_mg=0, happened_on=day(), why="other lot", by=owner
    )
    found = balance_of(done)
    assert (found.issued_mg, issued_by_lot([done])) == (0, {})
    assert found.over_mg == found.in_sheets_mg


def test_broke_that_was_weighed_wrong_is_put_right_in_its_lot(owner):
    making = logged(owner)
    log.note_broke(making, as_is_mg=KG, moisture=share("60"), fibre=broke_fibre(), by=owner)
    done = finish(making, by=owner)
    before = balance_of(done)
    services.correct(
        done.broke_lot.movements.get(), as_is_mg=KG // 2, happened_on=day(), why="tub", by=owner
    )
    after = balance_of(_now(done))
    assert (before.broke_kept_mg, after.broke_kept_mg) == (400_000, 200_000)
    assert after.lost_mg - before.lost_mg == 200_000


def test_sheets_sent_or_spoilt_since_were_made_all_the_same(owner):
    done = finish(logged(owner), by=owner)
    entry = Entry.objects.get(act="finish making")
    before = balance_of(done)
    SheetMovement.objects.create(
        making=done, quality="good", kind="spoilt", sheets=-30, happened_on=day(), entry=entry
    )
    assert balance_of(done) == before


@pytest.mark.parametrize("many", [1, 6])
def test_the_balance_takes_the_same_queries_for_one_and_for_many_issues(
    owner, django_assert_num_queries, many: int
):
    making, lot = making_and_lot(owner)
    for _ in range(many):
        log.issue(making, lot, as_is_mg=KG // 10, by=owner)
    log.note_heel(making, Heel.NONE, by=owner)
    done = Making.objects.select_related("sheet", "mould", "broke_lot", "heel_lot").get(
        pk=finish(making, by=owner).pk
    )
    with django_assert_num_queries(7):
        balance_of(done)


def _now(making: Making) -> Making:
    return Making.objects.get(pk=making.pk)


# --- until when the heel keeps -------------------------------------------------------------------


def with_a_vat(owner, **lot):
    making, found = making_and_lot(owner, **lot)
    found.fibre.keeps_wet_days = 14
    found.fibre.save()
    Making.objects.filter(pk=making.pk).update(vat=make_vat(), planned_on=day())
    log.issue(making, found, as_is_mg=8 * KG, by=owner)
    return Making.objects.get(pk=making.pk), found


@pytest.mark.parametrize(("kept_as", "days"), [("own broke", 7), ("the furnish", 14)])
def test_sheet_says_of_the_heel_what_its_lot_says(owner, kept_as, days):
    """Own broke keeps for 7 days here and the furnish's fibre for 14, from the day it is a lot."""
    own = broke_fibre()
    making, lot = with_a_vat(owner)
    # Before anything is said the log offers own broke first.
    assert sheet_of(making, day()).heel_keeps.until == day(-7)
    fibre = own if kept_as == "own broke" else lot.fibre
    given = {"as_is_mg": 1800 * GRAM, "moisture": share("85"), "by": owner}
    making = log.note_heel(making, Heel.KEPT, fibre=fibre, **given)
    keeps = sheet_of(making, day()).heel_keeps
    assert (keeps.fibre, keeps.days, keeps.until) == (fibre.name, days, day(-days))

    done = finish(making, finished_on=day(2), by=owner)

    assert done.heel_lot.keep_until == day(2 - days)
    keeps = sheet_of(done, day()).heel_keeps
    assert keeps.until == done.heel_lot.keep_until
    assert f"{days} days from the day the making was finished" in keeps.words


@pytest.mark.parametrize("heel", [Heel.NONE, Heel.THROWN])
def test_sheet_says_no_day_of_a_heel_that_is_not_kept(owner, heel):
    broke_fibre()
    making, _ = with_a_vat(owner)
    making = log.note_heel(making, heel, by=owner)
    assert sheet_of(making, day()).heel_keeps is None


def test_sheet_says_no_day_of_a_heel_that_was_dried(owner):
    own = broke_fibre()
    making, _ = with_a_vat(owner)
    given = {"as_is_mg": 200 * GRAM, "moisture": share("8"), "by": owner}
    making = log.note_heel(making, Heel.KEPT, fibre=own, **given)
    assert sheet_of(making, day()).heel_keeps is None
    assert finish(making, by=owner).heel_lot.keep_until is None
