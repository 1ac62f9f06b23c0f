"""Ledger tables: what a person reads in them, and what is kept from whom."""

from __future__ import annotations

from typing import Any

import django_tables2
import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db.models import F

from studio.charts import gauge
from studio.models import Mould
from studio.tables import (
    KgColumn,
    LedgerTable,
    MoneyColumn,
    NumberColumn,
    RowHeader,
    TextColumn,
)
from tests.studio.lot_tables import Lot, LotTable, page
from tests.studio.pages import words

# --- how it is built ----------------------------------------------------------------------------


def test_every_part_of_the_table_has_its_role() -> None:
    read = page(LotTable([Lot()]))
    roles = {
        "table": "table",
        "thead": "rowgroup",
        "tbody": "rowgroup",
        "tfoot": "rowgroup",
        "tr": "row",
        "td": "cell",
    }
    for tag, role in roles.items():
        assert {element.attrs["role"] for element in read.all(tag)} == {role}
    assert {h.attrs["role"] for h in read.all("th", scope="col")} == {"columnheader"}
    assert {h.attrs["role"] for h in read.all("th", scope="row")} == {"rowheader"}
    assert len(read.all("th", scope="row")) == 2
    assert read.one("caption").text == "Lots with fibre left"


def test_every_cell_with_content_carries_its_heading_and_an_empty_one_nothing() -> None:
    read = page(LotTable([Lot(cost=None, received=None, left_mg=None, sheets=None)]))
    cells = read.all("td")
    assert {bool(found.text) for found in cells} == {True, False}
    assert [bool(found.text) for found in cells] == ["data-label" in e.attrs for e in cells]


def test_no_table_has_a_style_or_an_event_attribute() -> None:
    read = page(LotTable([Lot(bar=gauge(5, 3, 1))], sees_money=True))
    names = {name for element in read.elements for name in element.attrs}
    assert not [name for name in names if name == "style" or name.startswith("on")]


def test_the_first_figure_column_opens_the_figures() -> None:
    read = page(LotTable([Lot()]))
    assert [h.text for h in read.all("th", class_="opens")] == ["Moisture"]
    assert read.one("th", class_="wide").text == "From"
    assert read.all("td", class_="state")[0].text == "Covered"


def test_the_row_header_links_code_and_name_and_has_a_second_line() -> None:
    read = page(LotTable([Lot()]))
    link = read.one("a")
    assert link.attrs["href"] == "/lots/L-0361/"
    assert link.text == "L-0361 Cotton linter"
    assert read.one("span", class_="code").text == "L-0361"
    assert read.all("small")[0].text == "Greyling Fibres"


@pytest.mark.parametrize(
    ("link", "address"),
    [
        (None, ""),
        (True, "/lots/L-0361/"),
        ("url", "/lots/L-0361/"),
        (lambda record: f"/found/{record.ref}/", "/found/L-0361/"),
        ("missing", ""),
    ],
)
def test_a_row_header_leads_where_it_is_told(link: Any, address: str) -> None:
    class Plain(LedgerTable):
        caption = "Lots"
        lot = RowHeader("Lot", accessor="ref", link=link)

    links = page(Plain([Lot()])).all("a")
    assert [found.attrs["href"] for found in links] == ([address] if address else [])


def test_a_row_header_may_be_a_figure() -> None:
    class Prices(LedgerTable):
        caption = "Price at other numbers"
        good = RowHeader("Good sheets", link=None, figure=True)
        each = KgColumn("Fibre")

    read = page(Prices([{"good": 25_000, "each": 1}, {"good": "more", "each": 1}]))
    assert [h.text for h in read.all("th", class_="n")][2:] == ["25\u202f000", "more"]
    assert [h.text for h in read.all("th", class_="opens")] == ["Fibre, kg"]


def test_a_table_without_rows_is_one_sentence() -> None:
    read = page(LotTable([], nothing="No lot has fibre left."))
    assert read.one("p").text == "No lot has fibre left."
    assert read.all("table") == []


def test_a_table_without_a_caption_is_refused() -> None:
    class Bare(LedgerTable):
        lot = RowHeader("Lot", accessor="ref")

    with pytest.raises(ImproperlyConfigured, match="Bare needs a caption"):
        Bare([])


def test_a_column_that_the_house_did_not_make_is_refused() -> None:
    class Foreign(LedgerTable):
        caption = "Lots"
        lot = django_tables2.Column()

    with pytest.raises(ImproperlyConfigured, match="'lot' of Foreign is no HouseColumn"):
        Foreign([])


def test_a_caption_can_be_kept_for_those_who_hear_the_page() -> None:
    read = page(LotTable([Lot()], caption="Lots of linter", caption_unseen=True))
    assert read.one("caption", class_="unseen").text == "Lots of linter"


