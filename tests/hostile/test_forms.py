"""Every form of the studio with forged bodies: refused kindly, and nothing is written.

Bodies are made from what the page itself would send. Seeds are fixed by route, so that a failure
replays. ``HALFSTUFF_HOSTILE_ROUNDS`` makes more bodies, with other seeds, for a long look.
"""

from __future__ import annotations

import os
import random
import re
import uuid
from collections.abc import Iterator
from http.cookies import SimpleCookie
from typing import Any
from urllib.parse import quote_plus

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from studio.checks import every_pattern
from studio.roles import OWNER
from tests.hostile.formreader import Form
from tests.hostile.ground import ROUTES, Ground, everything, undone, writes
from tests.hostile.nasties import HUGE, LIKELY, VALUES

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

ROUNDS = int(os.environ.get("HALFSTUFF_HOSTILE_ROUNDS", "1"))
ONE_WRONG, MANY_WRONG = 3, 15
FEWEST_VALUES = 10_000
# What shows where a program broke, to nobody but its makers, and markup that came in as a value.
BROKEN = re.compile(
    r"Traceback|Exception|sqlite3|psycopg|django\.|SELECT .* FROM|<script>alert|<img src=x"
)
MAY_ANSWER = {200, 302, 400, 403, 404, 409, 413, 429}
# Answers that are no refusal though they lead nowhere else: the new token stands in this one.
WRITE_AND_STAY = {"you_tokens"}
# Routes whose forms stand on no page of this studio: what they are sent.
FORMS = {
    "first_run": {"studio_name": "Mine", "user_name": "eve", "password": "felt and deckle 9",
                  "password_again": "felt and deckle 9", "request_key": ""},
    "fibres_usual": {"request_key": ""},
    "first_steps_away": {"request_key": ""},
    "reorder_look": {"weeks": "12"},
    "making_start": {"page_key": ""},
    "data_whole": {"request_key": ""},
}  # fmt: skip
FILES = {"data_whole": ["file"]}
KEYS = {"request_key", "page_key"}
Body = list[tuple[str, str]]


def posting() -> list[str]:
    """Return every route that takes what is posted."""
    found = []
    for pattern in every_pattern():
        view = getattr(pattern.callback, "view_class", pattern.callback)
        if hasattr(view, "post") or not isinstance(view, type):
            found.append(str(pattern.name))
    return found


def forms_for(ground: Ground, route: str) -> list[Form]:
    """Return the forms that lead to a route."""
    if route in ground.forms:
        return ground.forms[route]
    fields = {name: [value] for name, value in FORMS.get(route, {"request_key": ""}).items()}
    return [Form(ground.addresses[route], "post", fields, FILES.get(route, []))]


def plain(form: Form) -> Body:
    """Return what the form sends as it stands, under keys of its own."""
    body = [(name, value) for name, values in form.fields.items() for value in values]
    body = [pair for pair in body if pair[0] not in {*KEYS, "csrfmiddlewaretoken", "work_out"}]
    return [*body, *((name, str(uuid.uuid4())) for name in KEYS)]


def spoilt(body: Body, names: list[str], chance: random.Random, pool: list[str]) -> Body:
    """Return a body in which fields are exchanged, missing, there twice, or not asked for."""
    for name in names:
        others = [pair for pair in body if pair[0] != name]
        how = chance.random()
        if how < 0.08:
            body = others
        elif how < 0.16:
            body = [*body, (name, chance.choice(pool)), (name, chance.choice(pool))]
        elif how < 0.18:
            body = [*body, (f"{name}[]", chance.choice(pool)), (name + "-x", "1")]
        else:
            body = [*others, (name, chance.choice(pool))]
    return body


