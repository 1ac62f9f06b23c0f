"""The days a making takes decide when a commission needs its fibre and can be finished."""

from __future__ import annotations

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fibres.models import Addition, Drying
from orders import asking, snapshot
from orders.calc.plan import from_json, to_json
from orders.dates import StudioDays
from orders.makings import log
from orders.models import Dryer
from studio.models import Studio, Vat
from tests.builders import (
    day,
    make_commission,
    make_dryer,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_sheet,
    make_studio,
    make_vat,
)
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db


def sent(**given):
    """Return a form as a page sends it."""
    return {"request_key": str(uuid.uuid4()), **given}


def test_quickest_open_dryer_of_the_drying_is_counted_with():
    make_studio(packing_days=1)
    make_dryer(pulls_per_load=20)
    make_dryer(pulls_per_load=50)
    make_dryer(pulls_per_load=500, drying=Drying.LOFT)
    found = StudioDays.read(Studio.current()).of(make_sheet(), 300)
    assert (found.loads, found.days) == (6, 13)


def test_sized_furnish_waits_for_its_cure():
    make_studio(packing_days=0, sizing_cure_days=10)
    make_dryer()
    furnish = make_furnish()
    Addition.objects.create(
        furnish=furnish, name="Size", kind=Addition.Kind.SIZING, dose=Decimal("0.002")
    )
    assert StudioDays.read(Studio.current()).days(make_sheet(furnish), 50) == 12


def test_usual_days_hold_where_no_dryer_of_that_drying_is_known():
    make_studio(making_days=9)
    make_dryer(drying=Drying.LOFT)
    assert StudioDays.read(Studio.current()).days(make_sheet(), 50) == 9


def test_owner_enters_a_dryer_and_a_vat(owner_client):
    make_studio()
    answer = owner_client.post(
        reverse("dryer_new"),
        sent(name="Loft", drying="loft", pulls_per_load="120", days_per_load="2.5"),
        follow=True,
    )
    assert answer.redirect_chain, answer.context["form"].errors
    assert "Loft" in answer.content.decode()
    assert Dryer.objects.get().days_per_load == Decimal("2.5")
    answer = owner_client.post(
        reverse("vat_new"), sent(name="Large vat", size="60 x 50 cm", depth_um="20 cm")
    )
    assert answer.status_code == 302
    assert Vat.objects.get().litres == 60


@pytest.mark.parametrize("kept", [{"depth_um": "0 mm"}, {"depth_um": "deep"}])
def test_vat_without_depth_is_refused(owner_client, kept):
    make_studio()
    given = sent(name="Vat", size="60 x 50 cm", **kept)
    answer = owner_client.post(reverse("vat_new"), given)
    assert answer.context["form"].errors.keys() == {"depth_um"}
    assert not Vat.objects.exists()


def test_studio_page_lists_vats_by_what_they_hold(owner_client):
    make_studio()
    make_vat(name="Small vat")
    page = owner_client.get(reverse("studio")).content.decode()
    assert "Small vat" in page
    assert "60\u00a0L" in page


def test_commission_says_when_it_can_be_packed(owner_client):
    make_studio(packing_days=1)
    make_dryer()
    commission = make_commission(due=day(-5))
    lot_of(commission)
    page = owner_client.get(commission.get_absolute_url())
    finish = page.context["finish"]
    # 100 good at 88 of 100: 114 pulls, 3 loads of two days, a day to pack.
    assert finish.on == day(-7)
    assert finish.is_late
    assert "2 days after it is due" in page.content.decode()


def test_commission_without_a_dryer_counts_the_usual_days(owner_client):
    make_studio(making_days=4)
    commission = make_commission(due=day(-5))
    lot_of(commission)
    finish = owner_client.get(commission.get_absolute_url()).context["finish"]
    assert (finish.on, finish.is_late) == (day(-4), False)
    assert "No dryer is entered" in finish.said


def test_commission_that_no_fibre_is_in_sight_for_has_no_day(owner_client):
    make_studio()
    commission = make_commission()
    page = owner_client.get(commission.get_absolute_url())
    assert page.context["finish"] is None
    assert "How the days are counted" not in page.content.decode()


def lot_of(commission):
    """Put fibre enough for a commission into the store."""
    for part in commission.sheet.furnish.parts.all():
        make_lot(part.fibre)


