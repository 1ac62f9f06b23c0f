"""Pages of a hundredth of the whole size beside a thousandth: what grows with the rows, and how.

The whole size is 100 000 lots, 1 000 000 movements and 10 000 commissions: with
``HALFSTUFF_LARGEST_BENCH=1``, or a studio filled once and ``python -m tests.bench.pages``. Times
are told as multiples of a bare page and judged by nobody.
"""

from __future__ import annotations

import os

import pytest

from tests.bench import pages
from tests.bench.scaled import emptied, filled, heap_mb, pages_of

FIBRES = 10
SMALL = {"lots": 100, "commissions": 10, "movements": 1_000, "fibres": FIBRES}
LARGE = {"lots": 1_000, "commissions": 100, "movements": 10_000, "fibres": FIBRES}
WHOLE = {"lots": 100_000, "commissions": 10_000, "movements": 1_000_000, "fibres": 50}
# Cover follows from every lot and every promise, book costs from the whole ledger.
READ_ALL = {
    "today", "store", "store_value", "commissions", "commission", "commission_new",
    "commission_edit", "making", "making_new", "client", "sheet", "reorder", "learned", "source",
    "lot, long book",
}  # fmt: skip
# A list of few rows in the small studio is a whole page in the large one: each row brings others.
MORE_ON_A_PAGE = 110
# Both are several portions of 2000 rows; the rows between them are three times as much and more.
FEWER, MORE = ({"lots": lots, "commissions": 10} for lots in (3_000, 9_000))
MOST_GROWTH_MB = 2
FILES = {
    "lots": "/lots/?format=csv",
    "lots to bring in again": "/studio/data/lots/out/",
    "whole studio": pages.WHOLE,
}


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    return emptied(tmp_path_factory.mktemp("scale") / "empty")


@pytest.fixture(scope="module")
def small_pages(empty):
    return pages_of(filled(empty, **SMALL), requests=1)


@pytest.fixture(scope="module")
def large_pages(empty):
    return pages_of(filled(empty, **LARGE), requests=pages.REQUESTS)


@pytest.fixture(scope="module")
def lots_in_store(empty):
    return [filled(empty, **sizes) for sizes in (FEWER, MORE)]


def test_no_page_asks_more_often_of_more_rows(small_pages, large_pages):
    def asked(found):
        return {name: len(page.asked) for name, page in found.items()}

    assert asked(large_pages) == asked(small_pages)


def test_only_what_plans_or_proves_reads_more_of_more_rows(small_pages, large_pages):
    grown = {
        name
        for name, page in large_pages.items()
        if page.rows > small_pages[name].rows + MORE_ON_A_PAGE
    }
    assert grown <= READ_ALL


def test_what_is_in_store_is_added_up_by_the_database(small_pages, large_pages):
    for name in ("store", "fibres"):
        small, large = (sums_of(found[name]) for found in (small_pages, large_pages))
        assert small == large
    assert large_pages["fibres"].rows == small_pages["fibres"].rows


def sums_of(page):
    """Return how many rows came of the one statement that adds up what each fibre holds."""
    (rows,) = [
        rows
        for sql, rows in page.asked
        if "SUM(" in sql and "GROUP BY" in sql and 'FROM "fibres_fibre"' in sql
    ]
    return rows


def test_the_time_of_each_page_is_told_as_a_multiple_of_a_bare_one(large_pages):
    print(f"\n{pages.table(list(large_pages.values()))}")  # noqa: T201
    assert min(page.requests for page in large_pages.values()) >= pages.REQUESTS


@pytest.mark.parametrize("address", FILES.values(), ids=FILES)
def test_a_file_takes_no_more_memory_for_more_rows(lots_in_store, address):
    fewer, more = (heap_mb(folder, address) for folder in lots_in_store)
    print(f"\n{address}: {fewer:.1f} MB, {more:.1f} MB")  # noqa: T201
    assert more - fewer < MOST_GROWTH_MB


@pytest.mark.skipif(
    os.environ.get("HALFSTUFF_LARGEST_BENCH") != "1",
    reason="takes an hour: set HALFSTUFF_LARGEST_BENCH=1",
)
def test_the_whole_size_asks_as_often_as_a_small_one(empty, small_pages):
    found = pages_of(filled(empty, **WHOLE), requests=pages.REQUESTS)
    print(f"\n{pages.table(list(found.values()))}")  # noqa: T201
    assert {name: len(page.asked) for name, page in found.items()} == {
        name: len(page.asked) for name, page in small_pages.items()
    }
