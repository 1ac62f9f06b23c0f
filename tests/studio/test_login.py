import datetime

import pytest
import time_machine
from django.urls import reverse

from studio.roles import OWNER
from tests.builders import PASSWORD, make_studio, make_user

pytestmark = pytest.mark.django_db

LOG_IN = "/log-in/"
# Past the wait and a little more.
AFTER_THE_WAIT = datetime.timedelta(minutes=16)


@pytest.fixture(autouse=True)
def locked(settings):
    settings.AXES_ENABLED = True
    make_studio()


@pytest.fixture
def ada():
    return make_user(OWNER, name="ada", password=PASSWORD)


def log_in(client, name="ada", password=PASSWORD, **meta):
    return client.post(LOG_IN, {"username": name, "password": password}, **meta)


def signed_in(client):
    return "_auth_user_id" in client.session


def fail(client, times, **meta):
    for _ in range(times):
        log_in(client, password="wrong", **meta)


def test_right_password_opens_the_door(client, ada):
    response = log_in(client)
    assert response.status_code == 302
    assert signed_in(client)


@pytest.mark.parametrize("name", ["ada", "nobody"])
def test_wrong_password_says_the_same_whether_or_not_the_name_is_known(client, ada, name):
    response = log_in(client, name=name, password="wrong")
    assert "do not belong together" in response.content.decode()
    assert not signed_in(client)


def test_four_wrong_tries_lock_nobody(client, ada):
    fail(client, 4)
    assert log_in(client).status_code == 302


def test_five_wrong_tries_refuse_even_the_right_password(client, ada):
    fail(client, 5)
    response = log_in(client)
    assert response.status_code == 429
    assert not signed_in(client)


def test_lock_is_for_one_name_at_one_address(client, ada):
    make_user(OWNER, name="bea", password=PASSWORD)
    fail(client, 5)
    assert log_in(client).status_code == 429
    assert log_in(client, name="bea").status_code == 302
    client.logout()
    assert log_in(client, REMOTE_ADDR="192.168.1.21").status_code == 302


def test_forged_forwarding_does_not_escape_the_lock(client, ada):
    fail(client, 5)
    assert log_in(client, HTTP_X_FORWARDED_FOR="198.51.100.4").status_code == 429


def test_right_password_wipes_the_count(client, ada):
    fail(client, 4)
    log_in(client)
    client.logout()
    fail(client, 4)
    assert log_in(client).status_code == 302


def test_lock_ends_after_the_wait(client, ada):
    fail(client, 5)
    assert log_in(client).status_code == 429
    with time_machine.travel(datetime.datetime.now(datetime.UTC) + AFTER_THE_WAIT):
        assert log_in(client).status_code == 302


@pytest.mark.parametrize(
    "target",
    [
        "https://evil.example/",
        "http://evil.example",
        "//evil.example",
        "///evil.example",
        "////evil.example",
        "/\\evil.example",
        "\\\\evil.example",
        "https:///evil.example",
        "https:evil.example",
        "javascript:alert(1)",
        "data:text/html,x",
        "ftp://evil.example",
        " https://evil.example",
        "\thttps://evil.example",
        "https://127.0.0.1@evil.example",
        "http://testserver.evil.example",
        "//evil.example\\@testserver",
    ],
)
def test_log_in_leads_nowhere_off_the_site(client, ada, target):
    response = client.post(LOG_IN, {"username": "ada", "password": PASSWORD, "next": target})
    assert response["Location"] == reverse("today")


def test_log_in_leads_on_to_the_page_asked_for(client, ada):
    response = client.post(f"{LOG_IN}?next=/studio/", {"username": "ada", "password": PASSWORD})
    assert response["Location"] == "/studio/"


def test_session_key_changes_at_log_in(client, ada):
    session = client.session
    session["planted"] = "1"
    session.save()
    before = session.session_key
    log_in(client)
    assert client.session.session_key != before


def test_log_out_ends_the_session_on_the_server(client, ada):
    log_in(client)
    kept = client.cookies["sessionid"].value
    response = client.post("/log-out/")
    assert response["Location"] == LOG_IN
    client.cookies["sessionid"] = kept
    assert client.get("/studio/").status_code == 302


def test_log_out_by_a_link_is_refused(client, ada):
    log_in(client)
    assert client.get("/log-out/").status_code == 405
    assert signed_in(client)


def test_log_out_of_a_session_that_has_ended_leads_to_the_log_in_alone(client, ada):
    # With the way back to the log-out in its address, the next log-in would end in a refusal.
    assert client.post("/log-out/")["Location"] == LOG_IN


@pytest.mark.parametrize("change", ["closed", "new password"])
def test_closed_account_and_changed_password_end_open_sessions(client, ada, change):
    log_in(client)
    assert client.get("/studio/").status_code == 200
    if change == "closed":
        ada.is_active = False
    else:
        ada.set_password("another one 77")
    ada.save()
    assert client.get("/studio/").status_code == 302


def test_session_cookie_is_out_of_reach_of_scripts(client, ada):
    log_in(client)
    cookie = client.cookies["sessionid"]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"


def test_a_name_longer_than_any_is_refused_before_it_is_looked_up(client, monkeypatch):
    def looked_up(*args, **kwargs):
        raise AssertionError("a name of that length belongs to nobody")

    monkeypatch.setattr("django.contrib.auth.forms.authenticate", looked_up)
    make_user(OWNER)
    answer = client.post(reverse("log_in"), {"username": "x" * 151, "password": "reed"})
    assert "Give at most 150 characters" in answer.content.decode()