def test_fibre_is_needed_by_the_days_that_the_dryer_takes():
    make_studio(packing_days=1, making_days=7)
    make_dryer()
    commission = make_commission(due=day(-30))
    (promise,) = snapshot.read(day()).commissions
    # 114 pulls: three loads of two days, and a day to pack.
    assert promise.needed_on == commission.due - timedelta(days=7)
    Dryer.objects.update(days_per_load=Decimal(4))
    (promise,) = snapshot.read(day()).commissions
    assert promise.needed_on == commission.due - timedelta(days=13)


# --- one dryer for all ---------------------------------------------------------------------------


@pytest.fixture
def loft():
    make_studio(packing_days=1)
    return make_dryer(name="North loft", drying=Drying.LOFT, days_per_load=Decimal(2))


def for_the_loft(**given):
    """Promise 100 good of a sheet that dries in the loft: 114 pulls, 3 loads of two days."""
    sheet = make_sheet(drying=Drying.LOFT)
    for part in sheet.furnish.parts.all():
        make_lot(part.fibre)
    return make_commission(sheet, **given)


def test_second_in_the_loft_is_packed_after_the_first(loft, owner_client):
    first, second = for_the_loft(due=day(-8)), for_the_loft(due=day(-12))
    page = owner_client.get(first.get_absolute_url())
    # By hand: six days in the loft and one to pack; the second goes in on the seventh day.
    assert (page.context["finish"].on, page.context["finish"].is_late) == (day(-7), False)
    page = owner_client.get(second.get_absolute_url())
    assert (page.context["finish"].on, page.context["finish"].is_late) == (day(-13), True)
    words = said(look(owner_client, second.get_absolute_url()))
    assert f"After {first.ref} in the North loft it can be packed by" in words
    assert "1 day after it is due" in words


def test_one_whose_fibre_is_not_in_sight_keeps_nobody_waiting(loft, owner_client):
    make_commission(make_sheet(drying=Drying.LOFT), due=day(-8))
    second = for_the_loft(due=day(-12))
    finish = owner_client.get(second.get_absolute_url()).context["finish"]
    assert (finish.on, finish.said[:14]) == (day(-7), "Begun at once,")


def test_fibre_is_needed_in_time_for_all_that_dry_alike(loft, owner_client):
    first, second = for_the_loft(due=day(-28)), for_the_loft(due=day(-30))
    needs = {one.ref: one.needed_on for one in snapshot.read(day()).commissions}
    # By hand: the second is packed on day 30 and in the loft from day 23; the first before that.
    assert needs == {second.ref: day(-23), first.ref: day(-17)}
    page = said(look(owner_client, first.get_absolute_url()))
    assert f"and done before {second.ref} takes the North loft" in page
    assert "7 days to form, dry and pack" in page


def test_a_day_that_makes_room_is_not_taken_for_days_of_making(loft):
    first, second = for_the_loft(due=day(-28)), for_the_loft(due=day(-30))
    days = {one.ref: one.making_days for one in snapshot.read(day()).commissions}
    assert days == {first.ref: 7, second.ref: None}
    shot = snapshot.read(day())
    assert from_json(to_json(shot)).commissions == shot.commissions


def test_a_question_takes_no_turn(loft):
    first = for_the_loft(due=day(-28))
    # One load for it would have to go in on day 26, before the first is dry on day 27.
    asked = asking.ask(first.sheet, day(-29), day())
    assert asked.snapshot.commissions == snapshot.read(day()).commissions
    # One good sheet: one load of two days, and a day to pack.
    assert asked.ready_by == day(-3)


def test_turns_take_the_same_queries_for_two_and_for_many(loft, django_assert_num_queries):
    for_the_loft()
    with CaptureQueriesContext(connection) as few:
        snapshot.read_with_turns(day())
    for _ in range(5):
        for_the_loft()
    with django_assert_num_queries(len(few)):
        snapshot.read_with_turns(day())


def test_what_lies_at_the_vat_goes_in_at_once(loft, owner_client):
    fibre = make_fibre(preparation_days=3)
    make_lot(fibre)
    commission = make_commission(make_sheet(make_furnish({fibre: "1"}), drying=Drying.LOFT))
    page = owner_client.get(commission.get_absolute_url())
    assert page.context["finish"].on == day(-10)
    making = log.start(make_making(commission=commission), by=None)
    log.issue(making, fibre.lots.get(), as_is_mg=2_000_000, by=None)
    page = owner_client.get(commission.get_absolute_url())
    assert page.context["finish"].on == day(-7)
