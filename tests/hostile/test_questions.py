"""Questions in addresses: sorting, pages, filters and the rest with what nobody would type.

Whatever stands there, a page is answered as one, and what it shows is no more than before.
"""

from __future__ import annotations

import random
import re
from typing import Any
from urllib.parse import quote_plus

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from orders.models import Client as Buyer
from studio.roles import OWNER, VIEWER
from tests.hostile.ground import Ground, everything
from tests.hostile.nasties import DAYS, EMPTY, FORGED, LIKELY, NUMBERS, TOO_LONG, UNREADABLE

pytestmark = [pytest.mark.hostile, pytest.mark.django_db]

SEED = 20261201
ASKED = 4
# reliability bar, row 23: a page of a list has at most so many.
MOST_ROWS = 200
MAY_ANSWER = {200, 302, 400, 404, 405}
ALWAYS = ["sort", "page", "per_page", "q", "format", "words"]
# Names that views read though no form of this studio shows them.
ALSO = ["lot", "name", "sum", "prices", "weeks", "commission", "sheet", "post", "at", "source",
        "fibre", "place", "want", "key", "after", "quantity", "price", "clone", "by"]  # fmt: skip
INJECTED = [
    "name;DROP TABLE fibres_lot", "name' OR '1'='1", "-name\"", "1) UNION SELECT 1--", "name__gt",
    "lot__source__contact", "__class__", "pk", "-pk,name", "sources.name", "?", "(SELECT 1)",
    "name||''", "cost", "-price", "id", "*", "-", "--", "-" * 50, "movements__cost", "RANDOM()",
    "name\0", "%27", "sleep(10)", "1;--", "' AND 1=1 --", "\\'; --", "0 OR 1=1", "$gt", "%",
    "_" * 40, "%_%", "\\", "\\%", "[[:alpha:]]", "(?:a+)+$", "a" * 101,
]  # fmt: skip
POOL = [*EMPTY, *UNREADABLE, *NUMBERS, *DAYS, *FORGED, *TOO_LONG[:2], *LIKELY, *INJECTED]
# Orders that no column has, hidden ones of others included.
ORDERS = ["name;DROP TABLE fibres_lot", "1) UNION SELECT 1--", "name__gt", "lot__source__contact",
          "__class__", "pk", "-pk,name", "(SELECT 1)", "movements__cost", "RANDOM()", "name\0",
          "password"]  # fmt: skip
SORTED = ("lots", "makings", "commissions", "quotes", "sources", "people", "offers", "purchases")


def asked(names: list[str], chance: random.Random) -> str:
    """Return a question made of some of the names, some of them twice or as a list."""
    pairs = []
    for name in names:
        if chance.random() < 0.6:
            pairs.append((name, chance.choice(POOL)))
        if chance.random() < 0.1:
            pairs.append((chance.choice([name, f"{name}[]", f"{name}[0]", f"{name}__in"]), "1"))
    chance.shuffle(pairs)
    return "&".join(
        f"{quote_plus(name)}={quote_plus(value.encode('utf-8', 'surrogatepass'))}"
        for name, value in pairs
    )


def test_forged_questions_are_answered_as_pages(ground: Ground) -> None:
    ground.read_forms()
    browser, faults, values = ground.browser(OWNER), [], 0
    held = everything()
    for route, path in ground.addresses.items():
        if route.startswith("api"):
            # tests/orders/test_api.py asks these.
            continue
        chance = random.Random(f"{SEED} {route}")
        own = sorted(ground.names.get(route, set()) - set(ALWAYS))
        for _ in range(ASKED):
            question = asked([*ALWAYS, *own, *chance.sample(ALSO, 4)], chance)
            values += question.count("=")
            try:
                answer = browser.get(path, QUERY_STRING=question)
                if answer.streaming:
                    list(answer)
                if answer.status_code not in MAY_ANSWER:
                    faults.append(f"{route}: {answer.status_code}: {question[:300]}")
            except Exception as broken:
                faults.append(f"{route}: {type(broken).__name__} {broken}: {question[:300]}")
    assert not faults, "\n".join(faults)
    assert values > 4_000
    assert everything() == held


def test_forged_order_changes_nothing_that_is_asked(ground: Ground) -> None:
    """An order that no column has is passed over: the same questions, the same rows."""
    browser = ground.browser(OWNER)
    for route in SORTED:
        passes_over(browser, ground.addresses[route])


def passes_over(browser: Client, path: str) -> None:
    """Hold what a forged order shows and asks against the plain page."""
    browser.get(path)
    with CaptureQueriesContext(connection) as plain:
        rows = rows_of(browser.get(path))
    wanted = sorted(statements(plain))
    for forged in ORDERS:
        with CaptureQueriesContext(connection) as seen:
            answer = browser.get(path, {"sort": forged, "order_by": forged, "ordering": forged})
        assert rows_of(answer) == rows, forged
        assert sorted(statements(seen)) == wanted, forged


def statements(asked: CaptureQueriesContext) -> list[str]:
    """Return what was asked, without what names the time of day."""
    found = [query["sql"] for query in asked.captured_queries if query["sql"].startswith("SELECT")]
    return [re.sub(r"'\d{4}-\d\d-\d\d[^']*'", "day", sql) for sql in found]


def rows_of(answer: Any) -> list[str]:
    assert answer.status_code == 200
    return re.findall(r"<td[^>]*>(.*?)</td>", answer.content.decode(), re.DOTALL)


HIDDEN = ["price", "-price", "cost", "-cost", "contact", "worth", "amount", "minor_per_kg",
          "-minor_per_kg", "goods", "total"]  # fmt: skip


def test_viewer_cannot_sort_by_what_is_hidden(ground: Ground) -> None:
    """The order of rows would tell what the column hides."""
    browser = ground.browser(VIEWER)
    for route in ("offers", "purchases", "lots", "sources", "store", "sheets", "commissions"):
        path = ground.addresses[route]
        plain = rows_of(browser.get(path))
        for forged in HIDDEN:
            assert rows_of(browser.get(path, {"sort": forged})) == plain, (route, forged)


@pytest.mark.parametrize(
    "kind", ["exe", "csv\0", "CSV", "../csv", "html", "[]", "csv,xlsx", "json"]
)
def test_unknown_format_is_the_page(owner_client: Client, kind: str) -> None:
    answer = owner_client.get(reverse("lots"), {"format": kind})
    assert answer["Content-Type"].startswith("text/html")


def test_page_is_never_larger_than_it_may_be(owner_client: Client) -> None:
    Buyer.objects.bulk_create(Buyer(name=f"Client {number}") for number in range(205))
    for size in ("0", "-1", "201", "99999999", "1" * 400, "1e3", "２０", "x"):
        answer = owner_client.get(reverse("clients"), {"per_page": size})
        # Beside the rows, the headings and the sums.
        assert 0 < answer.content.decode().count("<tr") <= MOST_ROWS + 3, size
