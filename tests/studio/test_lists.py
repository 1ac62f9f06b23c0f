"""List pages: their parts, their order, their pages."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext

from studio.lists import (
    ListPage,
    arrange,
)
from studio.models import Mould
from tests.studio.mould_lists import (
    MouldTable,
    make_moulds,
    names,
    read,
    said,
    way_out,
)

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.studio.mould_lists")]


# --- the page -----------------------------------------------------------------------------------


def test_a_list_page_has_its_words_filters_table_and_files(owner_client: Client) -> None:
    make_moulds(2)
    page = read(owner_client.get("/scratch/"))
    assert page.one("h1").text == "Moulds"
    assert page.one("p", class_="lede").text == "Every mould of the house."
    assert page.all("h2")[0].text == "Moulds"
    assert page.one("form", class_="filters").attrs["method"] == "get"
    assert names(owner_client.get("/scratch/")) == ["No. 001", "No. 002"]
    files = [e.attrs["href"] for e in page.all("a") if e.text.startswith("As ")]
    assert files == ["?format=csv", "?format=xlsx"]


def test_a_list_needs_no_filters_and_no_database(owner_client: Client) -> None:
    page = read(owner_client.get("/plain/"))
    assert page.all("form", class_="filters") == []
    assert page.all("h2")[0].text == "In short"
    assert page.one("caption").text == "Plain moulds"
    # By hand: 0 + 1 + … + 6 = 21, over all three pages.
    assert "21.00" in page.one("tfoot").text
    assert names(owner_client.get("/plain/?page=3&sort=-name")) == ["No. 0"]


def test_an_empty_list_says_so_and_offers_no_file(owner_client: Client) -> None:
    page = read(owner_client.get("/scratch/"))
    assert "No mould has been entered yet." in page.one("main").text
    assert [e for e in page.all("a") if e.text.startswith("As ")] == []


def test_a_list_that_filters_have_emptied_says_that(owner_client: Client) -> None:
    make_moulds(2)
    page = read(owner_client.get("/scratch/?words=kozo"))
    assert "Nothing fits these filters." in page.one("main").text
    assert way_out(page) == ["/scratch/"]


def test_show_all_is_offered_only_where_a_filter_is_set(owner_client: Client) -> None:
    assert way_out(read(owner_client.get("/scratch/"))) == []
    assert way_out(read(owner_client.get("/scratch/?sort=name&words="))) == []
    assert way_out(read(owner_client.get("/scratch/?since=soon"))) == ["/scratch/"]


def test_a_list_without_get_queryset_cannot_be_shown(rf: RequestFactory) -> None:
    with pytest.raises(NotImplementedError):
        ListPage().get_queryset()


def test_one_row_costs_as_many_queries_as_twenty(owner_client: Client) -> None:
    counts = []
    for more in (1, 20):
        Mould.objects.all().delete()
        make_moulds(more)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert len(names(owner_client.get("/scratch/?sort=name&words=No"))) == more
        counts.append(len(queries))
    assert counts[0] == counts[1]


# --- order and pages ----------------------------------------------------------------------------


def test_a_heading_sorts_and_keeps_the_rest_of_the_address(owner_client: Client) -> None:
    make_moulds(3)
    page = read(owner_client.get("/scratch/?words=No&sort=width&page=9&format=odd&a=1&a=2"))
    head = next(e for e in page.all("th", scope="col") if e.text == "Across, kg")
    assert head.attrs["aria-sort"] == "ascending"
    link = next(e for e in page.all("a") if e.text == "Across, kg")
    asked = parse_qs(urlsplit(link.attrs["href"]).query)
    assert asked == {"words": ["No"], "sort": ["-width"], "a": ["1", "2"]}
    heads = [e.text for e in page.all("th", scope="col") if "aria-sort" in e.attrs]
    assert heads == ["Across, kg"]
    assert "Closed" not in [e.text for e in page.all("a")]


def test_rows_stand_in_the_order_asked_for(owner_client: Client) -> None:
    make_moulds(3)
    answer = owner_client.get("/scratch/?sort=-width")
    assert names(answer) == ["No. 003", "No. 002", "No. 001"]
    heads = [e for e in read(answer).all("th", scope="col") if "aria-sort" in e.attrs]
    assert [e.attrs["aria-sort"] for e in heads] == ["descending"]


def test_an_order_that_cannot_be_had_leaves_the_one_there_is() -> None:
    make_moulds(3)
    for asked in ("is_closed", "junk", "-"):
        request = RequestFactory().get("/", {"sort": asked})
        table = arrange(MouldTable(Mould.objects.order_by("-name")), request, per_page=2)
        assert [line[0].content for line in table.lines] == ["No. 003", "No. 002"]
        assert table.headings[0].direction == "descending"


def test_pages_are_told_in_plain_words(owner_client: Client) -> None:
    make_moulds(60)
    page = read(owner_client.get("/scratch/?page=2&words=No"))
    pages = page.one("nav", class_="pages")
    assert said(pages) == "Page 2 of 3, 60 rows Earlier Later"
    links = {e.text: e.attrs["href"] for e in page.all("a") if e.text in {"Earlier", "Later"}}
    assert links == {"Earlier": "?words=No&page=1", "Later": "?words=No&page=3"}
    first = read(owner_client.get("/scratch/")).one("nav", class_="pages")
    last = read(owner_client.get("/scratch/?page=3")).one("nav", class_="pages")
    assert (said(first), said(last)) == (
        "Page 1 of 3, 60 rows Later",
        "Page 3 of 3, 60 rows Earlier",
    )


def test_a_totals_row_is_left_out_where_not_all_rows_stand_on_the_page(
    owner_client: Client,
) -> None:
    make_moulds(26)
    assert read(owner_client.get("/scratch/")).all("tfoot") == []
    assert len(read(owner_client.get("/scratch/?per_page=26")).all("tfoot")) == 1


def test_a_page_holds_25_rows_unless_asked_and_200_at_most(owner_client: Client) -> None:
    make_moulds(210)
    assert len(names(owner_client.get("/scratch/"))) == 25
    assert len(names(owner_client.get("/scratch/?per_page=40"))) == 40
    assert len(names(owner_client.get("/scratch/?per_page=999999999"))) == 200
    assert len(names(owner_client.get("/scratch/?per_page=0"))) == 25


@pytest.mark.parametrize(
    ("asked", "shown"), [("0", 1), ("-1", 1), ("x", 1), ("3", 3), ("99", 3), ("9" * 5000, 1)]
)
def test_a_page_that_is_not_there_gives_the_nearest(
    owner_client: Client, asked: str, shown: int
) -> None:
    make_moulds(60)
    page = read(owner_client.get("/scratch/", {"page": asked}))
    assert f"Page {shown} of 3" in page.one("nav", class_="pages").text


def test_rows_of_equal_rank_are_each_on_one_page(owner_client: Client) -> None:
    make_moulds(60, width_um=5)
    seen = [
        name
        for number in (1, 2, 3)
        for name in names(owner_client.get(f"/scratch/?sort=width&page={number}"))
    ]
    assert len(seen) == len(set(seen)) == 60
    request = RequestFactory().get("/?sort=width")
    ordered = arrange(MouldTable(Mould.objects.all()), request, per_page=9).data.data
    assert ordered.query.order_by == ("width_um", "pk")


def test_rows_without_a_key_keep_the_order_they_came_in() -> None:
    make_moulds(3)
    rows = Mould.objects.values("name", "width_um", "height_um", "remarks").order_by("-name")
    bare = Mould.objects.order_by()
    both = bare.filter(name="No. 001").union(bare.filter(name="No. 003"))
    request = RequestFactory().get("/")
    table = arrange(MouldTable(rows), request, per_page=2)
    assert [line[0].content for line in table.lines] == ["No. 003", "No. 002"]
    table = arrange(MouldTable(both.order_by("-name")), request, per_page=2)
    assert [line[0].content for line in table.lines] == ["No. 003", "No. 001"]
