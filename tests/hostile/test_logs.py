"""Who came in, who was refused, and that nobody writes a line of the log by a name or an address.

Requirements are those of ASVS 5.0.0: 16.3.1, 16.3.2 and 16.4.1.
"""

from __future__ import annotations

import datetime
import logging
from io import StringIO
from typing import Any

import pytest
import time_machine
from axes.models import AccessFailureLog, AccessLog
from django.conf import settings as house_settings
from django.test import Client
from django.urls import reverse

from studio.roles import OWNER
from tests.builders import PASSWORD, make_studio, make_user

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

NOON = datetime.datetime(2026, 3, 4, 12, tzinfo=datetime.UTC)
HERE = "192.168.1.21"


@pytest.fixture(autouse=True)
def counted(settings: Any) -> None:
    settings.AXES_ENABLED = True
    make_studio()
    make_user(OWNER, name="vat", password=PASSWORD)


def try_in(name: str, password: str) -> Client:
    browser = Client(REMOTE_ADDR=HERE)
    browser.post(reverse("log_in"), {"username": name, "password": password})
    return browser


@pytest.mark.parametrize(("name", "password", "book"), [
    ("vat", PASSWORD, AccessLog),
    ("vat", "wrong", AccessFailureLog),
    ("nobody", "wrong", AccessFailureLog),
])  # fmt: skip
def test_each_try_at_the_door_is_kept_with_who_when_and_from_where(
    name: str, password: str, book: Any
) -> None:
    with time_machine.travel(NOON, tick=False):
        try_in(name, password)
    row = book.objects.get()
    assert (row.username, row.ip_address, row.attempt_time) == (name, HERE, NOON)
    assert AccessLog.objects.count() + AccessFailureLog.objects.count() == 1


def test_a_log_out_is_kept_beside_its_log_in() -> None:
    try_in("vat", PASSWORD).post(reverse("log_out"))
    assert AccessLog.objects.get().logout_time is not None


def test_whoever_is_shut_out_for_a_while_is_kept_as_that() -> None:
    for _ in range(6):
        try_in("vat", "wrong")
    assert AccessFailureLog.objects.filter(locked_out=True).exists()


@pytest.mark.parametrize(("path", "status"), [
    ("/store/value/", 403), ("/people/", 403), ("/api/", 401), ("/log-in/", 403),
])  # fmt: skip
def test_each_refusal_is_a_line_of_the_log(
    hand_client: Client, caplog: pytest.LogCaptureFixture, path: str, status: int
) -> None:
    asked = Client(enforce_csrf_checks=True).post if path == "/log-in/" else hand_client.get
    with caplog.at_level(logging.WARNING):
        assert asked(path).status_code == status
    [line] = [one for one in caplog.records if one.name.startswith("django.")]
    assert line.levelno == logging.WARNING
    assert path in line.getMessage()


# New lines, escape, backspace, overrides, in an address and in what stands behind it.
FORGED = ["%0AERROR%20root:%20all%20is%20well", "%0d%0aWARNING", "%1b[2J%1b[31m", "%08%08%08",
          "%e2%80%ae", "%c2%85x", "%00", "%e2%80%a8x"]  # fmt: skip


def lines_of(ask: Any) -> str:
    """Return what the house's own handler writes while something is asked."""
    written = StringIO()
    handler = logging.StreamHandler(written)
    told = house_settings.LOGGING["formatters"]["line"]
    handler.setFormatter(logging.Formatter(told["format"], style=told["style"]))
    logging.getLogger().addHandler(handler)
    try:
        ask()
    finally:
        logging.getLogger().removeHandler(handler)
    return written.getvalue()


@pytest.mark.parametrize("forged", FORGED)
def test_an_address_writes_one_line_and_steers_nothing(hand_client: Client, forged: str) -> None:
    written = lines_of(lambda: hand_client.get(f"/nowhere/{forged}/"))
    assert "Not Found" in written
    assert written.endswith("\n")
    assert written[:-1].isprintable()


@pytest.mark.parametrize("name", ["vat\nERROR root: all is well", "\x1b[2J", "a\u202eb"])
def test_a_name_at_the_door_writes_no_line_of_its_own(name: str) -> None:
    written = lines_of(lambda: [try_in(name, "wrong") for _ in range(7)])
    assert all(line.isprintable() for line in written.split("\n"))
    assert not any(line.startswith("ERROR") for line in written.split("\n"))
