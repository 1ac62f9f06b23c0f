"""The door under attack: guesses are few, nobody else is shut out, and what was open ends.

``tests/studio/test_login.py`` has the wait itself, log-out and the cookie.
"""

from __future__ import annotations

import datetime
import uuid
from typing import Any

import pytest
import time_machine
from django.apps import apps
from django.contrib.auth import get_user_model, hashers
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from studio import people, tokens
from studio.models import AccessToken, Entry
from studio.roles import HAND, OWNER, ROLES, VIEWER
from tests.builders import PASSWORD, make_studio, make_user, signed_in

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

TRIES = 200
# reliability bar, A3.
MOST_CHECKED = 12
HERE, THERE = "192.168.1.21", "192.168.1.22"
NEW = "felt and deckle 9"
# What the form reads as "ada": blanks around it, and letters of full width (NFKC).
SPELLINGS = ("ada", " ada", "ada  ", "\uff41da", "ad\uff41", "\tada")


@pytest.fixture(autouse=True)
def guarded(settings: Any) -> None:
    settings.AXES_ENABLED = True
    make_studio()


@pytest.fixture
def ada() -> Any:
    return make_user(OWNER, name="ada", password=PASSWORD)


@pytest.fixture
def checked(monkeypatch: pytest.MonkeyPatch, ada: Any) -> list[str]:
    """Count how often a password is held against that of an account."""
    seen: list[str] = []
    check = hashers.verify_password

    def counting(password: str, encoded: str, *args: Any, **how: Any) -> Any:
        if encoded == ada.password:
            seen.append(password)
        return check(password, encoded, *args, **how)

    monkeypatch.setattr(hashers, "verify_password", counting)
    return seen


def try_in(name: str, password: str, address: str = HERE, **meta: Any) -> Any:
    given = {"username": name, "password": password}
    return Client().post(reverse("log_in"), given, REMOTE_ADDR=address, **meta)


def test_of_two_hundred_guesses_in_ten_minutes_few_are_looked_at(checked: list[str]) -> None:
    bea = make_user(HAND, name="bea", password=PASSWORD)
    start = datetime.datetime.now(datetime.UTC)
    with time_machine.travel(start, tick=False) as clock:
        for number in range(TRIES):
            clock.shift(datetime.timedelta(seconds=600 / TRIES))
            try_in(
                SPELLINGS[number % len(SPELLINGS)], f"guess {number}",
                HTTP_X_FORWARDED_FOR=f"198.51.100.{number}", HTTP_USER_AGENT=f"browser {number}",
            )  # fmt: skip
        assert 0 < len(checked) <= MOST_CHECKED
        # Another person at the same address, and the same person elsewhere.
        assert try_in("bea", PASSWORD).status_code == 302
        assert try_in("ada", PASSWORD, THERE).status_code == 302
        assert try_in("ada", PASSWORD).status_code == 429
    assert Session.objects.count() == 2
    assert get_user_model().objects.get(pk=bea.pk).is_active


def test_nobody_can_shut_the_whole_studio_out(checked: list[str]) -> None:
    """Accounts tried from one address stay open at every other, and here after a while."""
    names = [
        "ada",
        *(make_user(role, name=f"{role} x", password=PASSWORD).username for role in ROLES),
    ]
    for name in [*names, *(f"nobody {number}" for number in range(30))]:
        for number in range(8):
            try_in(name, f"guess {number}")
    assert [try_in(name, PASSWORD, THERE).status_code for name in names] == [302] * len(names)
    later = datetime.datetime.now(datetime.UTC) + datetime.timedelta(minutes=16)
    with time_machine.travel(later):
        assert [try_in(name, PASSWORD).status_code for name in names] == [302] * len(names)


def test_the_wait_is_not_made_longer_by_trying_on(checked: list[str]) -> None:
    start = datetime.datetime.now(datetime.UTC)
    with time_machine.travel(start, tick=False) as clock:
        for number in range(5):
            try_in("ada", f"guess {number}")
        for _ in range(14):
            clock.shift(datetime.timedelta(minutes=1))
            assert try_in("ada", "guess").status_code == 429
        clock.shift(datetime.timedelta(minutes=2))
        assert try_in("ada", PASSWORD).status_code == 302


def rows_with(words: str) -> list[str]:
    """Return every row of the database in which words stand."""
    rows = [str(row) for model in apps.get_models() for row in model._base_manager.values()]
    assert any("axes" in model._meta.db_table for model in apps.get_models())
    return [row for row in rows if words in row]


