"""The log on a phone: each tap a small page of its own, safe to send twice, by two people."""

from __future__ import annotations

import uuid
from decimal import Decimal
from unittest.mock import patch

import pytest
from django.db import OperationalError
from django.urls import reverse

from orders.makings import log
from orders.makings.finish import finish
from orders.models import Making, Post
from studio.models import Entry
from tests.builders import (
    KG,
    day,
    make_commission,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
)
from tests.orders.vatdays import broke_fibre, count, logged, making_and_lot
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db


def page_of(client, making) -> Page:
    return Page(client.get(log.page_of(making)).content.decode())


def key_of(client, making) -> str:
    fields = page_of(client, making).all("input")
    return next(one.attrs["value"] for one in fields if one.attrs.get("name") == "page_key")


def tap(client, making, value: str, *, key: str = "", post: str = "1"):
    address = reverse("making_tap", args=[making.ref])
    sent = {"tap": value, "post": post, "page_key": key or key_of(client, making)}
    return client.post(address, sent, follow=True)


def send(client, route: str, making, **fields):
    given = {"request_key": str(uuid.uuid4()), **fields}
    return client.post(reverse(route, args=[making.ref]), given, follow=True)


def test_a_planned_making_is_started_from_its_log(hand_client):
    making = make_making(commission=make_commission())
    sent = {"page_key": key_of(hand_client, making)}
    answer = hand_client.post(reverse("making_start", args=[making.ref]), sent, follow=True)
    assert "is at the vat" in answer.content.decode()
    making.refresh_from_db()
    assert making.state == Making.State.AT_THE_VAT


def test_each_button_of_a_page_counts_once_and_no_button_stands_for_another(hand_client):
    making, _ = making_and_lot()
    key = key_of(hand_client, making)
    tap(hand_client, making, "count:pulls:1", key=key)
    again = tap(hand_client, making, "count:pulls:1", key=key)
    tap(hand_client, making, "count:good:1", key=key)
    post = making.posts.get()
    assert (post.pulls, post.good) == (1, 1)
    assert "counted once" in again.content.decode()


def test_two_people_with_two_pages_lose_nothing(hand_client, owner_client):
    making, _ = making_and_lot()
    keys = [key_of(hand_client, making), key_of(owner_client, making)]
    for client, key in zip([hand_client, owner_client], keys, strict=True):
        tap(client, making, "count:pulls:1", key=key)
    assert making.posts.get().pulls == 2


def test_a_tap_shows_its_new_count_and_is_taken_back(hand_client):
    making, _ = making_and_lot()
    answer = tap(hand_client, making, "count:good:10")
    assert "Good, 10 now" in answer.content.decode()
    tap(hand_client, making, "count:good:-1")
    assert making.posts.get().good == 9


def test_faults_minutes_and_posts_are_tapped_too(hand_client):
    making, _ = making_and_lot()
    tap(hand_client, making, "count:pulls:5")
    tap(hand_client, making, "fault:hole:1")
    tap(hand_client, making, "minutes:form:15")
    answer = tap(hand_client, making, "post:new")
    assert "Post 2" in answer.content.decode()
    assert making.posts.get(number=1).faults.get().times == 1
    assert making.spells.get().minutes == Decimal(15)


@pytest.mark.parametrize(
    "value", ["", "count:pulls:", "count:pulls:1001", "count:id:1", "minutes:sing:5", "count:x"]
)
def test_what_no_button_sends_counts_nothing(hand_client, value: str):
    making, _ = making_and_lot()
    before = list(Post.objects.values())
    answer = tap(hand_client, making, value)
    assert answer.status_code == 200
    assert list(Post.objects.values()) == before
    assert not making.spells.exists()


def test_a_tap_without_the_page_s_key_counts_nothing(hand_client):
    making, _ = making_and_lot()
    tap(hand_client, making, "count:pulls:1", key="no key")
    assert making.posts.get().pulls == 0


