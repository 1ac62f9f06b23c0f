"""Lists: whatever the address says, a list answers, and money stays with who may see it."""

from __future__ import annotations

import random
from urllib.parse import urlencode

import pytest
from django.contrib.auth.models import AbstractUser
from django.db import connection
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext

from studio.lists import (
    house_table,
)
from studio.models import Mould
from tests.builders import make_studio
from tests.studio.mould_lists import (
    MouldList,
    MouldTable,
    make_moulds,
    names,
    read,
    said,
)

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.mould_lists")]


# --- filters ------------------------------------------------------------------------------------


def test_words_are_looked_for_in_every_field(owner_client: Client) -> None:
    make_moulds(2)
    Mould.objects.filter(name="No. 002").update(remarks="laid, with a chain line")
    assert names(owner_client.get("/scratch/?words=LAID+chain")) == ["No. 002"]
    assert names(owner_client.get("/scratch/?words=002+laid")) == ["No. 002"]
    assert names(owner_client.get("/scratch/?words=001+laid")) == []
    assert names(owner_client.get("/scratch/?words=")) == ["No. 001", "No. 002"]


def test_a_mass_is_compared_in_what_it_is_stored_in(owner_client: Client) -> None:
    make_moulds(3)
    assert names(owner_client.get("/scratch/?heaviest=2&heaviest_unit=g")) == [
        "No. 001",
        "No. 002",
    ]


def test_a_filter_that_cannot_be_read_is_answered_and_the_rest_still_holds(
    owner_client: Client,
) -> None:
    make_moulds(2)
    answer = owner_client.get("/scratch/?since=soon&exact=No.+001")
    page = read(answer)
    assert len(page.all("p", class_="fault")) == 1
    assert "day" in page.one("p", class_="fault").text.lower()
    assert names(answer) == ["No. 001"]


def test_a_search_may_not_be_endless(owner_client: Client) -> None:
    page = read(owner_client.get("/scratch/", {"exact": "x" * 60_000}))
    assert said(page.one("p", class_="fault")) == ("Give at most 100 characters; this has 60000.")


def test_a_choice_left_open_is_called_any(owner_client: Client) -> None:
    options = [e.text for e in read(owner_client.get("/scratch/")).all("option")]
    assert options.count("Any") == 2
    assert "Unknown" not in options
    assert not [text for text in options if text.startswith("--")]


def test_a_filter_on_money_is_for_who_sees_money(
    owner_client: Client, hand_client: Client
) -> None:
    make_moulds(2)
    assert names(owner_client.get("/scratch/?dearest=1.00")) == ["No. 001"]
    assert names(hand_client.get("/scratch/?dearest=1.00")) == ["No. 001", "No. 002"]
    assert read(hand_client.get("/scratch/")).all("input", name="dearest") == []


# --- who sees what ------------------------------------------------------------------------------


def test_sorting_by_money_is_passed_over_for_who_sees_none(
    owner_client: Client, hand_client: Client, viewer_client: Client
) -> None:
    make_moulds(2)
    assert names(owner_client.get("/scratch/?sort=-price")) == ["No. 002", "No. 001"]
    for client in (hand_client, viewer_client):
        answer = client.get("/scratch/?sort=-price")
        assert names(answer) == ["No. 001", "No. 002"]
        assert "Price" not in read(answer).one("table").text


def test_a_file_needs_leave_to_take_one(
    owner_client: Client, hand_client: Client, viewer_client: Client
) -> None:
    make_moulds(2)
    mine = b"".join(owner_client.get("/scratch/?format=csv").streaming_content)  # type: ignore[attr-defined]
    theirs = b"".join(hand_client.get("/scratch/?format=csv").streaming_content)  # type: ignore[attr-defined]
    assert b"Price, GBP" in mine
    assert b"Price" not in theirs
    assert viewer_client.get("/scratch/?format=csv").status_code == 403
    links = [e.text for e in read(viewer_client.get("/scratch/")).all("a")]
    assert not [text for text in links if text.startswith("As ")]


def test_a_file_holds_every_row_that_fits_in_the_order_shown(hand_client: Client) -> None:
    make_moulds(60)
    answer = hand_client.get("/scratch/?format=csv&sort=-width&words=No&page=2&per_page=10")
    lines = b"".join(answer.streaming_content).decode("utf-8-sig").splitlines()  # type: ignore[attr-defined]
    assert len(lines) == 61
    assert lines[1].startswith("No. 060,")
    assert "halfstuff-moulds-" in answer.headers["Content-Disposition"]


def test_tables_follow_the_units_of_the_studio(owner: AbstractUser) -> None:
    make_studio(units="US", currency="SEK")
    make_moulds(1)
    request = RequestFactory().get("/")
    request.user = owner
    table = house_table(request, MouldTable, Mould.objects.all(), paginate=False)
    heads = [heading.words for heading in table.headings]
    assert heads[1:3] == ["Across, lb", "Price, SEK"]
    assert table.pages is None


def test_two_tables_on_a_page_are_sorted_and_paged_apart(owner: AbstractUser) -> None:
    make_moulds(4)
    request = RequestFactory().get("/?a-sort=-name&b-page=2")
    request.user = owner
    rows = Mould.objects.all()
    one = house_table(request, MouldTable, rows, prefix="a-", per_page=2)
    other = house_table(request, MouldTable, rows, prefix="b-", per_page=2)
    assert [line[0].content for line in one.lines] == ["No. 004", "No. 003"]
    assert [line[0].content for line in other.lines] == ["No. 003", "No. 004"]
    assert one.pages is not None
    assert one.pages.later == "?a-sort=-name&b-page=2&a-page=2"


# --- what else may stand in an address ----------------------------------------------------------

JUNK = (
    "",
    "-",
    "--name",
    "name,-name",
    "price; DROP TABLE",
    "name__password",
    "by__password",
    "is_closed",
    "'",
    '"',
    "%00",
    "\0",
    "\x1f",
    "😀" * 40,
    "1e400",
    "-1e400",
    "NaN",
    "Infinity",
    "9" * 40,
    "-" + "9" * 40,
    "0x10",
    "1_000",
    "١٢",
    "2026-13-45",
    "0000-00-00",
    "9999-12-31",
    "../../x",
    "{{ 7|add:7 }}",
    "<script>",
    "true",
    "a" * 300,
    "()" * 50,
    "ods",
    "CSV",
)
PARAMETERS = [
    "sort",
    "page",
    "per_page",
    "format",
    "words",
    "exact",
    "heaviest",
    "heaviest_unit",
    "across",
    "dearest",
    "since",
    "kind",
    "shut",
]


@pytest.mark.parametrize("parameter", PARAMETERS)
def test_junk_in_an_address_never_breaks_a_list(viewer: AbstractUser, parameter: str) -> None:
    make_studio()
    make_moulds(3)
    draw = random.Random(parameter)
    drawn = ["".join(draw.choices("".join(JUNK), k=6)) for _ in range(20)]
    costs = set()
    for payload in (*JUNK, *drawn):
        request = RequestFactory().get(f"/scratch/?{urlencode({parameter: payload})}")
        request.user = viewer
        with CaptureQueriesContext(connection) as queries:
            answer = MouldList.as_view()(request).render()
        assert answer.status_code == 200
        costs.add(len(queries))
    # The studio's row, the count, the rows, and once the role; junk never costs one more.
    assert max(costs) <= 4


def test_a_thousand_sort_keys_are_no_more_than_one(owner_client: Client) -> None:
    make_moulds(2)
    address = "/scratch/?" + "&".join(["sort=width"] * 900)
    assert names(owner_client.get(address)) == ["No. 001", "No. 002"]
