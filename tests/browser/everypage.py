"""Every page that can be read, with a row of the demo behind it, and what axe finds on it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

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
from tests.builders import make_delivery
from tests.roles.samples import ARGUMENTS, routes

ONLY_POSTS = 405
# Routes that only answer what is posted to them, or stand before the door.
NO_PAGE = {
    "log_out", "first_run", "log_in", "commission_move", "fibres_usual", "reorder_order",
    "reorder_look", "reorder_progress", "quote_issue", "data_out", "data_template",
    "data_progress", "data_whole_out", "first_steps_away",
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


def make_demo() -> Any:
    """Write the demo studio, with a stocktake begun and a parcel sent; return its owner."""
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


def pages(page: Any, url: str) -> Iterator[tuple[str, str]]:
    """Open one page after another; yield its address, and what is wrong where it does not open."""
    for address in addresses():
        answer = page.goto(url + address)
        if answer.status == ONLY_POSTS:
            continue
        yield address, "" if answer.status == 200 else f"{address}: status {answer.status}"


def violations(page: Any) -> list[str]:
    """Return what breaks a rule of axe-core: WCAG 2.0 to 2.2, A and AA, and best practice."""
    from axe_playwright_python.sync_playwright import Axe

    # The rule for the least size of what is pressed, new in WCAG 2.2, is off unless asked for.
    told = Axe().run(page, options={"rules": {"target-size": {"enabled": True}}}).response
    return [
        f"{found['id']}: {[node['html'][:160] for node in found['nodes'][:2]]}"
        for found in told["violations"]
    ]
