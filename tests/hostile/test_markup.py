"""Markup in every text that is kept: pages, prints and answers hold no element more for it.

Each page is read twice, with plain words and with markup in all columns of text; both have the
same elements with the same attributes, or something of the words became part of the page.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict, deque
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from django.apps import apps
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import models
from django.test import Client, override_settings
from django.urls import reverse

from studio import appendonly, background, tokens
from studio.files import desk
from studio.models import Entry
from studio.roles import OWNER
from tests.exchange import text_of
from tests.hostile.formreader import forms_of
from tests.hostile.ground import Ground

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

PAYLOADS = [
    "<zx>", '"><zx a>', "'><zx b>", '" onx="1', "' onx='1", "</p><zx>", "</td><zx>", "</a><zx>",
    "<zx/onx=1>", "<img src=x>", "<svg/onx=1>", "<script>1;", "</script>", "</title><zx>",
    "</textarea><zx>", "</select><zx>", "--><zx>", "<!--", "]]><zx>", "<zx", "&lt;zx&gt;",
    "javascript:zx()", "{{ zx }}", "<ZX\t>", "\uff1czx\uff1e", "<a href=x>", "<base href=x>",
]  # fmt: skip
# After so many only the place of a count, one short row, has not had each of them.
ROUNDS, ROUNDS_OF_COUNTS = 4, 8
# More would only make pages long: all payloads together.
LONG_ENOUGH = 300
# Columns that other things are found by, or that hold no words of a person.
NO_WORDS = {"ref", "digest", "key", "page", "password", "codename", "code", "subject", "figure",
            "before", "value", "low", "high", "email"}  # fmt: skip
NO_MODELS = {"Permission", "Group", "Counter", "ContentType", "Session"}
LISTS = ("?per_page=200",)
# Sentences that an issued quote or a working keeps, unlike the names of their parts.
SENTENCE = re.compile(r"\S+\s\S+")


class Shape(HTMLParser):
    """Every element with the names of its attributes, every comment, and where links lead."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: set[tuple[str, frozenset[str]]] = set()
        self.aims: set[str] = set()
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.add((tag, frozenset(name for name, _ in attrs)))
        self.aims |= {
            value or "" for name, value in attrs if name in {"href", "src", "action", "formaction"}
        }

    def handle_comment(self, data: str) -> None:
        self.found.add(("a comment", frozenset()))

    def handle_decl(self, decl: str) -> None:
        self.found.add((decl.casefold(), frozenset()))

    def handle_pi(self, data: str) -> None:
        self.found.add(("an instruction", frozenset()))

    unknown_decl = handle_decl


def columns() -> list[tuple[type[models.Model], models.Field[Any, Any]]]:
    """Return each column that holds words of a person."""
    return [
        (model, field)
        for model in apps.get_models()
        for field in model._meta.local_concrete_fields
        if model._meta.app_label in {"studio", "fibres", "orders", "auth"}
        and model.__name__ not in NO_MODELS
        and isinstance(field, models.CharField | models.TextField)
        and not field.choices
        and field.name not in NO_WORDS
    ]


class Words:
    """Hands out words for columns: as many payloads as fit, each column its own round of them."""

    def __init__(self, payloads: list[str]) -> None:
        self.turns: dict[str, deque[str]] = defaultdict(lambda: deque(payloads))
        self.given: dict[str, set[str]] = defaultdict(set)

    def take(self, column: str, room: int) -> str:
        """Return the next payloads of a column, as many as fit into its room."""
        turns, words = self.turns[column], ""
        while len(words + turns[0]) <= room and len(words) < LONG_ENOUGH:
            words += turns[0]
            self.given[column].add(turns[0])
            turns.rotate(-1)
        return words


def fill(words: Words) -> None:
    """Put words into every column of text of every row."""
    appendonly.remove()
    try:
        for model, field in columns():
            name = f"{model.__name__}.{field.name}"
            for row in model._base_manager.order_by("pk"):
                tail = f" {row.pk}" if field.unique or field.name == "name" else ""
                room = (field.max_length or 2000) - len(tail)
                text = words.take(name, room) + tail
                model._base_manager.filter(pk=row.pk).update(**{field.name: text})
        for model in apps.get_models():
            for field in model._meta.local_concrete_fields:
                if isinstance(field, models.JSONField) and model.__name__ != "StoredPlan":
                    _fill_json(model, field, words)
    finally:
        appendonly.install()


def _fill_json(model: Any, field: Any, words: Words) -> None:
    for row in model._base_manager.exclude(**{field.name: None}):
        value = _with_words(getattr(row, field.name), words, f"{model.__name__}.{field.name}")
        model._base_manager.filter(pk=row.pk).update(**{field.name: value})


def _with_words(value: Any, words: Words, name: str) -> Any:
    if isinstance(value, dict):
        return {key: _with_words(one, words, name) for key, one in value.items()}
    if isinstance(value, list):
        return [_with_words(one, words, name) for one in value]
    return words.take(name, 120) if isinstance(value, str) and SENTENCE.search(value) else value


def read(browser: Client, paths: list[str]) -> tuple[dict[str, Shape], list[str]]:
    """Return the shape of each page, and what is wrong with answers that are none."""
    shapes, faults = {}, []
    for path in paths:
        answer = browser.get(path, follow=True)
        kind = answer.get("Content-Type", "").partition(";")[0]
        if kind == "text/html":
            shapes[path] = Shape(answer.content.decode())
        elif kind == "application/json":
            json.loads(answer.content)
        elif not answer.streaming and b"<zx" in answer.content.lower() and kind != "text/csv":
            faults.append(f"{path} hands out {kind} with markup")
        if answer.status_code >= 500:
            faults.append(f"{path}: {answer.status_code}")
    return shapes, faults


