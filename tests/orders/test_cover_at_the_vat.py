"""Fibre at the vat is off its shelf, whoever it is for: cover, Store, Reorder and bench agree."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from django.core.management import call_command

from fibres import queries as store
from fibres.offshelf import weighed_out_by_fibre
from fibres.standing import finding, standings
from orders import answers, asking, reordering, services, snapshot
from orders.calc._buying.projection import project
from orders.calc.cover import allocate
from orders.calc.covered import COVERED, SHORT
from orders.makings import log
from orders.makings.finish import finish
from orders.models import Commission, Making
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_finished,
    make_furnish,
    make_lot,
    make_making,
    make_sheet,
    make_studio,
)
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db

State = Commission.State
# By hand: 10 kg at 8 % hold 9.2 kg oven-dry; 2 kg hold 1.84 kg, of which 95 % can be used.
ALL_DRY, OUT_DRY, OUT_USABLE = 9_200_000, 1_840_000, 1_748_000
# By hand: 120 g/m² of A4 at 6 % moisture hold 7.035 g of fibre, 7.328 475 g with the 4 % that
# passes the mould; 100 good at 88 of 100 are 114 pulls on average, a making here forms 120.
NEED, ORDER, TRIAL, HEEL = 835_447, 879_417, 14_657, 100_000


@pytest.fixture
def lot():
    make_studio(trial_pulls=2, heel_mg=HEEL)
    return make_lot(make_fibre(name="Abaca"), as_is_mg=10 * KG, paid_minor=10_000)


@pytest.fixture
def sheet(lot):
    return make_sheet(make_furnish({lot.fibre: "1"}), name="Text A4")


def at_the_vat(lot, sheet=None, commission=None, *, as_is_mg=2 * KG):
    making = log.start(make_making(sheet, commission), by=None)
    if as_is_mg:
        log.issue(making, lot, as_is_mg=as_is_mg, by=None)
    return making


def standing():
    (row,) = standings(
        store.fibres_in_store(),
        {pk: one.promised_mg for pk, one in services.promised_by_fibre(day()).items()},
        {},
        {},
        weighed_out_by_fibre(),
    )
    return row


def where_it_counts(sheet):
    """Return the fibre that every answer counts as there and free, in usable milligrams."""
    read = snapshot.read(day())
    out = StringIO()
    call_command("snapshot", stdout=out)
    shot = reordering.read(day())
    (outlook,) = project(shot, cover=allocate(shot)).values()
    return {
        "cover": sum(lot.usable_mg for lot in read.lots),
        "snapshot": sum(lot["usable_mg"] for lot in json.loads(out.getvalue())["lots"]),
        "reorder": outlook.balances[0].mg,
        "store": standing().free_mg * 95 // 100,
        "bench": asking.ask(sheet, day(-28), day()).snapshot.lots[0].usable_mg,
    }


# --- nobody is promised it -----------------------------------------------------------------------


def for_nobody(lot, sheet):
    at_the_vat(lot, sheet)


def for_a_withdrawn_one(lot, sheet):
    commission = make_commission(sheet)
    at_the_vat(lot, commission=commission)
    commission.refresh_from_db()
    services.move(commission, State.WITHDRAWN, by=None)


def for_one_whose_sheets_are_all_made(lot, sheet):
    commission = make_commission(sheet)
    make_finished(commission, good=100)
    at_the_vat(lot, commission=commission)


@pytest.mark.parametrize(
    "weigh", [for_nobody, for_a_withdrawn_one, for_one_whose_sheets_are_all_made]
)
def test_fibre_at_the_vat_is_nowhere_counted_as_free(lot, sheet, weigh):
    weigh(lot, sheet)
    left = (ALL_DRY - OUT_DRY) * 95 // 100
    assert where_it_counts(sheet) == dict.fromkeys(
        ("cover", "snapshot", "reorder", "store", "bench"), left
    )


def test_what_is_given_up_is_free_again(lot, sheet):
    making = at_the_vat(lot, sheet)
    Making.objects.filter(pk=making.pk).update(state=Making.State.GIVEN_UP)
    assert set(where_it_counts(sheet).values()) == {ALL_DRY * 95 // 100}


def test_a_planned_making_for_the_studio_holds_nothing(lot, sheet):
    before = snapshot.read(day())
    make_making(sheet)
    assert snapshot.read(day()) == before


def test_a_planned_making_for_a_commission_is_part_of_its_promise(lot, sheet):
    commission = make_commission(sheet)
    before = snapshot.read(day())
    make_making(commission=commission)
    assert snapshot.read(day()) == before
    assert before.commissions[0].need_mg == NEED


# --- it is promised ------------------------------------------------------------------------------


def test_what_is_all_weighed_out_for_a_commission_is_asked_of_no_lot(lot, sheet):
    commission = make_commission(sheet)
    at_the_vat(lot, commission=commission)
    answer = services.cover(day()).of(commission.ref)
    assert (answer.state, answer.need_mg, answer.picks) == (COVERED, 0, ())
    assert (answer.covered_sheets, answer.weighed_sheets) == (100, 100)
    row = standing()
    assert (row.on_hand_mg, row.at_the_vat_mg, row.promised_mg) == (ALL_DRY, OUT_DRY, 0)
    assert row.free_mg == ALL_DRY - OUT_DRY


def test_a_making_that_begins_wants_its_heel_and_trial_sheets_too(lot, sheet):
    commission = make_commission(sheet)
    at_the_vat(lot, commission=commission, as_is_mg=0)
    (promise,) = snapshot.read(day()).commissions
    # By hand: 879.417 + 14.657 + 100 g, rounded up once.
    assert promise.need_mg == 994_074 == ORDER + TRIAL + HEEL


def test_what_is_weighed_out_in_part_leaves_the_rest_to_weigh(lot, sheet):
    commission = make_commission(sheet)
    at_the_vat(lot, commission=commission, as_is_mg=600_000)
    (promise,) = snapshot.read(day()).commissions
    # By hand: 0.6 kg at 8 % hold 0.552 kg, of which 0.5244 kg can be used.
    assert promise.need_mg == 994_074 - 524_400
    # Of 120 pulls 63 have their fibre: 524.4 × 879.417 / 994.074 = 463.9 g, 7.329 g each.
    assert promise.weighed_sheets == 55


def test_what_no_making_forms_is_still_set_aside(lot, sheet):
    commission = make_commission(sheet, good_quantity=300)
    at_the_vat(lot, commission=commission)
    (promise,) = snapshot.read(day()).commissions
    # By hand: 300 good are 341 pulls, 120 are formed: 221 are left, 7.328 475 g each.
    assert abs(promise.need_mg - 1_619_593) <= 1
    assert promise.weighed_sheets == 105


def test_its_fibre_is_not_promised_to_another_though_it_could_take_other_lots(lot, sheet):
    second = make_lot(lot.fibre, as_is_mg=10 * KG, paid_minor=1)
    making_for = make_commission(sheet, due=day(-5))
    at_the_vat(lot, commission=making_for, as_is_mg=10 * KG)
    other = make_commission(sheet)
    other.only_lots.add(lot)
    cover = services.cover(day())
    assert cover.of(making_for.ref).state == COVERED
    assert cover.of(other.ref).state == SHORT
    assert [one.ref for one in snapshot.read(day()).lots] == [second.ref]


def test_after_it_is_finished_the_book_says_the_same(lot, sheet):
    commission = make_commission(sheet)
    making = at_the_vat(lot, commission=commission)
    before = snapshot.read(day()).lots
    log.tap(making, "good", post=1, change=100, by=None)
    log.note_heel(making, Making.Heel.NONE, by=None)
    finish(making, by=None)
    assert snapshot.read(day()).lots == before
    assert services.cover(day()).of(commission.ref) is None


def test_a_making_that_cannot_be_reckoned_keeps_what_it_was_weighed_out(lot, sheet):
    commission = make_commission(sheet)
    making = at_the_vat(lot, commission=commission, as_is_mg=600_000)
    # What tops up the vat is thinner than the vat: its sheet says so, cover still answers.
    Making.objects.filter(pk=making.pk).update(consistency="0.05", thick_consistency="0.02")
    (promise,) = snapshot.read(day()).commissions
    assert (promise.need_mg, promise.weighed_sheets) == (NEED - 524_400, 0)


# --- what is said --------------------------------------------------------------------------------


def test_the_store_says_what_lies_at_the_vat(lot, sheet, owner_client):
    assert "kg at the vat" not in said(look(owner_client, "/store/"))
    at_the_vat(lot, sheet)
    page = said(look(owner_client, "/store/"))
    assert "1.84 kg of what is on hand lies weighed out at the vat." in page
    assert "1.84 kg at the vat" in page
    assert "weighed out at the vat" in said(look(owner_client, lot.fibre.get_absolute_url()))


def test_all_of_the_store_at_the_vat_leaves_none_of_it_free(lot, sheet):
    at_the_vat(lot, sheet, as_is_mg=10 * KG)
    said_of_it = finding([standing()]).replace("\u00a0", " ")
    assert said_of_it.startswith("0 kg free of 9.20 kg on hand. 9.20 kg of what")


def test_the_commission_says_that_its_fibre_is_at_the_vat(lot, sheet, owner_client):
    commission = make_commission(sheet, state=State.MAKING)
    at_the_vat(lot, commission=commission)
    page = said(look(owner_client, commission.get_absolute_url()))
    assert "The fibre for all 100 lies weighed out at the vat." in page
    assert "is off its lots and not counted here" in page


def test_the_answer_in_the_terminal_counts_what_is_on_the_shelf(lot, sheet):
    make_commission(sheet)
    at_the_vat(lot, sheet)
    assert "7.360\u00a0kg in store." in " ".join(answers.does_it_cover(day()))


def test_a_commission_costs_what_its_fibre_at_the_vat_did_cost(lot, sheet):
    commission = make_commission(sheet)
    make_lot(lot.fibre, as_is_mg=10 * KG, paid_minor=90_000, received_on=day(1))
    before = services.cost_of(commission, picks=services.cover(day()).of(commission.ref).picks)
    at_the_vat(lot, commission=commission)
    after = services.cost_of(commission, picks=services.cover(day()).of(commission.ref).picks)
    # Of its own lot, not of the dear one that came last; but for what rounding weighs.
    assert round(after.total_minor_per_sheet, 3) == round(before.total_minor_per_sheet, 3)
    assert after.notes == before.notes


def test_a_lot_is_offered_with_what_is_left_on_its_shelf(lot, sheet, owner_client):
    commission = make_commission(sheet)
    at_the_vat(lot, sheet)
    page = said(look(owner_client, f"{commission.get_absolute_url()}edit/"))
    assert f"{lot.ref}, 7.36 kg left" in page
