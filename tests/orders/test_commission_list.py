from datetime import timedelta

import pytest

from orders.models import Commission
from tests.builders import (
    day,
    make_client,
    make_commission,
    make_furnish,
    make_lot,
    make_sheet,
)
from tests.orders.looking import heads, look, said, same_queries_for_1_and_20

State = Commission.State


# --- the list


def test_the_list_shows_state_and_cover(owner_client, fibre, sheet, asked):
    make_lot(fibre, as_is_mg=960_000)
    make_commission(sheet, ref="C-102", state=State.ENQUIRY)
    page = look(owner_client, "/commissions/")
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-101", "C-102"]
    assert [mark.text for mark in page.all("span", class_="mark")] == [
        "Agreed", "Just covered", "Enquiry",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("query", "refs"),
    [
        ({"state": "open"}, ["C-101", "C-102"]),
        ({"state": "promised"}, ["C-101"]),
        ({"state": "closed"}, ["C-103"]),
        ({"words": "song sheets"}, ["C-101"]),
        ({"words": "harbour"}, ["C-102"]),
        ({"sort": "-due"}, ["C-102", "C-101", "C-103"]),
        ({"sort": "state"}, ["C-101", "C-103", "C-102"]),
        ({"sort": "nonsense"}, ["C-103", "C-101", "C-102"]),
    ],
)
def test_the_list_is_narrowed_and_put_in_order(owner_client, sheet, asked, query, refs):
    harbour = make_client(name="Harbour Songbook")
    make_commission(sheet, harbour, ref="C-102", state=State.ENQUIRY, due=day(-60))
    make_commission(sheet, ref="C-103", state=State.CLOSED, due=day(60))
    page = look(owner_client, "/commissions/", **query)
    assert [head[:5] for head in heads(page, "Commissions")] == refs


def test_the_list_is_narrowed_by_client_and_days(owner_client, sheet, asked):
    late = make_commission(sheet, ref="C-102", due=asked.due + timedelta(days=10))
    page = look(owner_client, "/commissions/", client=late.client_id)
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-102"]
    page = look(owner_client, "/commissions/", due_to=asked.due.isoformat())
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-101"]
    page = look(owner_client, "/commissions/", due_from=late.due.isoformat())
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-102"]


def test_a_filter_that_cannot_be_read_keeps_what_was_typed(owner_client, asked):
    page = look(owner_client, "/commissions/", due_to="soon")
    assert page.one("input", name="due_to").attrs["value"] == "soon"
    assert "Give a day such as" in said(page)


def test_a_viewer_neither_reads_nor_searches_clients(viewer_client, asked):
    page = look(viewer_client, "/commissions/")
    assert asked.client.name not in page.one("html").text
    assert not page.all("select", name="client")
    page = look(viewer_client, "/commissions/", words=asked.client.name)
    assert "Nothing fits" in said(page)
    assert not look(viewer_client, "/commissions/").all("a", class_="do")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_owner_alone_takes_the_list_along_as_a_file(
    owner_client, hand_client, viewer_client, asked, kind
):
    answer = owner_client.get(f"/commissions/?format={kind}")
    assert answer.status_code == 200
    assert "attachment" in answer.headers["Content-Disposition"]
    assert look(owner_client, "/commissions/").all("a", href=f"?format={kind}")
    for client in (hand_client, viewer_client):
        assert client.get(f"/commissions/?format={kind}").status_code == 403
        assert not look(client, "/commissions/").all("a", href=f"?format={kind}")


def test_a_title_that_a_spreadsheet_would_reckon_is_exported_as_text(owner_client, sheet):
    make_commission(sheet, ref="C-101", title="=1+1")
    answer = owner_client.get("/commissions/?format=csv")
    assert "'=1+1" in b"".join(answer).decode("utf-8-sig")


def test_the_list_takes_the_same_queries_for_1_and_20_rows(owner_client, fibre):
    def add():
        make_lot(fibre)
        make_commission(make_sheet(make_furnish({fibre: "1"})))

    same_queries_for_1_and_20(owner_client, "/commissions/", add)


def test_nothing_entered_says_so(owner_client):
    assert "No commission is entered yet." in said(look(owner_client, "/commissions/"))