def test_markup_in_every_text_stays_text(ground: Ground) -> None:
    browser = ground.browser(OWNER)
    paths = [
        path
        for route, path in ground.addresses.items()
        if route not in {"log_out", "api_description"}
    ]
    paths += [f"{path}{LISTS[0]}" for path in paths if path.count("/") == 2]
    paths += [f"{reverse('search')}?q=zx", f"{reverse('search')}?q=%3Czx%3E", *ground.also]
    fill(Words(["plain zx words", "other zx words", "words zx"]))
    plain, _ = read(browser, paths)
    known = set().union(*(shape.found for shape in plain.values()))
    hostile = Words(PAYLOADS)
    faults: list[str] = []
    for number in range(ROUNDS_OF_COUNTS):
        fill(hostile)
        if number == ROUNDS:
            assert set(lacking(hostile)) <= {"Stocktake.place"}
            paths = [path for path in paths if "stocktakes" in path]
        shapes, wrong = read(browser, paths)
        faults += wrong
        for path, shape in shapes.items():
            faults += [f"{path} has <{tag} {sorted(names)}>" for tag, names in shape.found - known]
            faults += [
                f"{path} leads to {aim}" for aim in shape.aims if aim.startswith("javascript")
            ]
        if lacking(hostile) == {}:
            break
    assert not faults, "\n".join(sorted(set(faults)))
    assert lacking(hostile) == {}
    assert len(PAYLOADS) >= 25
    assert len(hostile.given) > 30


def lacking(words: Words) -> dict[str, set[str]]:
    """Say which column of a row has not had which payload yet."""
    wanted = {
        f"{model.__name__}.{field.name}"
        for model, field in columns()
        if model._base_manager.exists()
    }
    return {name: rest for name in wanted if (rest := set(PAYLOADS) - words.given[name])}


# --- names of files that are handed in ----------------------------------------------------------

NAMES = [
    "../../../../tmp/evil.csv", "..\\..\\evil.csv", "/etc/passwd", "C:\\boot.csv", "file:///x.csv",
    "<zx>.csv", '"><zx a>.csv', "' onx='1.csv", "</title><zx>.csv", "<script>1;.csv",
    "x" * 300 + ".csv",
    "a\u202ecsv.exe", "\u2066x.csv", "a\x1b[31m.csv", "%00.csv", "%2e%2e%2fevil.csv", "-rf.csv",
    ".csv", "con.csv", "a;b|c&d.csv", "$(id).csv", "`id`.csv", "é" * 100 + ".csv", "state.json",
    "claim", "file", ". .csv", "\ud83e.csv".encode("utf-8", "replace").decode(), "{{ zx }}.csv",
]  # fmt: skip


def everything_under(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def own_house(tmp_path: Path) -> Iterator[None]:
    """Keep data in a folder beside which nobody else writes."""
    folder = tmp_path / "house" / "data"
    folder.mkdir(parents=True)
    with override_settings(DATA_DIR=folder):
        yield


@pytest.mark.usefixtures("own_house")
@pytest.mark.parametrize("name", NAMES, ids=ascii)
def test_name_of_a_file_is_shown_and_never_used(owner_client: Client, name: str) -> None:
    page = reverse("data_bring", args=["clients"])
    plain = Shape(owner_client.get(page).content.decode()).found
    [form] = [one for one in forms_of(owner_client.get(page).content.decode(), page) if one.files]
    sent = {field: values[0] for field, values in form.fields.items() if values}
    before = everything_under(settings.DATA_DIR)
    around = set(settings.DATA_DIR.parent.iterdir())
    file = SimpleUploadedFile("plain.csv", text_of({"name": "Quay Print Room"}))
    # Past what the test's own request would do to it.
    file._name = name
    with patch.object(background, "in_background", lambda work, name: work()):
        answer = owner_client.post(page, {**sent, "file": file}, follow=True)
    assert answer.status_code == 200
    text = answer.content.decode()
    shape = Shape(text).found - plain
    assert not {tag for tag, names in shape if tag in {"zx", "script", "img"} or "onx" in names}
    assert "<zx" not in text
    new = everything_under(settings.DATA_DIR) - before
    assert {path.partition("/")[0] for path in new} <= {desk.FOLDER}
    assert {Path(path).name for path in new} <= {"file", "state.json", "claim"}
    assert set(settings.DATA_DIR.parent.iterdir()) <= around | {settings.DATA_DIR}
    assert not any(sign in text for sign in "\u202e\u2066\x1b\0")
    told = [state for path in new if path.endswith("state.json")
            for state in [json.loads((settings.DATA_DIR / path).read_text("utf-8"))]]  # fmt: skip
    assert all(len(state["name"]) <= 60 and state["name"].isprintable() for state in told)


def test_page_says_who_made_a_token_for_what_as_text(ground: Ground) -> None:
    """A name of a token stands on two pages and in the book, and in no part of a page."""
    person = ground.people[OWNER]
    tokens.make(person, "<zx>\"'><img src=x onx=1>")
    assert "<zx>" in Entry.objects.latest("pk").said
    for route in ("you_tokens", "people"):
        text = ground.browser(OWNER).get(reverse(route)).content.decode()
        assert "&lt;zx&gt;" in text
        assert "<zx" not in text
