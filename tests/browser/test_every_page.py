"""Every page in a real browser: nothing for axe to find, nothing on the console, nothing cut off.

Rules of axe-core for WCAG 2.0 to 2.2, A and AA, and its best practice.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth import get_user_model
from django.urls import reverse
from django.utils import timezone

from fibres import stocktaking
from fibres.models import (
    CountLine,
    Fibre,
    Furnish,
    Lot,
    Movement,
    Offer,
    Purchase,
    Source,
    Stocktake,
)
from orders import demo
from orders.models import Client, Commission, Delivery, Dryer, Making, Quote, Sheet
from studio import people
from studio.models import Mould, Vat
from tests.browser.screen import overhang
from tests.builders import make_delivery
from tests.roles.samples import ARGUMENTS, routes

pytestmark = pytest.mark.django_db(transaction=True)
ONLY_POSTS = 405
# Routes that only answer what is posted to them, or stand before the door.
NO_PAGE = {
    "log_out", "first_run", "log_in", "commission_move", "fibres_usual", "reorder_order",
    "reorder_look", "reorder_progress", "quote_issue", "data_out", "data_template",
    "data_progress", "data_whole_out",
    # For programs, in JSON.
    "api", "api_description", "api_snapshot", "api_store", "api_cover", "api_cover_one",
}  # fmt: skip
ROWS = {
    "client": Client, "commission": Commission, "fibre": Fibre, "furnish": Furnish, "lot": Lot,
    "making": Making, "mould": Mould, "movement": Movement, "offer": Offer,
    "person": get_user_model(), "purchase": Purchase, "sheet": Sheet, "source": Source,
    "stocktake": Stocktake, "countline": CountLine, "delivery": Delivery, "dryer": Dryer,
    "quote": Quote, "vat": Vat,
}  # fmt: skip


@pytest.fixture
def demo_owner(transactional_db: None) -> Any:
    owner = people.make_owner("demo owner", None)
    demo.make(timezone.localdate(), owner)
    stocktaking.begin(by=owner)
    make_delivery()
    return owner


def addresses() -> list[str]:
    """Return every page that can be read, with a row of the demo behind it."""
    found = []
    for route, pattern in routes().items():
        if route in NO_PAGE:
            continue
        wanted = pattern.pattern.converters
        if route in ARGUMENTS:
            found.append(reverse(route, kwargs=ARGUMENTS[route]()))
            continue
        row = ROWS[route.partition("_")[0]].objects.first() if wanted else None
        found.append(reverse(route, kwargs={name: getattr(row, name) for name in wanted}))
    return sorted(found)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_axe_finds_nothing_and_nothing_is_cut_off(
    visit: Any, demo_owner: Any, width: int, theme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    axe, found = Axe(), []
    page = visit("/", width=width, theme=theme, user=demo_owner)
    for address in addresses():
        answer = page.goto(visit.url + address)
        if answer.status == ONLY_POSTS:
            continue
        if answer.status != 200:
            found.append(f"{address}: status {answer.status}")
            continue
        for violation in axe.run(page).response["violations"]:
            nodes = [node["html"][:160] for node in violation["nodes"][:2]]
            found.append(f"{address}: {violation['id']}: {nodes}")
        if over := overhang(page):
            found.append(f"{address}: {over} px wider than the window")
    assert found == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/first-run/", "/log-in/", "/nowhere/"])
def test_axe_finds_nothing_before_the_door(
    visit: Any, transactional_db: None, path: str, theme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    if path != "/first-run/":
        get_user_model().objects.create_user("somebody")
    page = visit(path, width=360, theme=theme)
    visit.complaints[:] = [said for said in visit.complaints if "404" not in said]
    assert [violation["id"] for violation in Axe().run(page).response["violations"]] == []
