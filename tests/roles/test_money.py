"""Money is left out where rows are read: nobody but the owner meets a figure of it anywhere."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator
from itertools import count

import openpyxl
import pytest
from django.apps import apps
from django.db.models import Field, Model
from django.test import Client
from django.urls import reverse

from fibres.models import Furnish
from studio.roles import HAND, OWNER, VIEWER
from tests.builders import make_studio, make_user, signed_in
from tests.roles.samples import address, routes
from tests.studio.pages import Page

pytestmark = [pytest.mark.roles, pytest.mark.django_db]

# Rows of one kind have one page between them; this many of each are looked at.
MOST_ALIKE = 2
# Nine digits that no date, mass or reference of the samples holds.
SEEDS = count(731_204_987, 1_000_003)
MARKS = re.compile(r"(?<=\d)[.,\u00a0\u202f ](?=\d)")


def money_columns() -> Iterator[tuple[type[Model], Field]]:
    """Yield each column that holds an amount: all are named by their minor units."""
    for model in apps.get_models():
        for field in model._meta.local_concrete_fields:
            if "minor" in field.name:
                yield model, field


# An amount that was worked out from the seeded ones, as the owner reads it.
AMOUNT = re.compile(r"(?:£|GBP)\s?\d+")
LONG_ENOUGH = 7
# Far fewer than there are, so that the search for them cannot come to look for nothing.
MANY = 50


def seed_money() -> tuple[dict[str, str], list[str]]:
    """Put a number of its own into each amount of each row; return them, and every address."""
    make_studio(currency="GBP")
    addresses = [address(name, pattern) for name, pattern in routes().items()]
    furnish = Furnish.objects.first()
    assert furnish
    furnish.additions.create(name="Chalk", kind="filler", dose="0.02")
    seeded = {}
    for model, field in money_columns():
        for row in model._base_manager.order_by("pk"):
            number = next(SEEDS)
            model._base_manager.filter(pk=row.pk).update(**{field.name: number})
            seeded[str(number)] = f"{model.__name__}.{field.name}"
    return seeded, addresses


def crawl(browser: Client, addresses: list[str]) -> dict[str, str]:
    """Return the words of each page and file that a person can reach by links or by address."""
    found: dict[str, str] = {}
    alike: Counter[str] = Counter()
    waiting = ["/", *addresses]
    while waiting:
        path = waiting.pop(0).partition("#")[0]
        # One question at a time: orders of orders of a list show nothing new, without end.
        if path in found or not path.startswith("/") or "&" in path:
            continue
        shape = re.sub(r"\d+", "0", path)
        alike[shape] += 1
        if alike[shape] > MOST_ALIKE:
            continue
        response = browser.get(path)
        found[path] = words_of(response)
        if response.get("Content-Type", "").startswith("text/html"):
            links = Page(response.content.decode()).all("a")
            waiting += [_joined(path, link.attrs.get("href", "")) for link in links]
    return found


def _joined(path: str, href: str) -> str:
    return path.partition("?")[0] + href if href.startswith("?") else href


def words_of(response) -> str:
    """Return what a page or file says, with no mark between the digits of a number."""
    content = b"".join(response) if response.streaming else response.content
    if content.startswith(b"PK"):
        sheets = openpyxl.load_workbook(io.BytesIO(content)).worksheets
        cells = [cell for sheet in sheets for row in sheet.values for cell in row]
        text = " ".join(str(cell) for cell in cells)
    else:
        text = content.decode()
    return MARKS.sub("", text)


def hits(pages: dict[str, str], seeded: dict[str, str]) -> set[str]:
    """Say which seeded amount stands on which page."""
    return {
        f"{what} on {path}"
        for path, text in pages.items()
        for number, what in seeded.items()
        if number in text
    }


def amounts(pages: dict[str, str]) -> set[str]:
    """Return every long figure of money on pages: costs, ranges, prices at several quantities."""
    found = {re.sub(r"\D", "", one) for text in pages.values() for one in AMOUNT.findall(text)}
    return {number for number in found if len(number) >= LONG_ENOUGH}


def test_no_page_or_file_shows_an_amount_to_anybody_but_the_owner():
    seeded, addresses = seed_money()
    owners = crawl(signed_in(make_user(OWNER)), addresses)
    assert {hit.partition(" ")[0] for hit in hits(owners, seeded)} == set(seeded.values())
    assert {path[-4:] for path in owners} >= {"=csv", "xlsx"}
    worked_out = amounts(owners)
    assert len(worked_out) > MANY
    for role in (HAND, VIEWER):
        pages = crawl(signed_in(make_user(role)), addresses)
        assert hits(pages, seeded) == set()
        assert {path for path, text in pages.items() if "£" in text} == set()
        assert {
            f"{number} on {path}"
            for path, text in pages.items()
            for number in worked_out.intersection(re.findall(r"\d+", text))
        } == set()


@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_no_panel_shows_an_amount_to(role: str):
    seeded, addresses = seed_money()
    browser = signed_in(make_user(role))
    answers = {}
    for path in set(addresses) - {reverse("log_out")}:
        asked = {name: str(value) for name, value in shown_in(browser, path).items()}
        answers[path] = words_of(browser.post(path, {**asked, "work_out": "1"}))
    assert hits(answers, seeded) == set()
    assert {path for path, text in answers.items() if "£" in text} == set()
    assert browser.get(reverse("store")).status_code == 200


def shown_in(browser: Client, path: str) -> dict[str, str]:
    """Return what the forms of a page would send as they stand."""
    response = browser.get(path)
    if not response.get("Content-Type", "").startswith("text/html"):
        return {}
    inputs = Page(response.content.decode()).all("input")
    return {one.attrs["name"]: one.attrs.get("value", "") for one in inputs if "name" in one.attrs}


@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_no_answer_of_the_search_shows_an_amount_to(role: str):
    seeded, addresses = seed_money()
    browser = signed_in(make_user(role))
    wanted = {"a", "lot", "paper", "Menus"} | {
        part for path in addresses for part in path.split("/") if re.fullmatch(r"[A-Z]+-\d+", part)
    } | set(seeded)  # fmt: skip
    found = {
        word: words_of(browser.get("/search/", {"q": word})).replace(word, "") for word in wanted
    }
    assert hits(found, seeded) == set()
    assert {word for word, text in found.items() if "£" in text} == set()
