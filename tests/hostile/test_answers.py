"""What every answer carries, and what a person reads when something is refused or breaks."""

from __future__ import annotations

import json
import logging
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.exceptions import PermissionDenied, SuspiciousOperation
from django.db import DatabaseError, OperationalError
from django.http import Http404
from django.test import Client
from django.urls import reverse

from studio import exports, tokens
from studio.roles import HAND, OWNER
from tests.builders import make_user, signed_in
from tests.hostile.ground import ROUTES, Ground, everything
from tests.studio.pages import Page

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

# ASVS 5.0.0, 3.4.3 to 3.4.6, and the headers that go with them; sources named are of this site.
CARRIED = {
    "Content-Security-Policy": re.compile(r"default-src 'none'"),
    "X-Content-Type-Options": re.compile(r"^nosniff$"),
    "X-Frame-Options": re.compile(r"^DENY$"),
    "Referrer-Policy": re.compile(r"^same-origin$"),
    "Cross-Origin-Opener-Policy": re.compile(r"^same-origin$"),
    "Cross-Origin-Resource-Policy": re.compile(r"^same-origin$"),
    "Permissions-Policy": re.compile(r"camera=\(\).*microphone=\(\)"),
}
POLICY = {
    "default-src 'none'", "script-src 'self'", "style-src 'self'", "img-src 'self'",
    "connect-src 'self'", "form-action 'self'", "base-uri 'none'", "frame-ancestors 'none'",
}  # fmt: skip
# RFC 9111, section 5.2.2: what a cache that many share must not keep.
NOT_SHARED = re.compile(r"\b(private|no-store)\b")
EXPORTS = ("?format=csv", "?format=xlsx")


def faults_of(answer: Any, what: str, *, is_public: bool = False) -> list[str]:
    """Say what an answer lacks."""
    found = [
        f"{what}: {name} is {answer.get(name)!r}"
        for name, wanted in CARRIED.items()
        if not wanted.search(answer.get(name) or "")
    ]
    told = {one.strip() for one in answer.get("Content-Security-Policy", "").split(";")}
    if told != POLICY:
        found.append(f"{what}: the policy is {told ^ POLICY}")
    if "Access-Control-Allow-Origin" in answer:
        found.append(f"{what}: other sites may read it")
    if not is_public and not NOT_SHARED.search(answer.get("Cache-Control") or ""):
        found.append(f"{what}: a cache may share it: {answer.get('Cache-Control')!r}")
    return found


def read(browser: Client, path: str, method: str = "GET", **how: Any) -> Any:
    answer = browser.generic(method, path, **how)
    if answer.streaming:
        list(answer)
    return answer


def test_every_answer_carries_its_headers(ground: Ground) -> None:
    browser = ground.browser(OWNER)
    token = tokens.make(ground.people[OWNER], "wall display")
    faults, seen = [], set()
    for route, path in ground.addresses.items():
        asked = {"HTTP_AUTHORIZATION": f"Bearer {token}"} if route.startswith("api") else {}
        answer = read(browser, path, **asked)
        seen.add((answer.status_code, answer.get("Content-Type", "").partition(";")[0]))
        faults += faults_of(answer, route)
    for route in ("lots", "commissions", "quotes", "people", "makings"):
        for question in EXPORTS:
            answer = read(browser, ground.addresses[route] + question)
            seen.add((answer.status_code, answer["Content-Type"].partition(";")[0]))
            faults += faults_of(answer, f"{route}{question}")
    assert not faults, "\n".join(faults)
    assert {(200, "text/html"), (200, "application/json"), (200, "text/csv")} <= seen
    assert {(405, "text/html"), (200, exports.SHEET_TYPE)} <= seen
    assert any(status == 302 for status, _ in seen)


