"""Every page says how its figures are worked out: formula, source, and a figure of this very page.

The pages are those of the invented studio, each with a row behind it. One that shows no figure of
its own stands in ``WITHOUT`` with the reason.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, reverse

from orders.makings import log
from tests.browser.everypage import NO_PAGE, ONLY_POSTS, ROWS, make_demo
from tests.builders import (
    KG,
    make_commission,
    make_fibre,
    make_finished,
    make_lot,
    make_making,
    signed_in,
)
from tests.roles.samples import ARGUMENTS, address, routes
from tests.worked import section_of

pytestmark = pytest.mark.django_db

QUESTION = "a question: is it to be closed, dropped or taken back?"
NAMES = "names, words and passwords alone"
BLANKS = "paper to write on, or codes to scan: its figures are not shown"
CHOICE = "a choice of what to go on with; the next page has the figures"
WITHOUT: dict[str, str] = {
    **dict.fromkeys(
        (
            "client_close", "commission_move", "delivery_take_back", "dryer_close", "fibre_close",
            "furnish_close", "lot_close", "making_give_up", "mould_close", "offer_close",
            "people_token_close", "purchase_close", "quote_decline", "sheet_close",
            "source_close", "stocktake_give_up", "vat_close", "you_token_close",
        ),
        QUESTION,
    ),
    **dict.fromkeys(
        (
            "client_edit", "client_new", "data_bring", "making_report", "people", "person",
            "person_new", "words", "you_password", "you_tokens",
        ),
        NAMES,
    ),
    **dict.fromkeys(("labels", "lot_label", "stocktake_sheet"), BLANKS),
    **dict.fromkeys(
        (
            "data", "data_whole", "fibres_usual", "first_steps", "purchase_new", "stocktake_add",
            "stocktake_new",
        ),
        CHOICE,
    ),
    "search": "how many were found, and nothing is reckoned",
}  # fmt: skip
# Nothing has been entered, asked or weighed on these yet: they say the rule, with no figure.
RULE_ALONE = {
    "commission_new", "data_handed", "dryer_new", "fibre_new", "furnish_new", "lot_receive",
    "making_dose", "making_heel", "making_issue", "making_new", "making_spend", "mould_new",
    "offer_new", "offers_compare", "quote_new", "sheet_new", "sheets_spoilt",
    "source_new", "stocktake", "stocktake_post", "stocktakes", "vat_new", "you",
}  # fmt: skip
# What only leads on to another page, whatever row it is asked with.
LEADS_ON = {"making_issue_back", "making_start", "making_tap", "making_trial_back"}


def at_the_vat() -> dict[str, str]:
    """Return how a making is named that has been started, with fibre weighed out for it."""
    making = make_making()
    log.start(making, by=None)
    log.issue(making, make_lot(), as_is_mg=KG, by=None)
    log.note_broke(making, as_is_mg=KG // 10, moisture=Decimal("0.8"), fibre=make_fibre(), by=None)
    return {"ref": making.ref}


def waited_for() -> dict[str, str]:
    """Return how a commission is named of which sheets lie in hand."""
    commission = make_commission()
    make_finished(commission)
    return {"ref": commission.ref}


# Where a row of the demo, or a usual one, would lead on to another page.
OTHER_ROWS: dict[str, Callable[[], dict[str, str]]] = {
    **dict.fromkeys(
        (
            "making_broke", "making_dose", "making_finish", "making_heel", "making_issue",
            "making_log", "making_spend", "making_trial",
        ),
        at_the_vat,
    ),
    "delivery_new": waited_for,
    "making_repeat": lambda: {"ref": make_finished().ref},
}  # fmt: skip

VALUE = re.compile(r"<td>(.*?)</td>", re.DOTALL)
MOST = 5


def of_the_demo(route: str, pattern: URLPattern) -> str:
    """Return an address of a route with a row of the demo behind it, else of a row made for it."""
    if route in OTHER_ROWS:
        return reverse(route, kwargs=OTHER_ROWS[route]())
    wanted = pattern.pattern.converters
    model = ROWS.get(route.partition("_")[0])
    if route in ARGUMENTS or not wanted or model is None:
        return address(route, pattern)
    row = model.objects.first()
    return reverse(route, kwargs={name: getattr(row, name) for name in wanted})


def page_of(browser: Client, route: str, pattern: URLPattern) -> HttpResponse:
    """Return the page of a route, by a row of the demo or, where that leads on, by a new one."""
    answer = browser.get(of_the_demo(route, pattern))
    return answer if answer.status_code != 302 else browser.get(address(route, pattern))


def faults_of(html: str) -> list[str]:
    """Return what is missing from how a page says that its figures are worked out."""
    section = section_of(html)
    if not section:
        return ["nothing is worked out"]
    elsewhere, faults = unescape(html.replace(section, "")), []
    parts = section.count("<details")
    if not 1 <= parts <= MOST:
        faults.append(f"{parts} figures taken apart")
    for words in ('<p class="formula">', '<p class="quiet source">'):
        said = re.findall(re.escape(words) + r"(.*?)</p>", section, re.DOTALL)
        if len(said) != parts or any(not one.strip().endswith(".") for one in said):
            faults.append(f"a sentence is missing or has no end: {words}")
    values = [unescape(value).strip() for value in VALUE.findall(section)]
    if values and not any(_stands(value, elsewhere) for value in values):
        faults.append(f"none of {values} stands on the page itself")
    return faults


def _stands(value: str, text: str) -> bool:
    """Tell whether a figure is in the text as it is, or without its unit, as in a column."""
    number = value.partition("\u00a0")[0].lstrip("£$€+−")
    typed = f'value="{number}' in text
    return typed or value in text or (len(number) > 2 and number in text)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return what is asked of the database while a page says how its figures come about."""
    queries: list[str] = []

    def counted(explain: Callable[..., Any]) -> Callable[..., Any]:
        def explained(self: Any, shown: Any) -> Any:
            with CaptureQueriesContext(connection) as captured:
                found = list(explain(self, shown))
            queries.extend(f"{type(self).__name__}: {one['sql'][:200]}" for one in captured)
            return found

        return explained

    views = (getattr(pattern.callback, "view_class", None) for pattern in routes().values())
    for view in {view for view in views if hasattr(view, "explain")}:
        monkeypatch.setattr(view, "explain", counted(view.explain))
    return queries


def test_every_page_says_how_its_figures_are_worked_out(asked: list[str]) -> None:
    browser, faults = signed_in(make_demo()), []
    for route, pattern in routes().items():
        if route in NO_PAGE or route in LEADS_ON:
            continue
        answer = page_of(browser, route, pattern)
        if answer.status_code == ONLY_POSTS:
            continue
        if answer.status_code != 200:
            faults.append(f"{route}: status {answer.status_code}")
            continue
        html = answer.content.decode()
        if route in WITHOUT:
            if section_of(html):
                faults.append(f"{route}: has figures after all, {WITHOUT[route]}")
            continue
        faults += [f"{route}: {fault}" for fault in faults_of(html)]
        if route not in RULE_ALONE and not VALUE.search(section_of(html)):
            faults.append(f"{route}: no figure of the page is named")
    assert not faults, "\n".join(faults)
    # What a page says of its figures stands on what it has read already.
    assert not asked, "\n".join(asked)


def test_only_pages_that_there_are_stand_in_the_lists() -> None:
    assert {*WITHOUT, *RULE_ALONE, *LEADS_ON, *OTHER_ROWS} <= set(routes())
    assert not LEADS_ON & {*WITHOUT, *OTHER_ROWS}
    assert not RULE_ALONE & {*WITHOUT, *LEADS_ON}
