"""Sessions: keys that cannot be guessed, new at each log-in, gone at log-out and after 14 days.

Requirements are those of ASVS 5.0.0: 7.2.1 to 7.2.4, 7.3.2, 7.4.1, 14.2.1 and 14.3.1.
"""

from __future__ import annotations

import datetime
import math
import re
from typing import Any

import pytest
import time_machine
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from studio import tokens
from studio.roles import OWNER
from tests.builders import PASSWORD, make_studio, make_user, signed_in
from tests.hostile.ground import Ground

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

DAYS = 14


@pytest.fixture
def vat() -> Any:
    make_studio()
    return make_user(OWNER, name="vat", password=PASSWORD)


def log_in(browser: Client) -> str:
    given = {"username": "vat", "password": PASSWORD}
    assert browser.post(reverse("log_in"), given).status_code == 302
    return str(browser.cookies["sessionid"].value)


def test_keys_of_sessions_are_drawn_from_128_bits_at_least(vat: Any) -> None:
    """Of 200 keys no two are alike, all are as long, and all signs stand at all places."""
    keys = [signed_in(vat).cookies["sessionid"].value for _ in range(200)]
    assert len(set(keys)) == 200
    [length] = {len(key) for key in keys}
    signs = [{key[place] for key in keys} for place in range(length)]
    # Of 36 signs 200 draws leave out one in 280 on average, so that 30 are a safe bound.
    assert min(map(len, signs)) >= 30
    assert length * math.log2(30) >= 128


def test_only_a_key_that_stands_in_the_database_opens_a_page(vat: Any) -> None:
    browser = Client()
    key = log_in(browser)
    assert browser.get(reverse("store")).status_code == 200
    Session.objects.filter(session_key=key).delete()
    assert browser.get(reverse("store")).status_code == 302


def test_each_log_in_has_a_new_key_and_ends_the_one_before(vat: Any) -> None:
    browser = Client()
    session = browser.session
    session["planted"] = "1"
    session.save()
    before = session.session_key
    first = log_in(browser)
    assert first != before
    assert not Session.objects.filter(session_key=before).exists()
    browser.post(reverse("log_out"))
    assert not Session.objects.filter(session_key=first).exists()
    assert log_in(browser) not in {before, first}


def test_session_ends_fourteen_days_after_the_log_in_however_much_it_is_used(vat: Any) -> None:
    start = datetime.datetime.now(datetime.UTC)
    browser = Client()
    with time_machine.travel(start, tick=False) as clock:
        log_in(browser)
        for _ in range(DAYS - 1):
            clock.shift(datetime.timedelta(days=1))
            assert browser.get(reverse("store")).status_code == 200
        clock.shift(datetime.timedelta(hours=23, minutes=59))
        assert browser.get(reverse("store")).status_code == 200
        clock.shift(datetime.timedelta(minutes=2))
        answer = browser.get(reverse("store"))
    assert (answer.status_code, answer["Location"]) == (302, "/log-in/?next=/store/")


def test_log_out_has_the_browser_forget_what_it_kept(vat: Any) -> None:
    """A new mark is how a page that is kept whole notices; tests/browser/test_signed_out.py."""
    browser = Client()
    log_in(browser)
    browser.get(reverse("store"))
    mark = browser.cookies["csrftoken"].value
    answer = browser.post(reverse("log_out"))
    assert {'"cache"', '"storage"'} <= set(answer["Clear-Site-Data"].split(", "))
    assert browser.cookies["sessionid"].value == ""
    assert browser.cookies["csrftoken"].value != mark


# --- nothing of it stands in an address ---------------------------------------------------------


@pytest.mark.parametrize("name", ["token", "access_token", "api_key", "key", "Authorization"])
@pytest.mark.parametrize("start", ["", "Bearer "])
def test_token_in_an_address_lets_nobody_in(vat: Any, name: str, start: str) -> None:
    """RFC 6750, section 2.3, knows it and says not to: addresses are kept by whoever passes."""
    token = tokens.make(vat, "wall display")
    asked = {name: f"{start}{token}"}
    assert Client().get("/api/", asked).status_code == 401
    assert Client().get(reverse("store"), asked).status_code == 302
    header = {"Authorization": f"Bearer {token}"}
    assert Client().get("/api/", headers=header).status_code == 200


@pytest.mark.parametrize("name", ["sessionid", "session", "sid"])
def test_key_of_a_session_in_an_address_opens_nothing(vat: Any, name: str) -> None:
    key = log_in(Client())
    assert Client().get(reverse("store"), {name: key}).status_code == 302


SECRET = re.compile(r"password|csrf|token|session|old|again", re.IGNORECASE)


def test_no_form_sends_a_secret_in_its_address_and_no_page_holds_the_key(ground: Ground) -> None:
    ground.read_forms()
    asked = {route: names for route, names in ground.names.items() if any(names)}
    assert len(asked) > 10
    found = {(route, name) for route, names in asked.items() for name in names}
    assert {one for one in found if SECRET.search(one[1])} == set()
    browser = ground.browser(OWNER)
    key = browser.cookies["sessionid"].value
    for path in ground.addresses.values():
        answer = browser.get(path)
        content = b"".join(answer) if answer.streaming else answer.content
        assert key.encode() not in content, path
        assert key not in str(answer.headers), path
