"""Tokens: shown once, kept as a digest alone, refused once closed; the door of other programs."""

from __future__ import annotations

import datetime
import re
import uuid

import pytest
import time_machine
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from studio import tokens
from studio.models import AccessToken, Entry
from studio.roles import HAND, OWNER, ROLES, VIEWER
from tests.builders import make_studio, make_user, signed_in

pytestmark = pytest.mark.django_db
API = "/api/"
SHOWN = re.compile(r'<p class="token">([^<]+)</p>')


@pytest.fixture(autouse=True)
def nobody_waits():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def viewers():
    """Return a viewer and a token of that viewer."""
    person = make_user(VIEWER)
    return person, tokens.make(person, "rack scale")


def ask(token, path=API, scheme="Bearer", **more):
    return Client().get(path, headers={"Authorization": f"{scheme} {token}"}, **more)


def made(client, name="rack scale", key=None):
    given = {"name": name, "request_key": str(key or uuid.uuid4())}
    return client.post(reverse("you_tokens"), given)


# --- made, shown once, closed


@pytest.mark.parametrize("role", ROLES)
def test_token_is_shown_once_and_lets_in_who_made_it(role):
    client = signed_in(make_user(role))
    page = made(client)
    assert page.status_code == 200
    assert page["Cache-Control"] == "no-store"
    token = SHOWN.search(page.content.decode())[1]
    assert token not in client.get(reverse("you_tokens")).content.decode()
    assert ask(token).json()["role"] == role


def test_plain_token_is_in_no_column_of_the_database(owner_client):
    token = SHOWN.search(made(owner_client).content.decode())[1]
    rows = [*AccessToken.objects.values(), *Entry.objects.values()]
    assert rows
    assert token not in str(rows)
    with connection.cursor() as cursor:
        cursor.execute("SELECT session_data FROM django_session")
        assert token not in str(cursor.fetchall())


def test_two_tokens_differ_and_hold_256_bits():
    person = make_user(HAND)
    one, other = (tokens.make(person, "scale") for _ in range(2))
    assert one != other
    # 32 bytes at 6 bits a letter, without padding (RFC 4648, section 5): ceil(256 / 6) = 43.
    assert len(one) == len(other) == 43


def test_page_sent_twice_makes_one_token_and_shows_it_once(owner_client):
    key = uuid.uuid4()
    assert made(owner_client, key=key).status_code == 200
    again = made(owner_client, key=key)
    assert again["Location"] == reverse("you_tokens")
    assert AccessToken.objects.count() == 1


@pytest.mark.parametrize(("name", "sentence"), [("", "Fill this in."), ("x" * 61, "60")])
def test_token_needs_a_name_of_a_length_that_is_kept(owner_client, name, sentence):
    page = made(owner_client, name=name)
    assert sentence in page.content.decode()
    assert not AccessToken.objects.exists()


def test_closed_token_is_refused_at_once_and_stays_in_the_book(viewers):
    person, token = viewers
    assert ask(token).status_code == 200
    row = AccessToken.objects.get()
    client = signed_in(person)
    address = reverse("you_token_close", args=[row.pk])
    assert row.name in client.get(address).content.decode()
    assert client.post(address, {"request_key": str(uuid.uuid4())}).status_code == 302
    assert ask(token).status_code == 401
    row.refresh_from_db()
    assert row.closed_on == timezone.localdate()
    assert Entry.objects.filter(act="closed token", by=person).count() == 1
    assert row.name not in client.get(reverse("you_tokens")).content.decode().replace(
        f"The token for {row.name} is closed.", ""
    )


def test_nobody_closes_or_sees_the_token_of_another(viewers, hand_client):
    address = reverse("you_token_close", args=[AccessToken.objects.get().pk])
    assert hand_client.get(address).status_code == 404
    assert hand_client.post(address, {"request_key": str(uuid.uuid4())}).status_code == 404
    assert "rack scale" not in hand_client.get(reverse("you_tokens")).content.decode()
    assert AccessToken.objects.get().closed_on is None


def test_owner_sees_everybodys_tokens_by_name_and_closes_one(viewers, owner_client):
    person, token = viewers
    page = owner_client.get(reverse("people"))
    [row] = page.context["tokens"].rows
    assert row.get_cell_value("person") == person.username
    assert row.get_cell_value("token") == "rack scale"
    address = reverse("people_token_close", args=[row.record.pk])
    assert address in page.content.decode()
    assert owner_client.post(address, {"request_key": str(uuid.uuid4())}).status_code == 302
    assert ask(token).status_code == 401


def test_closed_person_is_refused_and_let_in_again_once_opened(viewers):
    person, token = viewers
    person.is_active = False
    person.save()
    assert ask(token).status_code == 401
    person.is_active = True
    person.save()
    assert ask(token).status_code == 200