def test_a_tap_that_the_database_could_not_take_is_told_and_can_be_sent_again(hand_client):
    making, _ = making_and_lot()
    key = key_of(hand_client, making)
    with patch.object(log, "tap", side_effect=OperationalError("locked")):
        answer = tap(hand_client, making, "count:pulls:1", key=key)
    assert "Not counted" in answer.content.decode()
    tap(hand_client, making, "count:pulls:1", key=key)
    assert making.posts.get().pulls == 1


def test_a_closed_tab_loses_nothing(hand_client, owner_client):
    making, lot = making_and_lot()
    tap(hand_client, making, "count:pulls:5")
    send(hand_client, "making_issue", making, lot=lot.pk, mass="2 kg")
    words = owner_client.get(log.page_of(making)).content.decode()
    assert "Pulls, 5 now" in words
    assert lot.ref in words


def test_an_issue_takes_the_book_s_moisture_where_none_is_given(hand_client):
    making, lot = making_and_lot()
    answer = send(hand_client, "making_issue", making, lot=lot.pk, mass="2 kg")
    assert "1.84\u00a0kg oven-dry" in answer.content.decode()
    assert making.issues.get().by is not None


def test_more_than_the_lot_holds_comes_back_to_the_form(hand_client):
    making, lot = making_and_lot()
    answer = send(hand_client, "making_issue", making, lot=lot.pk, mass="20 kg")
    assert "Give 10.00\u00a0kg or less" in answer.content.decode()
    assert not making.issues.exists()


def test_a_lot_that_the_commission_excludes_is_not_offered(hand_client):
    commission = make_commission(no_scrap=True)
    making = log.start(make_making(commission=commission), by=None)
    scrap = make_lot(broke_fibre())
    answer = send(hand_client, "making_issue", making, lot=scrap.pk, mass="1 kg")
    assert "Choose one of those offered" in answer.content.decode()
    assert not making.issues.exists()


def test_the_form_starts_from_what_the_making_sheet_asks_for(hand_client):
    making, lot = making_and_lot()
    words = hand_client.get(reverse("making_issue", args=[making.ref])).content.decode()
    assert "The making sheet still asks for" in words
    assert lot.ref in words


def test_what_was_weighed_out_is_put_back_by_one_tap(hand_client):
    making, lot = making_and_lot()
    found = log.issue(making, lot, as_is_mg=KG, by=None)
    back = reverse("making_issue_back", args=[making.ref, found.pk])
    hand_client.post(back, {"page_key": key_of(hand_client, making)})
    assert not making.issues.exists()


def test_litres_thrown_away_hold_what_the_consistency_says(hand_client):
    making, _ = making_and_lot()
    Making.objects.filter(pk=making.pk).update(consistency=Decimal("0.005"))
    send(hand_client, "making_heel", making, heel="thrown", litres="60", litres_unit="L")
    making.refresh_from_db()
    # H5: a vat of 60 L at 0.5 % holds 300 g.
    assert (making.heel_as_is_mg, making.heel_moisture) == (60 * KG, Decimal("0.995"))


def charged_from_the_draw():
    """Start a making of 100 g/m², all fibre, with a mould that draws 20 mm: 5 g/L."""
    mould = make_mould(width_um=210_000, height_um=297_000, draw_um=20_000)
    sheet = make_sheet(
        make_furnish(shrinkage=("0", "0"), drying="restraint"), mould=mould, width_um=210_000,
        height_um=297_000, grammage=100, sheet_moisture=0, non_fibre_share=0,
    )  # fmt: skip
    return log.start(make_making(sheet, mould=mould), by=None)


def test_litres_thrown_away_hold_what_the_sheet_charged_from_the_draw(hand_client):
    make_studio(vat_consistency=Decimal("0.003"))
    making = charged_from_the_draw()
    send(hand_client, "making_heel", making, heel="thrown", litres="60", litres_unit="L")
    making.refresh_from_db()
    assert (making.heel_as_is_mg, making.heel_moisture) == (60 * KG, Decimal("0.995"))


