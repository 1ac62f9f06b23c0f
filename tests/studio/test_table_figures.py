"""Ledger tables: how a figure, a day, a state or a name stands in its cell."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
import time_machine
from django.utils.html import format_html

from studio.charts import gauge
from studio.tables import (
    CountColumn,
    DayColumn,
    KgColumn,
    LedgerTable,
    MoneyColumn,
    RowHeader,
    TextColumn,
)
from tests.studio.lot_tables import MINUS, NB, Lot, LotTable, cell, page

# --- figures ------------------------------------------------------------------------------------


def test_figures_are_plain_and_the_heading_says_unit_and_basis() -> None:
    assert cell(LotTable([Lot()]), "Left, kg oven-dry").text == "14.62"
    assert cell(LotTable([Lot(left_mg=0)]), "Left, kg oven-dry").text == "0"
    assert cell(LotTable([Lot()]), "Grammage, g/m²").text == "110"


def test_a_caption_that_says_the_unit_spares_the_heading() -> None:
    class Store(LedgerTable):
        caption = "Kilograms, oven-dry"
        left = KgColumn("Left", accessor="left_mg", basis="oven-dry", in_caption=True)

    assert cell(Store([Lot()]), "Left").text == "14.62"


def test_pounds_are_shown_where_the_studio_measures_in_them() -> None:
    # NIST SP 811 (2008), B.8: 1 lb = 4.535 924 E-01 kg; so 10 lb are 4 535 924 mg.
    table = LotTable([Lot(left_mg=4_535_924)], units="US")
    assert cell(table, "Left, lb oven-dry").text == "10.00"


def test_a_price_by_the_kilogram_becomes_one_by_the_pound() -> None:
    # By hand: £10.00 a kg is £10.00 × 0.45359237 = £4.54 a lb.
    table = LotTable([Lot(cost=1000)], units="US", sees_money=True)
    assert cell(table, "Cost, £/lb").text == "4.54"


def test_a_share_stands_in_percent_with_how_it_is_known() -> None:
    found = cell(LotTable([Lot()]), "Moisture")
    assert found.text == f"6.5{NB}%label"


@pytest.mark.parametrize(
    ("currency", "heading", "figure"),
    [
        ("GBP", "Cost, £/kg", "7.40"),
        ("JPY", "Cost, ¥/kg", "740"),
        ("SEK", "Cost, SEK/kg", "7.40"),
    ],
)
def test_money_is_written_with_the_places_of_its_currency(
    currency: str, heading: str, figure: str
) -> None:
    table = LotTable([Lot()], currency=currency, sees_money=True)
    assert cell(table, heading).text == figure


def test_money_for_nothing_in_particular_names_the_currency_alone() -> None:
    class Orders(LedgerTable):
        caption = "Orders"
        ref = RowHeader("Order")
        freight = MoneyColumn("Freight", accessor="cost")

    assert cell(Orders([Lot()], sees_money=True), "Freight, £").text == "7.40"


def test_what_is_below_nothing_or_missing_is_set_off() -> None:
    below = cell(LotTable([Lot(left_mg=-410_000)]), "Left, kg oven-dry")
    assert (below.text, below.attrs["class"]) == (f"{MINUS}0.41", "n off")
    missing = cell(LotTable([Lot(short_mg=410_000)]), "Short, kg")
    assert (missing.text, missing.attrs["class"]) == ("0.41", "n off")
    assert cell(LotTable([Lot(short_mg=0)]), "Short, kg").attrs["class"] == "n"
    assert cell(LotTable([Lot()]), "Left, kg oven-dry").attrs["class"] == "n"


@time_machine.travel("2026-11-25")
def test_a_day_is_in_words() -> None:
    assert cell(LotTable([Lot()]), "Received").text == "Wed 2 Sep"


@time_machine.travel("2026-11-25")
def test_a_day_can_carry_a_mark() -> None:
    class Wet(LedgerTable):
        caption = "Wet lots"
        ref = RowHeader("Lot")
        keep = DayColumn("Keep until", accessor="received", mark="soon")

    assert page(Wet([Lot()])).one("span", class_="soon").text == "Wed 2 Sep"


def test_a_mark_may_be_a_pair_or_an_object() -> None:
    @dataclass
    class Mark:
        kind: str
        word: str

    read = page(LotTable([Lot(mark=Mark("short", "Short from 3 Dec"))]))
    assert read.one("span", class_="short").text == "Short from 3 Dec"


def test_truth_is_said_in_words() -> None:
    assert cell(LotTable([Lot()]), "Open").text == "Yes"
    assert cell(LotTable([Lot(is_open=False)]), "Open").text == "No"


def test_each_gauge_has_a_pattern_of_its_own() -> None:
    bar = gauge(5_000_000, 3_000_000)
    first = LotTable([Lot(bar=bar), Lot(bar=bar)], prefix="a-")
    second = LotTable([Lot(bar=bar)], prefix="b-")
    reads = [page(first), page(second)]
    ids = [found for read in reads for found in read.ids()]
    fills = [e.attrs["fill"] for read in reads for e in read.all("rect") if "fill" in e.attrs]
    assert len(set(ids)) == 3
    assert fills == [f"url(#{found})" for found in ids]


def test_a_page_may_word_a_cell_itself() -> None:
    class Own(LedgerTable):
        caption = "Lots"
        ref = RowHeader("Lot")
        source = TextColumn("From", code=True)

        def render_source(self, value: str) -> Any:
            return format_html("<i>{}</i>", value)

    assert page(Own([Lot()])).one("i").text == "Greyling Fibres"


def test_a_figure_that_a_page_words_itself_is_never_set_off() -> None:
    class Own(LedgerTable):
        caption = "Lots"
        ref = RowHeader("Lot")
        about = CountColumn("Sheets", accessor="known", lack=True)

        def render_about(self, value: str) -> str:
            return f"as on the {value}"

    found = cell(Own([Lot()]), "Sheets")
    assert (found.text, found.attrs["class"]) == ("as on the label", "n opens")


def test_a_reference_among_words_does_not_break() -> None:
    class Runs(LedgerTable):
        caption = "Runs"
        source = RowHeader("From")
        ref = TextColumn("Lot", code=True)

    assert page(Runs([Lot()])).one("span", class_="code").text == "L-0361"