def test_role_is_that_of_now(viewers):
    person, token = viewers
    person.groups.clear()
    answer = ask(token)
    assert answer.status_code == 403
    assert "no role" in answer.json()["error"]


@pytest.mark.parametrize("page", ["you_tokens", "people"])
def test_page_asks_as_much_for_twenty_tokens_as_for_one(owner, owner_client, page):
    make_studio()
    tokens.make(owner, "first")
    owner_client.get(reverse(page))
    with CaptureQueriesContext(connection) as one:
        owner_client.get(reverse(page))
    for number in range(19):
        tokens.make(owner, f"program {number}")
    with CaptureQueriesContext(connection) as twenty:
        owner_client.get(reverse(page))
    assert len(twenty) == len(one)


def test_day_of_use_is_written_once_a_day(viewers):
    _, token = viewers
    noon = datetime.datetime(2026, 3, 4, 12, tzinfo=datetime.UTC)

    def writes():
        with CaptureQueriesContext(connection) as asked:
            assert ask(token).status_code == 200
        return sum("UPDATE" in query["sql"] for query in asked)

    assert AccessToken.objects.get().used_on is None
    with time_machine.travel(noon, tick=False):
        assert [writes(), writes()] == [1, 0]
    assert AccessToken.objects.get().used_on == noon.date()
    with time_machine.travel(noon + datetime.timedelta(days=1), tick=False):
        assert [writes(), writes()] == [1, 0]


# --- the door


def test_without_a_token_nobody_is_let_in_signed_in_or_not(owner_client):
    for client in (owner_client, Client()):
        answer = client.get(API)
        assert answer.status_code == 401
        # RFC 6750, section 3: without a token the challenge names no error.
        assert answer["WWW-Authenticate"] == "Bearer"
        assert "Authorization" in answer.json()["error"]
        assert answer["Content-Type"] == "application/json"


def test_demos_owner_is_let_in_by_pages_alone(owner, settings):
    settings.DEMO = True
    local = {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "127.0.0.1"}
    assert Client().get(API, **local).status_code == 401
    described = Client().get("/api/openapi.json", **local)
    assert described.status_code == 200
    assert not described.cookies


def test_token_opens_no_page(viewers):
    assert ask(viewers[1], path=reverse("store"))["Location"].startswith(reverse("log_in"))


@pytest.mark.parametrize("scheme", ["bearer", "BEARER"])
def test_scheme_may_be_written_in_any_letters(viewers, scheme):
    # RFC 9110, section 11.1: the scheme is case-insensitive.
    assert ask(viewers[1], scheme=scheme).status_code == 200


@pytest.mark.parametrize("given", ["wrong", "x" * 201, "ß", "a b", "\udcff", "0"])
def test_wrong_token_is_told_so(viewers, given):
    answer = ask(given)
    assert answer.status_code == 401
    # RFC 6750, section 3.1.
    assert answer["WWW-Authenticate"] == 'Bearer error="invalid_token"'
    assert "not known here" in answer.json()["error"]


@pytest.mark.parametrize("given", ["Basic b3duZXI6", "Bearer", "Bearer  ", "Token x"])
def test_what_is_no_token_is_asked_for_one(given):
    answer = Client().get(API, headers={"Authorization": given})
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")


def test_digest_is_no_token(viewers):
    assert ask(AccessToken.objects.get().digest).status_code == 401


def test_sixth_wrong_token_waits_and_nobody_else_does(viewers):
    _, token = viewers
    here, there = {"REMOTE_ADDR": "192.168.1.21"}, {"REMOTE_ADDR": "192.168.1.22"}
    assert [ask("wrong", **here).status_code for _ in range(6)] == [401] * 5 + [429]
    waiting = ask("wrong", **here)
    # 15 minutes, as at the log-in.
    assert waiting["Retry-After"] == "900"
    assert "right is let in at once" in waiting.json()["error"]
    assert ask(token, **here).status_code == 200
    assert ask("wrong", **there).status_code == 401
    forged = ask("wrong", HTTP_X_FORWARDED_FOR="198.51.100.4", **here)
    assert forged.status_code == 429


def test_wait_ends(viewers):
    for _ in range(6):
        ask("wrong")
    assert ask("wrong").status_code == 429
    later = datetime.datetime.now(datetime.UTC) + datetime.timedelta(minutes=16)
    with time_machine.travel(later):
        assert ask("wrong").status_code == 401


def test_missing_token_does_not_count_as_a_wrong_one():
    for _ in range(10):
        Client().get(API)
    assert ask("wrong").status_code == 401


@pytest.mark.parametrize("role", [OWNER, HAND])
def test_wrong_tokens_shut_nobody_out_at_the_log_in(role, settings):
    settings.AXES_ENABLED = True
    make_user(role, name="rue", password="felt and deckle 9")
    for _ in range(20):
        ask("wrong")
    given = {"username": "rue", "password": "felt and deckle 9"}
    assert Client().post(reverse("log_in"), given).status_code == 302
