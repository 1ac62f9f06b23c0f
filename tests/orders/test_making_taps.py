"""Each tap a small page of its own, safe to send twice, by two people; with script and without."""

from __future__ import annotations

from decimal import Decimal
from unittest.mock import patch

import pytest
from django.db import OperationalError
from django.urls import reverse

from orders.makings import log
from orders.models import Post
from tests.orders.taps import key_of, number_at, page_of, tap
from tests.orders.vatdays import logged, making_and_lot
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db


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
    assert number_at(answer, "count-good") == "10"
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


def tap_on_the_page(client, making, value: str, key: str, post: str = "1") -> Page:
    sent = {"tap": value, "post": post, "page_key": key}
    answer = client.post(
        reverse("making_tap", args=[making.ref]), sent, headers={"hx-request": "true"}
    )
    assert answer.status_code == 200
    return Page(answer.content.decode())


def test_a_tap_brings_new_counts_and_a_new_key_to_the_page_that_stays(hand_client):
    making, _ = making_and_lot()
    first = key_of(hand_client, making)
    page = tap_on_the_page(hand_client, making, "count:pulls:1", first)
    assert page.one("b", id="count-pulls").text == "1"
    assert "1 of 120 pulls" in page.one("span", id="lede").text
    keys = {one.attrs["value"] for one in page.all("input", name="page_key")}
    assert len(keys) == 1
    assert keys != {first}

    # Two real taps are two; the first of them sent again is none.
    page = tap_on_the_page(hand_client, making, "count:pulls:1", keys.pop())
    assert page.one("b", id="count-pulls").text == "2"
    again = tap_on_the_page(hand_client, making, "count:pulls:1", first)
    assert again.one("b", id="count-pulls").text == "2"
    assert "counted once" in again.one("p").text
    assert making.posts.get().pulls == 2


def test_the_first_broke_sheet_unfolds_the_faults_and_leaves_their_buttons(hand_client):
    making, _ = making_and_lot()
    page = tap_on_the_page(hand_client, making, "count:broke:1", key_of(hand_client, making))
    assert "open" in page.one("details", id="faults").attrs
    # Taps on faults may be waiting: the buttons on the page are kept.
    assert "hx-preserve" in page.one("div", id="fault-taps").attrs
    page = tap_on_the_page(hand_client, making, "fault:hole:1", key_of(hand_client, making))
    assert page.all("details") == []
    assert page.one("span", id="faults-in-all").text == "1 fault"


def test_what_is_refused_is_said_on_the_page_that_stays(hand_client):
    making, _ = making_and_lot()
    key = key_of(hand_client, making)
    page = tap_on_the_page(hand_client, making, "count:good:-1", key)
    assert "less than none" in page.one("p").text
    with patch.object(log, "tap", side_effect=OperationalError("locked")):
        page = tap_on_the_page(hand_client, making, "count:good:1", key)
    assert "Not counted" in page.one("p").text


def test_every_place_a_tap_changes_is_on_the_page(hand_client):
    making = logged()
    page = page_of(hand_client, making)
    places = {one.attrs["id"] for one in page.elements if "id" in one.attrs}
    answer = tap_on_the_page(hand_client, making, "count:pulls:1", key_of(hand_client, making))
    changed = {one.attrs["id"] for one in answer.elements if "hx-swap-oob" in one.attrs}
    assert "so-far-sum" in changed
    assert changed <= places


def test_faults_are_folded_until_a_sheet_is_broke(hand_client):
    making, _ = making_and_lot()
    assert "open" not in page_of(hand_client, making).one("details", id="faults").attrs
    tap(hand_client, making, "count:broke:1")
    assert "open" in page_of(hand_client, making).one("details", id="faults").attrs