def test_a_table_that_stays_unfolded_can_be_scrolled_by_keyboard() -> None:
    read = page(LotTable([Lot()], shape="stay few"))
    assert read.one("table").attrs["class"] == "ledger stay few"
    assert read.one("div", class_="ruled").attrs["tabindex"] == "0"
    assert "tabindex" not in page(LotTable([Lot()])).one("div", class_="ruled").attrs


def test_what_a_person_typed_is_never_markup() -> None:
    typed = "<b onclick=x>&"
    record = Lot(ref=typed, fibre=typed, source=typed, known=typed, url=f'/"{typed}')
    read = page(LotTable([record]))
    assert read.all("b") == []
    assert read.one("a").text == f"{typed} {typed}"
    assert read.one("a").attrs["href"] == f'/"{typed}'


# --- totals -------------------------------------------------------------------------------------


def totals(table: LedgerTable) -> list[str]:
    read = page(table)
    return [
        words(element.text)
        for element in read.elements
        if element.tag in {"th", "td"} and "tfoot" in element.inside
    ]


def test_a_totals_row_adds_up_the_rows() -> None:
    # By hand: 14.62 + 0.38 = 15.00 kg; 2 + 3 = 5 sheets; a lot of unknown mass adds nothing.
    rows = [Lot(), Lot(left_mg=380_000, sheets=3), Lot(left_mg=None, sheets=None)]
    row = totals(LotTable(rows))
    assert row[0] == "All lots"
    assert [figure for figure in row[1:] if figure] == ["15.00", "5"]


def test_a_total_of_nothing_known_is_empty() -> None:
    row = totals(LotTable([Lot(left_mg=None, sheets=None)]))
    assert [figure for figure in row[1:] if figure] == []


def test_given_totals_take_the_place_of_added_ones() -> None:
    row = totals(LotTable([Lot()], totals={"left": 99_000_000, "cost": 5}))
    assert [figure for figure in row[1:] if figure] == ["99.00"]


def test_a_table_without_totals_has_no_totals_row() -> None:
    class Bare(LedgerTable):
        caption = "Lots"
        ref = RowHeader("Lot")

    assert totals(Bare([Lot()])) == []
    assert totals(LotTable([Lot()], totals={})) == []


# --- money --------------------------------------------------------------------------------------


def test_money_is_gone_unless_its_reader_may_see_it() -> None:
    told = LotTable([Lot()], sees_money=True)
    kept = LotTable([Lot()], order_by="cost")
    assert "cost" in told.columns
    assert "cost" not in kept.columns
    assert kept.order_by == ()
    assert "7.40" not in str(kept.html)
    assert "7.40" in str(told.html)


def test_money_in_an_added_column_is_gone_too() -> None:
    extra = [("paid", MoneyColumn("Paid", accessor="cost"))]
    kept = LotTable([Lot()], extra_columns=extra, exclude=["source"])
    assert "paid" not in kept.columns
    assert "source" not in kept.columns
    assert "paid" in LotTable([Lot()], extra_columns=extra, sees_money=True).columns


# --- order --------------------------------------------------------------------------------------


class MouldTable(LedgerTable):
    caption = "Moulds"
    name = RowHeader("Mould")
    width = NumberColumn("Across", accessor="width_um")
    closed = TextColumn("Closed", accessor="is_closed")
    height = NumberColumn("Along", accessor="height_um")

    def order_height(self, rows: Any, is_descending: bool) -> tuple[Any, bool]:
        return rows.order_by(F("height_um").desc() if is_descending else "height_um"), True


@pytest.mark.django_db
def test_a_column_that_the_database_does_not_know_is_not_offered_for_sorting() -> None:
    table = MouldTable(Mould.objects.all())
    assert {bound.name: bound.orderable for bound in table.columns} == {
        "name": True,
        "width": True,
        "closed": False,
        "height": True,
    }


@pytest.mark.django_db
def test_a_list_cut_to_its_first_rows_can_still_be_put_in_order() -> None:
    for name in ("Laid", "Wove", "Antique"):
        Mould.objects.create(name=name, width_um=len(name), height_um=1)
    table = MouldTable(Mould.objects.order_by("-name")[:2], order_by="width")
    assert [line[0].content for line in table.lines] == ["Wove", "Laid"]
    table = MouldTable(Mould.objects.order_by("-name")[:2], order_by="name")
    assert [line[0].content for line in table.lines] == ["Laid", "Wove"]


def test_a_table_made_without_a_request_has_no_links() -> None:
    rows = [Lot(url="")]
    assert page(LotTable(rows)).all("a") == []