def bodies(form: Form, chance: random.Random, ids: list[str]) -> Iterator[tuple[Body, int]]:
    """Yield bodies with one thing wrong, then with many, and how many values were exchanged."""
    names = [name for name in form.fields if name != "csrfmiddlewaretoken"] or ["deed"]
    counted = [name for name in names if name.endswith("_FORMS")]
    rest = [name for name in names if name not in counted] or names
    for _ in range(ONE_WRONG * ROUNDS):
        yield spoilt(plain(form), [chance.choice(names)], chance, [*VALUES, *ids]), 1
    for number in range(MANY_WRONG * ROUNDS):
        some = [name for name in rest if chance.random() < chance.choice((0.3, 0.7, 1.0))] or rest
        pool = [*LIKELY, *ids] if number % 2 else [*VALUES, *LIKELY, *ids]
        yield spoilt(plain(form), some, chance, pool), len(some)
    for name in counted:
        yield spoilt(plain(form), [name], chance, ["1001", "-1", "99999999999", "x", "0"]), 1
    yield [*plain(form)[1:], (chance.choice(names), HUGE)], 1
    yield [(f"more{number}", "1") for number in range(1100)], 1
    yield [], len(names)


def coded(body: Body) -> bytes:
    """Return a body as a browser without manners sends it: halves of a pair go as they are."""
    return "&".join(
        f"{quote_plus(name.encode('utf-8', 'surrogatepass'))}"
        f"={quote_plus(value.encode('utf-8', 'surrogatepass'))}"
        for name, value in body
    ).encode()


def send(browser: Client, form: Form, body: Body, chance: random.Random, **how: Any) -> Any:
    """Send a body, as a form with files where the form has any."""
    if not form.files:
        return browser.post(
            form.action, coded(body), content_type="application/x-www-form-urlencoded", **how
        )
    sent: dict[str, Any] = {}
    for name, value in body:
        sent.setdefault(name, []).append(value.encode("utf-8", "replace").decode())
    content = chance.choice([b"", b"\0" * 50, b"name\nx\n", b"PK\3\4" + b"x" * 90, b"\xff\xfe"])
    sent |= {name: SimpleUploadedFile("list.csv", content) for name in form.files}
    return browser.post(form.action, sent, **how)


def said(body: Body) -> str:
    """Return a body for a failure, each value cut short."""
    return ascii([(name, value[:60]) for name, value in body])


def fault(route: str, response: Any, held: dict[str, str], before: int) -> str:
    """Say what is wrong with an answer, or nothing."""
    if response.status_code not in MAY_ANSWER:
        return f"status {response.status_code}"
    text = b"".join(response) if response.streaming else response.content
    if response.get("Content-Type", "").startswith("text/html"):
        shown = BROKEN.search(text.decode())
        if shown:
            return f"shows {shown[0]!r}"
    if response.status_code == 302 or route in WRITE_AND_STAY or writes() == before:
        return ""
    now = everything()
    return ", ".join(f"{name} is written" for name in held if now[name] != held[name])


def test_forged_bodies_are_refused_and_write_nothing(ground: Ground) -> None:
    ground.read_forms()
    browser = ground.browser(OWNER)
    held = everything()
    cookies = str(browser.cookies["sessionid"].value)
    # Rows of every kind have small keys; most of these are of another kind than is asked for.
    ids = [str(number) for number in range(1, 12)]
    values, faults, taken = 0, [], 0
    for route in posting():
        for form in forms_for(ground, route):
            chance = random.Random(f"{route} {len(form.fields)}")
            for body, count in bodies(form, chance, ids):
                values += count
                browser.cookies = SimpleCookie({"sessionid": cookies})
                with undone():
                    before = writes()
                    try:
                        response = send(browser, form, body, chance)
                        wrong = fault(route, response, held, before)
                        taken += response.status_code == 302
                    except Exception as broken:
                        wrong = f"{type(broken).__name__}: {str(broken)[:200]}"
                if wrong:
                    faults.append(f"{route}: {wrong}: {said(body)}")
    assert not faults, "\n".join(faults)
    assert values >= FEWEST_VALUES
    # Both happen, or the bodies would prove nothing.
    assert taken > 200


def test_every_form_was_found(ground: Ground) -> None:
    ground.read_forms()
    assert set(posting()) == {*ground.forms, *FORMS} - {""}
    assert all(name in ROUTES for name in ground.forms)
