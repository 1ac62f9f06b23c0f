"""The owner adds people, changes what they may do, and cannot lock the studio."""

from __future__ import annotations

import uuid

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse

from studio.roles import HAND, OWNER, VIEWER, role_of
from tests.builders import PASSWORD, make_user, signed_in

pytestmark = pytest.mark.django_db


def post(client, person=None, **changes):
    given = {"username": "rue", "role": HAND, "password": PASSWORD, **changes}
    given.setdefault("request_key", str(uuid.uuid4()))
    address = reverse("person", args=[person.pk]) if person else reverse("person_new")
    return client.post(address, given)


def test_owner_adds_a_hand_who_can_sign_in(owner_client, client):
    assert post(owner_client).status_code == 302
    rue = get_user_model().objects.get(username="rue")
    assert role_of(rue) == HAND
    assert client.login(username="rue", password=PASSWORD)


def test_added_twice_is_one_account(owner_client):
    key = str(uuid.uuid4())
    post(owner_client, request_key=key)
    assert post(owner_client, request_key=key).status_code == 302
    assert get_user_model().objects.filter(username="rue").count() == 1


def test_name_that_is_taken_is_refused_and_kept(owner_client):
    make_user(VIEWER, name="rue")
    answer = post(owner_client)
    assert answer.status_code == 200
    assert 'value="rue"' in answer.content.decode()
    assert "has this name already" in answer.content.decode()


def test_weak_password_is_refused(owner_client):
    answer = post(owner_client, password="12345678")
    assert answer.status_code == 200
    assert not get_user_model().objects.filter(username="rue").exists()


def test_role_is_changed_and_the_password_stays_where_none_is_given(owner_client, client):
    rue = make_user(HAND, name="rue", password=PASSWORD)
    post(owner_client, rue, role=VIEWER, password="", is_active="on")
    rue = get_user_model().objects.get(pk=rue.pk)
    assert role_of(rue) == VIEWER
    assert client.login(username="rue", password=PASSWORD)


def test_closed_account_cannot_sign_in(owner_client, client):
    rue = make_user(HAND, name="rue", password=PASSWORD)
    post(owner_client, rue, password="")
    assert not client.login(username="rue", password=PASSWORD)


@pytest.mark.parametrize("changes", [{"role": HAND, "is_active": "on"}, {"role": OWNER}])
def test_last_owner_stays_one_who_can_sign_in(owner, owner_client, changes):
    answer = post(owner_client, owner, username=owner.username, password="", **changes)
    assert answer.status_code == 200
    assert "only owner who can sign in" in answer.content.decode()
    again = get_user_model().objects.get(pk=owner.pk)
    assert again.is_active
    assert role_of(again) == OWNER


def test_one_of_two_owners_can_step_back(owner, owner_client):
    make_user(OWNER)
    changes = {"role": VIEWER, "is_active": "on", "username": owner.username, "password": ""}
    post(owner_client, owner, **changes)
    assert role_of(get_user_model().objects.get(pk=owner.pk)) == VIEWER


def test_studio_page_lists_people_with_their_roles(owner_client, hand):
    page = owner_client.get(reverse("studio")).content.decode()
    assert hand.username in page
    assert "Hand" in page


def test_query_count_of_the_studio_page_does_not_grow(owner_client, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as few:
        owner_client.get(reverse("studio"))
    for _ in range(20):
        make_user(HAND)
    with django_assert_num_queries(len(few)):
        owner_client.get(reverse("studio"))


def test_people_are_listed_by_words_of_their_name_and_exported(owner_client):
    make_user(HAND, name="reed")
    make_user(VIEWER, name="sorrel")
    page = owner_client.get(reverse("people"), {"words": "ree"}).content.decode()
    assert "reed" in page
    assert "sorrel" not in page
    export = b"".join(owner_client.get(reverse("people"), {"format": "csv"})).decode("utf-8-sig")
    assert "sorrel,Viewer" in export


@pytest.mark.parametrize("role", [VIEWER, OWNER])
def test_another_role_signs_the_person_out_everywhere(owner_client, role):
    rue = make_user(HAND, name="rue")
    browsers = [signed_in(rue), signed_in(rue)]
    other = signed_in(make_user(HAND))
    post(owner_client, rue, role=role, password="", is_active="on")
    store = reverse("store")
    assert [one.get(store).status_code for one in browsers] == [302, 302]
    assert other.get(store).status_code == 200
    assert owner_client.get(store).status_code == 200


def test_person_kept_in_the_same_role_stays_signed_in(owner_client):
    rue = make_user(HAND, name="rue")
    browser = signed_in(rue)
    post(owner_client, rue, username="reed", password="", is_active="on")
    assert browser.get(reverse("store")).status_code == 200


def test_owner_who_steps_back_is_led_to_the_door(owner, owner_client):
    make_user(OWNER)
    changes = {"role": HAND, "is_active": "on", "username": owner.username, "password": ""}
    assert post(owner_client, owner, **changes).url == reverse("log_in")
    assert owner_client.get(reverse("store")).status_code == 302


@pytest.mark.parametrize("how", [{"role": VIEWER, "is_active": "on"}, {"role": OWNER}])
def test_owners_who_are_closed_do_not_count_as_another_owner(owner, owner_client, how):
    closed = make_user(OWNER)
    closed.is_active = False
    closed.save()
    answer = post(owner_client, owner, username=owner.username, password="", **how)
    assert "only owner who can sign in" in answer.content.decode()
    assert get_user_model().objects.get(pk=owner.pk).is_superuser
