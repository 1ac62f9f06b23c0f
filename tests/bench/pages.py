"""What the pages of a studio ask of its database and how long they take, beside a bare page.

``python -m tests.bench.pages`` prints a table for the studio that ``HALFSTUFF_DATA`` names; names
of pages after it keep it to those. Each page is asked for by a person who may see everything (one
named "bench" where there is none), once to fill what a process keeps for itself, once to count,
and then as often as ``--requests`` says, or for as long as ``--seconds``. Of the times, what 95 of
100 stay under is told as a multiple of that of a view which returns a constant and goes through
the same middleware. ``--peak ADDRESS`` asks for one page alone and tells the memory that it took.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import tempfile
import time
import tracemalloc
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.contrib.auth import get_user_model  # noqa: E402
from django.db import connection  # noqa: E402
from django.db.backends.utils import CursorWrapper  # noqa: E402
from django.http import HttpResponse  # noqa: E402
from django.test import Client as Browser  # noqa: E402
from django.urls import include, path, reverse  # noqa: E402

from fibres.models import Fibre, Furnish, Lot, Purchase, Source  # noqa: E402
from orders import reordering  # noqa: E402
from orders.models import Client, Commission, Making  # noqa: E402
from studio import people  # noqa: E402
from studio.files.whole import write_studio  # noqa: E402
from studio.roles import needs  # noqa: E402
from tests.bench.measure import KB_IN_A_MB, peak_kb  # noqa: E402
from tests.builders import signed_in  # noqa: E402

BARE, WHOLE = "/bare/", "the whole studio"
REQUESTS, SECONDS = 20, 20.0
SHARE = 0.95
LISTS = (
    "today", "store", "store_value", "lots", "labels", "fibres", "sources", "offers", "thanks",
    "purchases", "furnishes", "stocktakes", "commissions", "clients", "sheets", "sheets_in_hand",
    "sheets_spoilt", "makings", "deliveries", "quotes", "learned", "reorder", "bench", "data",
    "lot_receive", "scrap_log", "purchase_new", "stocktake_new", "commission_new", "making_new",
    "quote_new",
)  # fmt: skip
ONES = (Fibre, Source, Purchase, Furnish, Commission, Client, Making)


@needs("read")
def bare(request: Any) -> HttpResponse:
    """Return a constant: what every page takes at the least."""
    return HttpResponse("Halfstuff")


urlpatterns = [path(BARE.strip("/") + "/", bare), path("", include("studio.urls"))]


@dataclass(frozen=True)
class Page:
    """What one page came to; ``asked`` pairs each statement with the rows that it gave."""

    name: str
    address: str
    kilobytes: float
    times_bare: float
    requests: int
    asked: list[tuple[str, int]]

    @property
    def rows(self) -> int:
        return sum(rows for _, rows in self.asked)


def addresses() -> dict[str, str]:
    """Return where every list is, and one of each thing: of lots the first, with a long book."""
    found = {name: reverse(name) for name in LISTS}
    found["search"] = f"{reverse('search')}?q=F01"
    found["lots, 200 a page"] = f"{reverse('lots')}?per_page=200"
    lots = Lot.objects.order_by("pk")
    for name, lot in (("lot, long book", lots.first()), ("lot", lots.last())):
        found[name] = lot.get_absolute_url()
    commission = Commission.objects.order_by("pk").first()
    for model in ONES:
        found[str(model._meta.verbose_name)] = (
            model.objects.order_by("pk").first().get_absolute_url()
        )
    found["sheet"] = commission.sheet.get_absolute_url()
    found["commission_edit"] = reverse("commission_edit", args=[commission.ref])
    return found


def browser() -> Browser:
    """Return a client through which somebody is signed in who may see everything."""
    settings.ALLOWED_HOSTS.append("testserver")
    settings.ROOT_URLCONF = __name__
    owners = get_user_model().objects.filter(is_superuser=True, is_active=True)
    return signed_in(owners.first() or people.make_owner("bench", uuid.uuid4().hex))


def measured(client: Browser, name: str, address: str, most: int, seconds: float) -> Page:
    """Ask for a page until enough is known of it."""
    ask(client, address)
    with asked_of_the_database() as asked:
        size = ask(client, address)
    times: list[float] = []
    bare_times: list[float] = []
    # A bare page after each, so that whatever else the machine does slows both.
    while len(times) < most and sum(times) < seconds:
        times.append(seconds_of(client, address))
        bare_times.append(seconds_of(client, BARE))
    ratio = p95(times) / p95(bare_times)
    return Page(name, address, size / 1024, ratio, len(times), [tuple(one) for one in asked])


def ask(client: Browser, address: str) -> int:
    """Read an answer to its end and keep none of it; return its bytes."""
    answer = client.get(address)
    if answer.status_code != 200:
        raise SystemExit(f"{address} answers {answer.status_code}.")
    parts = answer.streaming_content if answer.streaming else [answer.content]
    return sum(map(len, parts))


def seconds_of(client: Browser, address: str) -> float:
    """Return how long one answer took."""
    begun = time.perf_counter()
    ask(client, address)
    return time.perf_counter() - begun


def p95(times: list[float]) -> float:
    """Return what 95 of 100 stay under, by nearest rank."""
    return sorted(times)[math.ceil(SHARE * len(times)) - 1]


@contextmanager
def asked_of_the_database() -> Iterator[list[list[Any]]]:
    """Give a list that fills with every statement and how many rows were fetched for it."""
    asked: list[list[Any]] = []

    class Counted(CursorWrapper):
        def execute(self, sql: Any, params: Any = None) -> Any:
            self.told = [str(sql), 0]
            asked.append(self.told)
            return super().execute(sql, params)

        def fetchone(self) -> Any:
            row = self.cursor.fetchone()
            self.told[1] += row is not None
            return row

        def fetchmany(self, *size: int) -> Any:
            return self._all(self.cursor.fetchmany(*size))

        def fetchall(self) -> Any:
            return self._all(self.cursor.fetchall())

        def _all(self, rows: Any) -> Any:
            self.told[1] += len(rows)
            return rows

    connection.make_cursor = lambda cursor: Counted(cursor, connection)
    try:
        yield asked
    finally:
        del connection.make_cursor


def table(pages: list[Page]) -> str:
    """Word the pages, one to a line."""
    head = ("page", "statements", "rows", "kB", "x bare", "requests")
    rows = [
        (
            page.name,
            len(page.asked),
            page.rows,
            round(page.kilobytes),
            f"{page.times_bare:.1f}",
            page.requests,
        )
        for page in pages
    ]
    return "\n".join(
        f"{name:<18}" + "".join(f"{cell!s:>11}" for cell in cells)
        for name, *cells in [head, *rows]
    )


def write_whole() -> int:
    """Write the file of the whole studio, which a page hands out only after a password."""
    with tempfile.TemporaryFile() as file:
        write_studio(file)
        return file.tell()


def peak(address: str, *, of_heap: bool) -> dict[str, float]:
    """Ask for one page; return the most that the process held, and Python for the page alone."""
    client = browser()
    ask(client, BARE)
    if of_heap:
        tracemalloc.start()
    size = write_whole() if address == WHOLE else ask(client, address)
    heap = tracemalloc.get_traced_memory()[1] if of_heap else 0
    return {
        "bytes": size,
        "heap_mb": heap / KB_IN_A_MB**2,
        "process_mb": peak_kb() / KB_IN_A_MB,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description="Time the pages of a studio beside a bare one.")
    parser.add_argument("names", nargs="*", help="pages to keep to; all if left out")
    parser.add_argument("--requests", type=int, default=REQUESTS)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument(
        "--peak", metavar="ADDRESS", help="ask for this alone; tell memory as JSON"
    )
    parser.add_argument("--heap", action="store_true", help="with --peak, what Python held for it")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    if asked.peak:
        print(json.dumps(peak(asked.peak, of_heap=asked.heap)))  # noqa: T201
        return
    # Whether a plan is kept hangs on how long it took, and with it what is asked next time.
    reordering.QUICK_SECONDS = math.inf
    client = browser()
    ask(client, BARE)
    chosen = {
        name: address for name, address in addresses().items() if name in (asked.names or [name])
    }
    pages = []
    for name, address in chosen.items():
        pages.append(measured(client, name, address, asked.requests, asked.seconds))
        if not asked.json:
            lines = table(pages).splitlines()
            print(*(lines if len(pages) == 1 else lines[-1:]), sep="\n", flush=True)  # noqa: T201
    if asked.json:
        json.dump([asdict(page) for page in pages], sys.stdout)


if __name__ == "__main__":
    main()
