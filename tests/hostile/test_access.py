"""Every address, every actor, every method: let in, led to the log-in, refused or not found.

``tests/roles`` asks GET and POST with a row behind each address; here are the other methods, rows
of others, numbers that no row has, forged marks, hosts and ways on.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse

from studio import tokens
from studio.files import desk
from studio.roles import NEEDS, OWNER, PUBLIC, need_of
from tests.builders import PASSWORD, make_user, signed_in
from tests.hostile.ground import (
    ACTORS,
    ANONYMOUS,
    ROUTES,
    Ground,
    everything,
    undone,
    writes,
)
from tests.hostile.test_forms import posting
from tests.roles.test_matrix import outcome

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

# Methods of RFC 9110, section 9, and of RFC 5789.
ALL_BUT_POST = ("GET", "HEAD", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE")
CHANGES_NOTHING = {"GET", "HEAD", "OPTIONS"}
NOT_ALLOWED = 405
# Numbers beyond any column: 2**31, 2**63 and ten to the thirtieth.
NO_ROW = (0, 2**31, 2**63, 10**30)
WALKED = 50


def wanted(route: str, actor: str) -> str:
    """Return what the table of needs says of an actor, whatever the method."""
    need = need_of(ROUTES[route].callback)
    if need == PUBLIC:
        return "in"
    if route.startswith("api"):
        # A session does not count there; tests/orders/test_api.py asks with tokens.
        return "asked for a token"
    if actor == ANONYMOUS:
        return "led to the log-in"
    return "in" if actor in NEEDS[need] else "refused"


def ask(browser: Client, method: str, path: str, **how: Any) -> Any:
    """Ask, and read a streamed answer to its end, as a server does."""
    response = browser.generic(method, path, **how)
    if response.streaming:
        response.body = b"".join(response)
    return response


def test_every_route_by_every_method_is_as_the_table_says(ground: Ground) -> None:
    faults, asked = [], 0
    browsers = {actor: ground.browser(actor) for actor in ACTORS}
    held = everything()
    for route, path in ground.addresses.items():
        for actor, browser in browsers.items():
            answers: dict[str, Any] = {}
            for method in ALL_BUT_POST:
                # Whom a page is shown to is asked in tests/roles; what reading it writes, here.
                is_shown = method in {"GET", "HEAD"} and wanted(route, actor) == "in"
                if is_shown and actor != OWNER:
                    continue
                before = writes()
                with undone():
                    response = answers[method] = ask(browser, method, path)
                    if writes() != before and everything() != held:
                        faults.append(f"{method} {route} as {actor} writes")
                asked += 1
                if outcome(response) != wanted(route, actor):
                    faults.append(f"{method} {route} as {actor}: {response.status_code}")
            if wanted(route, actor) == "in":
                faults += [f"{fault} {route} as {actor}" for fault in unlike(answers)]
    assert not faults, "\n".join(faults)
    assert asked > len(ROUTES) * len(ACTORS) * (len(ALL_BUT_POST) - 2)


def unlike(answers: dict[str, Any]) -> list[str]:
    """Say which methods are answered otherwise than they should be."""
    found = [
        f"{method} is answered {answers[method].status_code}:"
        for method in answers
        if method not in CHANGES_NOTHING
        and answers[method].status_code not in {NOT_ALLOWED, 302, 404}
    ]
    if "HEAD" not in answers:
        return found
    if answers["HEAD"].status_code != answers["GET"].status_code:
        found.append("HEAD is unlike GET:")
    if answers["HEAD"].content if not answers["HEAD"].streaming else answers["HEAD"].body:
        found.append("HEAD has a body:")
    return found


def test_numbers_around_a_row_and_beyond_any_are_answered_or_not_found(ground: Ground) -> None:
    faults, asked = [], 0
    browser = ground.browser(OWNER)
    for route, pattern in ROUTES.items():
        kept = dict(ground.kwargs_of(route))
        if "pk" not in pattern.pattern.converters or route.startswith("api"):
            continue
        step = 1 if route == "mould" else 25
        near = range(max(kept["pk"] - WALKED, 0), kept["pk"] + WALKED + 1, step)
        for pk in {*near, kept["pk"] + 1, *NO_ROW}:
            asked += 1
            response = ask(browser, "GET", reverse(route, kwargs={**kept, "pk": pk}))
            if response.status_code not in {200, 302, 404, NOT_ALLOWED}:
                faults.append(f"{route} {pk}: {response.status_code}")
            if pk in NO_ROW and response.status_code == 200:
                faults.append(f"{route} {pk} is a page")
    assert not faults, "\n".join(faults)
    assert asked > 250


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_what_is_another_persons_is_not_found(ground: Ground, method: str) -> None:
    other = make_user(OWNER)
    tokens.make(other, "wall display")
    theirs = other.access_tokens.get()
    handed = desk.hand_in([b"x"], by=other.pk, slug="lots", name="lots.csv", sheet="", decimals="")
    handed.note(stage=desk.READY, said="1 lot", is_new=True)
    browsers = {actor: ground.browser(actor) for actor in ACTORS[2:]}
    their_own = signed_in(other)
    held = everything()
    for actor, browser in browsers.items():
        address = reverse("you_token_close", args=[theirs.pk])
        assert ask(browser, method, address).status_code == 404, actor
    for route in ("data_handed", "data_progress"):
        address = reverse(route, args=[handed.token])
        answer = ask(browsers[OWNER], method, address)
        assert answer.status_code in {404, NOT_ALLOWED}
        assert b"1 lot" not in answer.content
    address = reverse("data_handed", args=[handed.token])
    assert ask(their_own, "GET", address).status_code == 200
    assert everything() == held


@pytest.mark.parametrize("route", [
    "lot", "lot_take", "making", "making_log", "commission", "quote", "purchase", "delivery",
    "stocktake", "sheets_count", "commission_move", "quote_issue", "making_tap",
])  # fmt: skip
@pytest.mark.parametrize("ref", [
    "L-0", "L-99999999999999999999999", "Q-001'--", "%00", "x" * 300, "..%2f..%2fetc", "%ff%fe",
    "<b>", "L-１", "ـ", "%F0%9F%A6%86", "L-0001%00", "null",
])  # fmt: skip
def test_reference_of_no_row_is_not_found(owner_client: Client, route: str, ref: str) -> None:
    path = reverse(route, kwargs={"ref": "REF-0"}).replace("REF-0", ref)
    for method in ("GET", "POST"):
        assert ask(owner_client, method, path).status_code in {404, NOT_ALLOWED}


# --- forged requests ----------------------------------------------------------------------------


def test_nothing_is_posted_without_the_mark_of_the_studio(ground: Ground) -> None:
    """A form of another site carries the cookie of who looks at it, and not the mark."""
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(ground.people[OWNER], backend="django.contrib.auth.backends.ModelBackend")
    held = everything()
    unmarked = {}
    for route in posting():
        path = ground.addresses[route]
        answers = {
            ask(browser, "POST", path).status_code,
            ask(browser, "POST", path, HTTP_X_CSRFTOKEN="x" * 64).status_code,
            ask(browser, "POST", path, HTTP_ORIGIN="http://evil.example").status_code,
        }
        if answers != {403}:
            unmarked[route] = answers
    assert unmarked == {}
    assert everything() == held
    assert len(posting()) > 60


def test_no_view_but_readings_is_exempt_from_the_mark() -> None:
    exempt = {
        route
        for route, pattern in ROUTES.items()
        if getattr(pattern.callback, "csrf_exempt", False)
    }
    assert {route for route in exempt if not route.startswith("api")} == set()


# What stands behind the name of the host decides where a browser goes: WHATWG URL, section 4.
OFF_SITE = [
    "https://evil.example/", "http://evil.example", "//evil.example", "///evil.example",
    "////evil.example", "/\\evil.example", "\\\\evil.example", "\\/evil.example",
    "https:///evil.example", "https:evil.example", "https:/evil.example", "javascript:alert(1)",
    "JaVaScRiPt:alert(1)", "data:text/html,x", "vbscript:x", "ftp://evil.example",
    " https://evil.example", "\thttps://evil.example", "\nhttps://evil.example",
    "/\t/evil.example",
    "/\n/evil.example", "https://127.0.0.1@evil.example", "http://testserver.evil.example",
    "http://testserver:80@evil.example", "//evil.example\\@testserver", "//evil%2eexample",
    "http://[::1]@evil.example/", "https://evil.example#@testserver", "\x00//evil.example",
    "\u2028//evil.example", "http:\\\\evil.example", "//evil。example", "/%09/evil.example",
]  # fmt: skip
WAYS_ON = ("next", "back", "return", "url", "to", "redirect", "return_to", "from")


def leads_off(location: str) -> bool:
    """Tell whether a browser would leave the site for an address."""
    plain = "".join(letter for letter in location if letter not in "\t\n\r").strip("\0 ")
    plain = plain.replace("\\", "/")
    return not plain.startswith("/") or plain.startswith("//")


@pytest.mark.parametrize("target", OFF_SITE, ids=ascii)
def test_log_in_leads_nowhere_off_the_site(client: Client, owner: Any, target: str) -> None:
    owner.set_password(PASSWORD)
    owner.save()
    given = {"username": owner.username, "password": PASSWORD, "next": target}
    for path, sent in (
        (reverse("log_in"), given),
        (f"{reverse('log_in')}?next={target!r}", given),
    ):
        answer = Client().post(path, sent)
        assert answer.status_code == 302
        assert not leads_off(answer["Location"]), answer["Location"]
    asked = Client().get(reverse("log_in"), {"next": target})
    assert asked.status_code == 200
    signed = signed_in(owner).get(reverse("log_in"), {"next": target})
    assert not leads_off(signed["Location"])


def test_no_page_leads_where_its_address_says(ground: Ground) -> None:
    """No link and no answer of a page is taken from a question in its address."""
    browser, faults = ground.browser(OWNER), []
    for route, path in ground.addresses.items():
        for target in ("https://evil.example/x", "javascript:evil.example"):
            response = ask(browser, "GET", path, QUERY_STRING="&".join(
                f"{name}={target}" for name in WAYS_ON))  # fmt: skip
            if (
                response.status_code in {301, 302}
                and "evil" in response["Location"].partition("?")[0]
            ):
                faults.append(f"{route} leads to {response['Location']}")
            text = b"" if response.streaming else response.content
            if b'href="' + target.encode() in text or b'action="' + target.encode() in text:
                faults.append(f"{route} links to {target}")
    assert faults == []


HOSTS = [
    "evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "evil.example:8000",
    "evil@127.0.0.1", "127.0.0.1:8000@evil.example", "*", "127.0.0.1, evil.example",
    "[::1]evil.example", "127.0.0.1:port", "<b>", "127.0.0.1/evil", "::1", "0.0.0.0", "[::",
]  # fmt: skip


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("path", ["/", "/log-in/", "/api/"])
def test_foreign_host_is_refused_and_not_repeated(
    owner_client: Client, host: str, path: str
) -> None:
    answer = owner_client.get(path, HTTP_HOST=host)
    assert answer.status_code == 400
    assert b"evil" not in answer.content


def test_host_that_a_server_in_between_names_does_not_count(owner_client: Client) -> None:
    answer = owner_client.get(
        "/", HTTP_X_FORWARDED_HOST="evil.example", HTTP_X_HOST="evil.example"
    )
    assert answer.status_code == 200
    assert b"evil.example" not in answer.content


def test_nobody_is_made_an_owner_by_fields_that_no_form_has(ground: Ground) -> None:
    """ASVS 5.0.0, 15.3.3: what a form does not ask for is not written."""
    browser = ground.browser("hand")
    person = ground.people["hand"]
    forged = {"is_superuser": "1", "is_staff": "1", "groups": "1", "role": "owner", "pk": "1",
              "user": "1", "by": "1", "id": "1", "units": "US", "request_key": ""}  # fmt: skip
    browser.post(reverse("you"), forged)
    browser.post(reverse("you_password"), forged)
    fresh = get_user_model().objects.get(pk=person.pk)
    assert (fresh.is_superuser, fresh.is_staff) == (False, False)
    assert [group.name for group in fresh.groups.all()] == ["hand"]
