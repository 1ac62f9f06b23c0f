"""Every route, four people, two methods: who gets in is what the table of needs says."""

from __future__ import annotations

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from studio.lists import ListPage
from studio.roles import HAND, NEEDS, OWNER, PUBLIC, VIEWER, need_of
from tests.builders import make_user, signed_in
from tests.roles.samples import POSTING_NEEDS, address, routes

pytestmark = [pytest.mark.roles, pytest.mark.django_db]

ANONYMOUS = ""
ACTORS = (ANONYMOUS, VIEWER, HAND, OWNER)
ROUTES = routes()
CHANGING = {
    "studio",
    "vat",
    "dryer",
    "dryers",
    "mould",
    "moulds",
    "people",
    "person",
    "offer",
}
ACTS = {
    "data": "export",
    "data_out": "export",
    "data_bring": "studio.change",
    "data_template": "studio.change",
    "data_handed": "studio.change",
    "data_progress": "studio.change",
    "data_whole": "studio.change",
    "data_whole_out": "studio.change",
    "first_steps_away": "studio.change",
    "making_repeat": "makings.change",
    "making_report": "makings.change",
    "thanks": "store.receive",
    "client": "clients.see",
    "clients": "clients.see",
    "offers_compare": "money",
    "lot_receive": "store.receive",
    "lot_test": "store.receive",
    "scrap_log": "store.receive",
    "lot_take": "store.take",
    "countline": "store.count",
    "stocktake_new": "store.count",
    "stocktake_add": "store.count",
    "stocktake_post": "store.count",
    "stocktake_give_up": "store.count",
    "delivery_new": "store.take",
    "delivery_stock": "store.take",
    "delivery_take_back": "store.correct",
    "sheets_count": "store.take",
    "sheets_spoil": "store.take",
    "lot_edit": "store.correct",
    "lot_close": "store.correct",
    "movement_correct": "store.correct",
    "making_give_up": "makings.change",
    "purchase_order": "purchases.change",
    "purchase_receive": "store.receive",
    "purchase_expect": "purchases.change",
    "learned_accept": "studio.change",
    "making_start": "makings.change",
    "making_tap": "makings.change",
    "making_issue": "makings.change",
    "making_issue_back": "makings.change",
    "making_spend": "makings.change",
    "making_dose": "makings.change",
    "making_trial": "makings.change",
    "making_trial_back": "makings.change",
    "making_heel": "makings.change",
    "making_broke": "makings.change",
    "making_finish": "makings.change",
    "sheets_spoilt_back": "store.correct",
    "source_card": "store.receive",
    "reorder_look": "purchases.change",
    "reorder_order": "purchases.change",
    "reorder_progress": "money",
    "quotes": "money",
    "quote": "money",
    "quote_issue": "orders.change",
    "store_value": "money",
    # One's own, and no other.
    "you_token_close": "read",
    "quote_accept": "orders.change",
    "quote_decline": "orders.change",
    "quote_reissue": "orders.change",
}


def test_only_the_door_is_public():
    public = {name for name, pattern in ROUTES.items() if need_of(pattern.callback) == PUBLIC}
    assert public == {"log_in", "log_out", "first_run", "api_description"}


def test_every_route_has_a_name_of_its_own():
    from studio.checks import every_pattern

    names = [pattern.name for pattern in every_pattern()]
    assert all(names)
    assert len(names) == len(set(names))


@pytest.mark.parametrize("route", ROUTES)
def test_every_route_declares_a_need_that_is_in_the_table(route: str):
    assert need_of(ROUTES[route].callback) in {*NEEDS, PUBLIC}


@pytest.mark.parametrize("route", ROUTES)
def test_what_changes_a_row_takes_more_than_reading(route: str):
    need = need_of(ROUTES[route].callback)
    if route in ACTS:
        assert need == ACTS[route]
    elif route.endswith(("_new", "_edit", "_close", "_move", "_usual")) or route in CHANGING:
        assert need.endswith(".change")
    else:
        assert need in {"read", PUBLIC}, f"Say in this test what {route} is for."


@pytest.mark.parametrize("method", ["GET", "POST"])
@pytest.mark.parametrize("actor", ACTORS, ids=lambda actor: actor or "anonymous")
@pytest.mark.parametrize("route", ROUTES)
def test_a_route_lets_in_whom_the_table_says(route: str, actor: str, method: str):
    make_user(OWNER)
    browser = signed_in(make_user(actor)) if actor else Client()
    response = browser.generic(method, address(route, ROUTES[route]))
    if response.streaming:
        # A server reads an answer to its end and closes it.
        list(response)
    need = need_of(ROUTES[route].callback)
    if method == "POST":
        need = POSTING_NEEDS.get(route, need)

    wanted = expected(need, actor)
    if route.startswith("api") and need != PUBLIC:
        # A session does not count there; tests/orders/test_api.py asks with tokens.
        wanted = "asked for a token"
    assert outcome(response) == wanted, response.status_code


LISTS = {
    name: pattern.callback.view_class
    for name, pattern in ROUTES.items()
    if issubclass(getattr(pattern.callback, "view_class", object), ListPage)
}


def test_which_lists_are_taken_along_by_whom_is_kept_here():
    """The one file of the viewer is stock; reliability.md, section 5."""
    assert {name for name, view in LISTS.items() if view.export_need == "export.stock"} == {"lots"}
    assert {name: view.export_need for name, view in LISTS.items() if "." in view.export_need} == {
        "lots": "export.stock",
        "clients": "orders.change",
        "commissions": "orders.change",
    }


@pytest.mark.parametrize("actor", [VIEWER, HAND, OWNER])
@pytest.mark.parametrize("route", LISTS)
def test_a_list_is_taken_along_by_whom_the_table_says(route: str, actor: str):
    response = signed_in(make_user(actor)).get(address(route, ROUTES[route]), {"format": "csv"})
    seen = actor in NEEDS[need_of(ROUTES[route].callback)]
    taken = seen and actor in NEEDS[LISTS[route].export_need]
    assert outcome(response) == ("in" if taken else "refused")


def expected(need: str, actor: str) -> str:
    """Return what the table of needs says becomes of a request."""
    if need == PUBLIC:
        return "in"
    if actor == ANONYMOUS:
        return "led to the log-in"
    return "in" if actor in NEEDS[need] else "refused"


def outcome(response: HttpResponse) -> str:
    """Word what became of a request."""
    to_log_in = response.status_code == 302 and response["Location"].startswith(
        reverse("log_in") + "?next="
    )
    if to_log_in:
        return "led to the log-in"
    if response.status_code == 403:
        return "refused"
    if response.status_code == 401:
        return "asked for a token"
    return "broken" if response.status_code >= 500 else "in"


def test_somebody_without_a_role_reads_nothing():
    browser = signed_in(make_user(""))
    response = browser.get(reverse("studio"))
    assert outcome(response) == "refused"
