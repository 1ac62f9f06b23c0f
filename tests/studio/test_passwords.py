"""What is asked of a new password: each refusal says what to do, and none shows what was typed."""

from __future__ import annotations

import uuid
from io import StringIO

import pytest
from django.contrib.auth import get_user_model
from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse

from studio import tokens
from studio.models import Entry
from studio.people import keep_own_password, keep_person
from studio.roles import HAND
from tests.builders import PASSWORD, make_user, signed_in
from tests.fibres.pages import faults

pytestmark = pytest.mark.django_db
SHORT = "This password is too short. Give 8 characters or more."
COMMON = (
    "This password is too common: strangers try it first. Give another, such as three or four "
    "words that do not belong together."
)
LIKE = "This password is too much like the user name. Give one that nobody would guess from it."
# A word of seven, one of the list that Django brings, and one made of the name of the account.
REFUSED = [("kozo 77", SHORT), ("sunshine", COMMON), ("vatkeeper7", LIKE)]


@pytest.fixture(params=REFUSED, ids=["short", "common", "like the name"])
def refused(request):
    return request.param


def first_run(client, password):
    return client.post(
        reverse("first_run"),
        {"studio_name": "Reed Vat", "user_name": "vatkeeper", "password": password,
         "password_again": password, "request_key": str(uuid.uuid4())},
    )  # fmt: skip


def own(client, password):
    person = make_user(HAND, name="vatkeeper", password=PASSWORD)
    return signed_in(person).post(
        reverse("you_password"),
        {"old": PASSWORD, "password": password, "again": password,
         "request_key": str(uuid.uuid4())},
    )  # fmt: skip


@pytest.mark.parametrize(("page", "field"), [(first_run, "Password"), (own, "New password")])
def test_a_page_names_the_field_and_what_to_do_and_does_not_show_the_password(
    client, page, field, refused
):
    password, said = refused
    answer = page(client, password)
    assert f"{field}: {said}" in faults(answer)
    assert answer.context["form"].errors["password"] == [said]
    assert password not in answer.content.decode()


def test_an_account_of_somebody_else_is_refused_in_the_same_words(owner_client, refused):
    password, said = refused
    answer = owner_client.post(
        reverse("person_new"),
        {"username": "vatkeeper", "role": HAND, "password": password,
         "request_key": str(uuid.uuid4())},
    )  # fmt: skip
    assert f"Password: {said}" in faults(answer)
    assert not get_user_model().objects.filter(username="vatkeeper").exists()


def test_an_address_that_a_password_is_made_of_is_named_as_such():
    person = get_user_model()(username="rue", email="tern@bramble.example")
    with pytest.raises(ValidationError) as fault:
        validate_password("tern@bramble", person)
    assert fault.value.messages == [LIKE.replace("user name", "e-mail address")]


# --- what a new one ends


@pytest.fixture
def rue():
    person = make_user(HAND, name="rue", password=PASSWORD)
    for name in ("wall display", "rack scale"):
        tokens.make(person, name)
    tokens.make(make_user(HAND, name="ada"), "till")
    return person


def still_open():
    return sorted(tokens.open_tokens().values_list("name", flat=True))


def test_a_password_given_by_command_closes_the_tokens_and_stands_in_the_book(rue, monkeypatch):
    monkeypatch.setattr("getpass.getpass", lambda prompt="": "seven felts and a vat")
    call_command("changepassword", "rue", stdout=StringIO())
    assert still_open() == ["till"]
    entry = Entry.objects.last()
    assert (entry.said, entry.who) == ("rue has a new password, 2 tokens closed", "command line")


def test_a_password_set_by_a_program_closes_the_tokens(rue):
    rue.set_password("seven felts and a vat")
    assert still_open() == ["rack scale", "till", "wall display"]
    rue.save()
    assert still_open() == ["till"]


def test_what_is_saved_of_an_account_beside_its_password_closes_none(rue):
    rue.email = "rue@bramble.example"
    rue.save()
    # With a salt that Django finds too short, the door hashes the same password anew.
    rue.password = short = make_password(PASSWORD, salt="kozo")
    rue.save()
    assert rue.check_password(PASSWORD)
    assert rue.password != short
    assert still_open() == ["rack scale", "till", "wall display"]


def test_a_page_that_gives_a_new_password_says_it_in_its_own_entry_alone(rue):
    keep_own_password(rue, "seven felts and a vat")
    assert still_open() == ["till"]
    before = Entry.objects.count()
    assert Entry.objects.last().said == "rue changed the own password, 2 tokens closed"
    keep_person(rue, role=HAND, password="three moulds and a press", by=None)
    assert Entry.objects.count() == before + 1