def test_what_was_tried_is_written_nowhere(checked: list[str], ada: Any) -> None:
    """A password with a slip in it is nearly the password; and a new one is the next."""
    for number in range(7):
        try_in("ada", f"secret guess {number}")
    given = {"old": "secret guess 8", "password": f"{NEW} secret", "again": f"{NEW} secret"}
    given["request_key"] = str(uuid.uuid4())
    answer = signed_in(ada).post(reverse("you_password"), given, REMOTE_ADDR=THERE)
    assert "This is not your password" in answer.content.decode()
    assert rows_with("you/password") != []
    assert rows_with("secret guess") == rows_with(NEW) == []


@pytest.mark.parametrize("given", [
    {"username": "ada"}, {"password": PASSWORD}, {}, {"username": "a\0da", "password": "x"},
    {"username": "x" * 10_000, "password": "x"}, {"username": "ada", "password": "x" * 100_000},
    {"username": "\ud800".encode("utf-8", "surrogatepass"), "password": "\0"},
    {"username": ["ada", "bea"], "password": ["x", PASSWORD]},
    {"username": "' OR 1=1 --", "password": "' OR 1=1 --"},
    {"username": "ada\r\nSet-Cookie: x=1", "password": "x"},
])  # fmt: skip
def test_forged_log_in_is_refused_kindly(ada: Any, given: dict[str, Any]) -> None:
    browser = Client()
    answer = browser.post(reverse("log_in"), given)
    if given.get("username") == ["ada", "bea"]:
        # Of two fields of one name the last counts, for the form and for who counts tries alike.
        assert answer.status_code == 200
    assert answer.status_code in {200, 400}
    assert "_auth_user_id" not in browser.session
    assert b"Traceback" not in answer.content


# --- what was open ends -------------------------------------------------------------------------


def asks(token: str) -> int:
    return Client().get("/api/", headers={"Authorization": f"Bearer {token}"}).status_code


def change_own(browser: Client) -> None:
    given = {"old": PASSWORD, "password": NEW, "again": NEW, "request_key": str(uuid.uuid4())}
    answer = browser.post(reverse("you_password"), given)
    assert answer.status_code == 302, answer.context["form"].errors


@pytest.mark.parametrize("role", ROLES)
def test_own_new_password_closes_own_tokens_and_says_so(role: str) -> None:
    person, other = make_user(role, password=PASSWORD), make_user(VIEWER)
    mine = [tokens.make(person, "scale"), tokens.make(person, "wall")]
    theirs = tokens.make(other, "scale")
    browser, elsewhere = signed_in(person), signed_in(person)
    assert "closes your tokens" in browser.get(reverse("you_password")).content.decode()
    change_own(browser)
    assert [asks(token) for token in [*mine, theirs]] == [401, 401, 200]
    assert "no token of yours is open" in browser.get(reverse("you")).content.decode()
    assert Entry.objects.latest("pk").said.endswith("changed the own password, 2 tokens closed")
    assert elsewhere.get(reverse("you")).status_code == 302


@pytest.mark.parametrize(("changes", "ends"), [
    ({"password": NEW}, True),
    ({"is_active": ""}, True),
    ({"role": VIEWER}, False),
    ({}, False),
])  # fmt: skip
def test_owner_who_gives_a_password_or_closes_an_account_closes_its_tokens(
    owner_client: Client, changes: dict[str, str], ends: bool
) -> None:
    person = make_user(HAND, password=PASSWORD)
    token = tokens.make(person, "scale")
    there = signed_in(person)
    address = reverse("person", args=[person.pk])
    page = owner_client.get(address)
    assert "closes the person’s tokens" in page.content.decode()
    given = {"username": person.username, "role": HAND, "is_active": "on", "password": "",
             "password_again": "", "request_key": str(uuid.uuid4()),
             "version": page.context["form"]["version"].value(), **changes}  # fmt: skip
    given = {name: value for name, value in given.items() if name != "is_active" or value}
    assert owner_client.post(address, given).status_code == 302
    assert (asks(token) == 401) is ends
    assert (AccessToken.objects.get().closed_on is not None) is ends
    # A new role ends sessions, and so does all that ends tokens.
    assert (there.get(reverse("you")).status_code == 302) is bool(changes)
    assert ("1 token closed" in Entry.objects.latest("pk").said) is ends
    # Opened again, the account has no token that somebody may have kept.
    people.keep_person(get_user_model().objects.get(pk=person.pk), role=HAND, by=None)
    assert (asks(token) == 401) is ends


@pytest.mark.parametrize("planted", ["x" * 32, "../../etc/passwd", "1' OR '1'='1", "\0", "é" * 32])
def test_session_key_that_was_planted_is_not_taken_on(ada: Any, planted: str) -> None:
    browser = Client()
    browser.cookies["sessionid"] = planted
    given = {"username": "ada", "password": PASSWORD}
    answer = browser.post(reverse("log_in"), given)
    assert answer.status_code == 302
    assert browser.cookies["sessionid"].value != planted
    assert len(browser.cookies["sessionid"].value) >= 32