REFUSALS: dict[str, tuple[int, Callable[[], Any]]] = {
    "led to the log-in": (302, lambda: Client().get(reverse("store"))),
    "log-in": (200, lambda: Client().get(reverse("log_in"))),
    "foreign host": (400, lambda: Client().get("/", HTTP_HOST="evil.example")),
    "too large": (413, lambda: Client().post("/log-in/", CONTENT_LENGTH="99999999999")),
    "no length": (413, lambda: Client().post("/log-in/", CONTENT_LENGTH="many")),
    "too many fields": (400, lambda: Client().post("/log-in/", {f"f{n}": n for n in range(1100)})),
    "no such page": (404, lambda: signed_in(make_user(OWNER)).get("/nowhere/")),
    "no such page, nobody": (404, lambda: Client().get("/nowhere/")),
    "no mark": (403, lambda: Client(enforce_csrf_checks=True).post("/log-in/")),
    "not one's own": (403, lambda: signed_in(make_user(HAND)).get(reverse("store_value"))),
    "not asked this way": (405, lambda: signed_in(make_user(OWNER)).put(reverse("you"))),
    "not asked this way, door": (405, lambda: Client().get(reverse("log_out"))),
    "no token": (401, lambda: Client().get("/api/")),
    "wrong token": (401, lambda: Client().get("/api/", headers={"Authorization": "Bearer x"})),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_refusal_is_kind_and_carries_its_headers(owner: Any, name: str) -> None:
    status, ask = REFUSALS[name]
    answer = ask()
    assert answer.status_code == status
    assert faults_of(answer, name) == []
    if status >= 400:
        assert_kind(answer)


@pytest.mark.parametrize("path", ["/static/studio/halfstuff.css", "/static/studio/favicon.svg"])
def test_files_of_the_program_carry_them_too(path: str, db: None) -> None:
    answer = Client().get(path)
    content = b"".join(answer)
    assert (answer.status_code, bool(content)) == (200, True)
    assert faults_of(answer, path, is_public=True) == []


def test_page_of_the_first_run_carries_them(db: None) -> None:
    assert faults_of(Client().get(reverse("first_run")), "first run") == []


def test_no_page_holds_what_the_policy_would_stop(ground: Ground) -> None:
    """No script, style or event attribute in a page; the policy is the second line."""
    browser, faults = ground.browser(OWNER), []
    for route, path in ground.addresses.items():
        answer = read(browser, path)
        if not answer.get("Content-Type", "").startswith("text/html"):
            continue
        for element in Page(answer.content.decode()).elements:
            is_inline = element.tag == "style" or (
                element.tag == "script"
                and "src" not in element.attrs
                and element.attrs.get("type") != "application/json"
            )
            strange = {name for name in element.attrs if name.startswith("on") or name == "style"}
            if is_inline or strange:
                faults.append(f"{route}: <{element.tag} {strange}>")
    assert faults == []


# --- what is read where something breaks --------------------------------------------------------

ROOT = Path(__file__).resolve().parents[2]
# A trace, a path of a machine, a statement, a class of the program, or what was asked.
TELLS = re.compile(
    rf"{re.escape(str(ROOT))}|/home/|/usr/|/tmp/|Traceback|File \"|line \d+, in|\.py\b|"
    r"SELECT |INSERT |UPDATE |sqlite|postgres|psycopg|django|Exception|Error\b|secret",
    re.IGNORECASE,
)


def assert_kind(answer: Any) -> None:
    """Hold a refusal against section 3 of the bar: what happened, whether saved, what to do."""
    text = answer.content.decode()
    if answer.get("Content-Type", "").startswith("application/json"):
        words = json.loads(text)["error"]
        assert words.endswith(".")
    else:
        page = Page(text)
        assert page.misnested == []
        words = " ".join(element.text for element in page.all("main"))
        assert len(page.all("h1")) == 1
        assert page.all("a"), "There is no way on."
    assert len(words.split()) > 10
    assert not TELLS.search(words), TELLS.search(words)
    assert not re.search(r"Traceback|File \"|SELECT ", text)


BREAKS = [
    RuntimeError("SELECT * FROM secret WHERE /home/mill/x.py"),
    KeyError("secret"),
    sqlite3.DatabaseError("no such column: secret"),
    DatabaseError("SELECT secret FROM studio_studio"),
    RecursionError("secret"),
    MemoryError("secret"),
    UnicodeDecodeError("utf-8", b"\xff", 0, 1, "secret"),
]


def break_view(monkeypatch: pytest.MonkeyPatch, route: str, fault: Exception) -> None:
    """Let the view behind a route break once it is let in."""

    def broken(*args: Any, **kwargs: Any) -> Any:
        raise fault

    view = ROUTES[route].callback.view_class
    monkeypatch.setattr(view, "get", broken)
    monkeypatch.setattr(view, "post", broken, raising=False)


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize("fault", BREAKS, ids=lambda fault: type(fault).__name__)
@pytest.mark.parametrize("route", ["today", "lot_receive", "people"])
def test_broken_view_says_so_and_tells_nothing_else(
    owner: Any, monkeypatch: pytest.MonkeyPatch, route: str, fault: Exception, method: str
) -> None:
    break_view(monkeypatch, route, fault)
    browser = signed_in(owner)
    browser.raise_request_exception = False
    logging.disable(logging.CRITICAL)
    try:
        answer = read(browser, reverse(route), method)
    finally:
        logging.disable(logging.NOTSET)
    assert answer.status_code in {500, 503}
    assert faults_of(answer, route) == []
    assert_kind(answer)


@pytest.mark.parametrize(("fault", "status"), [
    (PermissionDenied("SELECT secret"), 403),
    (Http404("SELECT secret"), 404),
    (SuspiciousOperation("SELECT secret"), 400),
    (OperationalError("database is locked"), 503),
])  # fmt: skip
def test_refusal_of_a_view_keeps_its_reason_to_itself(
    owner: Any, monkeypatch: pytest.MonkeyPatch, fault: Exception, status: int
) -> None:
    break_view(monkeypatch, "people", fault)
    browser = signed_in(owner)
    browser.raise_request_exception = False
    answer = read(browser, reverse("people"))
    assert answer.status_code == status
    assert faults_of(answer, "people") == []
    assert_kind(answer)


def test_broken_reading_says_so_in_json(owner: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    token = tokens.make(owner, "wall display")
    break_view(monkeypatch, "api_store", RuntimeError("SELECT secret"))
    browser = Client(raise_request_exception=False)
    answer = read(browser, reverse("api_store"), HTTP_AUTHORIZATION=f"Bearer {token}")
    assert answer.status_code == 500
    assert_kind(answer)


def test_act_that_breaks_halfway_writes_nothing(
    owner: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The entry stands before the fault; the answer is 500 and the book is as it was."""
    browser = signed_in(owner)
    browser.raise_request_exception = False
    page = browser.get(reverse("mould_new"))
    key = page.context["form"]["request_key"].value()
    held = everything()

    def breaks(*args: Any, **kwargs: Any) -> str:
        raise RuntimeError("after the row was saved")

    monkeypatch.setattr(ROUTES["mould_new"].callback.view_class, "after", breaks)
    given = {
        "name": "A4 wove",
        "size": "210 x 297 mm",
        "draw_um": "",
        "remarks": "",
        "request_key": str(key),
    }
    answer = browser.post(reverse("mould_new"), {**given, "request_key": str(key)})
    assert answer.status_code == 500
    assert everything() == held
    assert_kind(answer)