def test_weighed_sheet_starts_from_what_the_vat_was_charged_with(hand_client):
    making = charged_from_the_draw()

    def offered():
        address = reverse("making_trial", args=[making.ref])
        fields = Page(hand_client.get(address).content.decode()).all("input")
        return next(one.attrs for one in fields if one.attrs.get("name") == "consistency")

    assert offered()["value"] == "0.5"
    # Of a later pull nobody knows it but who measured it.
    log.tap(making, "pulls", post=1, change=9, by=None)
    assert not offered().get("value")


def test_dose_sheet_broke_and_minutes_are_noted_on_their_forms(hand_client):
    making, _ = making_and_lot()
    own = broke_fibre()
    send(hand_client, "making_dose", making, name="Chalk", kind="filler", mass="154 g")
    send(hand_client, "making_trial", making, mass="7.5 g", moisture="6", number="1", size="A4")
    send(hand_client, "making_broke", making, mass="1 kg", moisture="65", fibre=own.pk)
    send(hand_client, "making_spend", making, operation="sort", minutes="7.5", way="add")
    words = hand_client.get(log.page_of(making)).content.decode()
    for said in ("154", "7.50\u00a0g", "0.350\u00a0kg oven-dry", "7.5 now"):
        assert said in words


def test_finishing_shows_the_sum_and_then_posts_it(hand_client):
    making = logged()
    shown = hand_client.get(reverse("making_finish", args=[making.ref])).content.decode()
    assert "Lost in preparation and forming" in shown
    assert not Entry.objects.filter(act="finish making").exists()
    answer = send(hand_client, "making_finish", making, happened_on=day().isoformat())
    assert "is finished, and the store is up to date" in answer.content.decode()
    assert Entry.objects.filter(act="finish making").count() == 1


def test_a_finish_sent_twice_leads_to_what_the_first_did(hand_client):
    making, key = logged(), str(uuid.uuid4())
    for _ in range(2):
        answer = send(
            hand_client, "making_finish", making, request_key=key, happened_on=day().isoformat()
        )
    assert "entered already" in answer.content.decode()
    assert Entry.objects.filter(act="finish making").count() == 1


def test_what_keeps_it_from_being_finished_stands_on_the_page(hand_client):
    making, _ = making_and_lot()
    answer = send(hand_client, "making_finish", making, happened_on=day().isoformat())
    assert "Nothing has been weighed out for it" in answer.content.decode()
    making.refresh_from_db()
    assert making.state == Making.State.AT_THE_VAT


def test_too_much_is_accepted_with_a_tick(hand_client):
    making = logged(as_is_mg=KG // 2)
    given = {"happened_on": day().isoformat()}
    assert "More came out" in send(hand_client, "making_finish", making, **given).content.decode()
    send(hand_client, "making_finish", making, **given, accept_over="on")
    making.refresh_from_db()
    assert making.state == Making.State.FINISHED


def test_a_finished_log_shows_corrections_to_the_owner_alone(owner_client, hand_client, owner):
    done = finish(logged(), by=owner)
    pk = done.issues.get().movement_id
    link = reverse("movement_correct", args=[pk])
    assert link in owner_client.get(log.page_of(done)).content.decode()
    assert link not in hand_client.get(log.page_of(done)).content.decode()


def test_a_viewer_reads_the_log_and_finds_no_button(viewer_client):
    making, _ = making_and_lot()
    count(making, pulls=3)
    page = page_of(viewer_client, making)
    taps = [one for one in page.all("button") if one.attrs.get("name") == "tap"]
    assert taps == []
    assert "3 of 120 pulls" in page.one("main").text


@pytest.mark.parametrize("posts", [1, 12])
def test_the_log_takes_the_same_queries_however_long_it_is(
    hand_client, django_assert_num_queries, posts: int
):
    making, lot = making_and_lot()
    for _ in range(posts):
        count(making, pulls=1)
        log.issue(making, lot, as_is_mg=KG // 20, by=None)
        log.tap(making, "pulls", post=making.posts.count(), by=None)
        log.begin_post(making, by=None)
    with django_assert_num_queries(27):
        hand_client.get(log.page_of(making))
