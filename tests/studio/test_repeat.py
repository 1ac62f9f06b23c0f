"""A page sent twice writes once, and its second sending is no fault of whoever sent it."""

import uuid

import pytest
from django.db import IntegrityError

from studio import pages
from studio.models import Entry, Mould
from studio.pages import RowPage
from tests.builders import day, make_lot, make_studio

pytestmark = pytest.mark.django_db

NEW = "/moulds/new/"


@pytest.fixture(autouse=True)
def studio():
    return make_studio()


def mould(**changes):
    key = str(uuid.UUID(int=7))
    return {"request_key": key, "name": "A4 brass", "size": "A4", "remarks": "", **changes}


def test_second_sending_leads_to_what_the_first_wrote(owner_client):
    first = owner_client.post(NEW, mould())
    second = owner_client.post(NEW, mould(), follow=True)
    assert first.status_code == 302
    assert second.redirect_chain == [(first["Location"], 302)]
    assert "entered already. Nothing was written twice." in second.content.decode()
    assert (Mould.objects.count(), Entry.objects.count()) == (1, 1)


def test_second_sending_is_not_blamed_for_what_it_says(owner_client):
    lot = make_lot()
    take = f"/lots/{lot.ref}/take/"
    today = f"{day():%Y-%m-%d}"
    sent = {"request_key": str(uuid.UUID(int=9)), "kind": "issued", "why": "vat",
            "happened_on": today, "mass": "10", "mass_unit": "kg"}  # fmt: skip
    first = owner_client.post(take, sent)
    second = owner_client.post(take, {**sent, "mass": "no mass"})
    assert first.status_code == 302
    assert (second.status_code, second["Location"]) == (302, first["Location"])
    assert lot.movements.count() == 2


def test_same_name_under_another_key_is_a_fault_of_the_form(owner_client):
    owner_client.post(NEW, mould())
    second = owner_client.post(NEW, mould(request_key=str(uuid.UUID(int=8))))
    assert second.status_code == 200
    assert Mould.objects.count() == 1


@pytest.mark.parametrize("key", ["", "not a key", "\x00"])
def test_page_without_its_key_is_refused_in_a_sentence(owner_client, key):
    response = owner_client.post(NEW, mould(request_key=key))
    assert "sent without its key" in response.content.decode()
    assert Mould.objects.count() == 0


def beaten(page, form, key):
    """Stand for the act of whoever was a moment too late."""
    raise IntegrityError


def test_beaten_by_another_person_the_form_comes_back_full(owner_client, monkeypatch):
    monkeypatch.setattr(RowPage, "act", beaten)
    response = owner_client.post(NEW, mould())
    text = response.content.decode()
    assert response.status_code == 200
    assert pages.BEATEN in text
    assert "A4 brass" in text


def test_beaten_by_its_own_second_sending_it_leads_on(owner_client, monkeypatch):
    def write_and_lose(page, form, key):
        Entry.objects.create(request_key=key, act="test", said="First", page="/studio/")
        raise IntegrityError

    monkeypatch.setattr(RowPage, "do", write_and_lose)
    response = owner_client.post(NEW, mould())
    assert (response.status_code, response["Location"]) == (302, "/studio/")
