"""Exports: re-opened as a spreadsheet would, every name is text and every number a number."""

from __future__ import annotations

import csv
import datetime
import random
from collections.abc import Sequence
from decimal import Decimal
from io import BytesIO, StringIO
from typing import Any

import openpyxl
import pytest
from django.http import HttpResponseBase
from django.utils import timezone
from django.utils.html import format_html
from hypothesis import given
from hypothesis import strategies as st

from studio.charts import gauge
from studio.exports import export, file_name, plain_text, safe_text
from studio.models import Mould
from studio.tables import (
    CountColumn,
    DayColumn,
    GaugeColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    NumberColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)

TRIGGERS = "=+-@\t\r\n\0＝＋－＠﹢﹣⁺'\u00a0\ufeff\u200b aZé,;\""
DAY = datetime.date(2026, 11, 25)
HELSINKI = datetime.timezone(datetime.timedelta(hours=2))


class LotTable(LedgerTable):
    caption = "Lots"

    lot = RowHeader("Lot", accessor="ref", code=True, named="fibre")
    fibre = TextColumn("Fibre", visible=False)
    received = DayColumn("Received")
    moisture = ShareColumn("Moisture")
    left = KgColumn("Left", accessor="left_mg", basis="oven-dry", in_caption=True)
    sheets = CountColumn("Sheets")
    grammage = NumberColumn("Grammage", unit="g/m²")
    cost = MoneyColumn("Cost", per="kg")
    mark = MarkColumn("State")
    bar = GaugeColumn("How it stands")
    is_open = TextColumn("Open")


def lot(**changes: Any) -> dict[str, Any]:
    return {
        "ref": "L-0361",
        "fibre": "Cotton linter",
        "received": datetime.date(2026, 9, 2),
        "moisture": Decimal("0.065000"),
        "left_mg": -410_000,
        "sheets": 1000,
        "grammage": Decimal("110.50"),
        "cost": 740,
        "mark": ("short", "Short from 3 Dec"),
        "bar": gauge(5, 3),
        "is_open": False,
        **changes,
    }


def body(response: HttpResponseBase) -> bytes:
    if response.streaming:
        return b"".join(response.streaming_content)  # type: ignore[attr-defined]
    return response.content  # type: ignore[attr-defined,no-any-return]


def read_csv(table: LedgerTable) -> list[list[str]]:
    text = body(export(table, "csv")).decode("utf-8-sig")
    return list(csv.reader(StringIO(text, newline="")))


def read_xlsx(table: LedgerTable) -> list[Sequence[Any]]:
    sheet = openpyxl.load_workbook(BytesIO(body(export(table, "xlsx"))))
    return list(sheet.active.iter_rows())


# --- what is in the file ------------------------------------------------------------------------


def test_csv_has_headings_with_units_plain_numbers_and_iso_days() -> None:
    assert read_csv(LotTable([lot()], sees_money=True)) == [
        [
            "Lot",
            "Fibre",
            "Received",
            "Moisture, %",
            "Left, kg oven-dry",
            "Sheets",
            "Grammage, g/m²",
            "Cost, GBP/kg",
            "State",
            "Open",
        ],
        [
            "L-0361",
            "Cotton linter",
            "2026-09-02",
            "6.5",
            "-0.41",
            "1000",
            "110.5",
            "7.40",
            "Short from 3 Dec",
            "No",
        ],
    ]


def test_xlsx_has_numbers_days_and_text_of_their_own_kinds() -> None:
    headings, row = read_xlsx(LotTable([lot()], sees_money=True))
    assert headings[4].value == "Left, kg oven-dry"
    assert [found.data_type for found in row] == ["s", "s", "d", "n", "n", "n", "n", "n", "s", "s"]
    assert row[2].value == datetime.datetime(2026, 9, 2)  # noqa: DTZ001
    assert row[2].number_format == "yyyy-mm-dd"
    assert [found.value for found in row[3:8]] == [6.5, -0.41, 1000, 110.5, 7.4]


def test_what_does_not_apply_is_an_empty_cell() -> None:
    table = LotTable([lot(received=None, left_mg=None, fibre="")])
    assert read_csv(table)[1][1:5] == ["", "", "6.5", ""]
    assert [found.value for found in read_xlsx(table)[1][1:5]] == [None, None, 6.5, None]


def test_a_moment_is_exported_as_the_day_where_the_studio_stands() -> None:
    # 01:30 in a zone two hours ahead is still the day before in UTC, the studio's own here.
    late = datetime.datetime(2026, 9, 3, 1, 30, tzinfo=HELSINKI)
    naive = datetime.datetime(2026, 9, 4, 23, 59)  # noqa: DTZ001
    rows = read_csv(LotTable([lot(received=late), lot(received=naive)]))
    assert [row[2] for row in rows[1:]] == ["2026-09-02", "2026-09-04"]


def test_pounds_go_out_where_the_studio_measures_in_them() -> None:
    # NIST SP 811 (2008), B.8: 1 lb = 4.535 924 E-01 kg; so 10 lb are 4 535 924 mg.
    headings, row = read_csv(LotTable([lot(left_mg=4_535_924)], units="US"))
    assert (headings[4], row[4]) == ("Left, lb oven-dry", "10.000001")


def test_money_stays_home_where_its_reader_may_not_see_it() -> None:
    for rows in (
        read_csv(LotTable([lot()])),
        [[str(found.value) for found in row] for row in read_xlsx(LotTable([lot()]))],
    ):
        assert not [heading for heading in rows[0] if "Cost" in heading]
        assert "7.4" not in str(rows)


def test_a_cell_that_a_page_words_in_html_goes_out_as_words() -> None:
    class Own(LedgerTable):
        caption = "Lots"
        ref = RowHeader("Lot")
        fibre = TextColumn("Fibre")
        other = TextColumn("Other", accessor="sheets")

        def render_fibre(self, value: str) -> Any:
            return format_html("<b>{}</b>", value)

        def value_other(self, value: int) -> Any:
            return [value]

    assert read_csv(Own([lot(fibre="Linter & rag")]))[1] == ["L-0361", "Linter & rag", "[1000]"]


def test_a_row_header_of_counts_stays_a_number() -> None:
    class Prices(LedgerTable):
        caption = "Prices"
        sheets = RowHeader("Good sheets", link=None, figure=True)

    assert read_xlsx(Prices([lot()]))[1][0].data_type == "n"


# --- formulas -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-2", "@SUM(A1)", "\t=1", "\r1", "\n1", "\0x", "＝1", "－2", "  =1", "'=1"],
)
def test_text_that_starts_a_formula_gets_an_apostrophe(text: str) -> None:
    assert safe_text(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "'", "Oak & co", "'t Hof", "1-2", "a=b", "\u00a0", "−0.41"])
def test_other_text_stays_as_it_is(text: str) -> None:
    assert safe_text(text) == text
    assert plain_text(text) == text


@given(st.text(alphabet=TRIGGERS, max_size=8))
def test_the_apostrophe_can_be_taken_off_again(text: str) -> None:
    assert plain_text(safe_text(text)) == text


@pytest.fixture(scope="module")
def names() -> list[str]:
    """Make a thousand names from letters that a spreadsheet may stumble over."""
    draw = random.Random(20261125)
    return ["".join(draw.choices(TRIGGERS, k=draw.randint(1, 8))) for _ in range(1000)]


def test_no_name_opens_as_a_formula_in_csv(names: list[str]) -> None:
    found = [row[1] for row in read_csv(LotTable([lot(fibre=name) for name in names]))[1:]]
    assert len(found) == 1000
    assert not [text for text in found if text[:1] in set("=+-@\t\r\n\0＝＋－＠")]
    assert [plain_text(text) for text in found] == names


def test_no_name_opens_as_a_formula_in_xlsx(names: list[str]) -> None:
    rows = read_xlsx(LotTable([lot(fibre=name) for name in names]))[1:]
    cells = [row[1] for row in rows]
    assert {found.data_type for found in cells} == {"s"}
    # What XML cannot hold is shown as unreadable, and a lone return as the line feed it reads.
    held = [
        name.replace("\0", "\ufffd").replace("\r\n", "\n").replace("\r", "\n") for name in names
    ]
    read = [found.value.replace("_x000D_", "\n").replace("\r\n", "\n") for found in cells]
    assert read == held
    assert [found.quotePrefix for found in cells] == [safe_text(name) != name for name in names]


def test_a_name_that_is_a_whole_formula_stays_text_in_xlsx() -> None:
    found = read_xlsx(LotTable([lot(fibre='=HYPERLINK("http://x","y")')]))[1][1]
    assert (found.data_type, found.value) == ("s", '=HYPERLINK("http://x","y")')


# --- the answer ---------------------------------------------------------------------------------


def test_the_answer_names_kind_and_file() -> None:
    csv_answer = export(LotTable([]), "csv", name="Lots, 2nd", day=DAY)
    assert csv_answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    expected = 'attachment; filename="halfstuff-lots-2nd-2026-11-25.csv"'
    assert csv_answer.headers["Content-Disposition"] == expected
    xlsx_answer = export(LotTable([]), "xlsx", name="lots")
    today = timezone.localdate().isoformat()
    assert xlsx_answer.headers["Content-Disposition"].endswith(f'lots-{today}.xlsx"')
    assert "spreadsheetml" in xlsx_answer.headers["Content-Type"]


def test_a_file_name_is_safe_whatever_the_list_is_called() -> None:
    for name in ('"; rm -rf /', "../../etc", "紙", "a\r\nSet-Cookie: b", "x" * 500, "[:]*?"):
        made = file_name(name, DAY, "csv")
        assert made.startswith("halfstuff-")
        assert made.endswith("-2026-11-25.csv")
        assert len(made) < 90
        assert set(made) <= set("abcdefghijklmnopqrstuvwxyz0123456789-.")
        assert export(LotTable([]), "xlsx", name=name).status_code == 200
    assert file_name("紙", DAY, "csv") == "halfstuff-list-2026-11-25.csv"


def test_a_spreadsheet_is_told_that_the_csv_is_utf_8() -> None:
    assert body(export(LotTable([]), "csv")).startswith(b"\xef\xbb\xbf")


@pytest.mark.django_db
def test_csv_is_handed_out_line_by_line_from_one_query(django_assert_num_queries: Any) -> None:
    class MouldTable(LedgerTable):
        caption = "Moulds"
        name = RowHeader("Mould")

    Mould.objects.bulk_create(
        Mould(name=f"No. {number:04}", width_um=1, height_um=1) for number in range(3000)
    )
    with django_assert_num_queries(1):
        answer = export(MouldTable(Mould.objects.all()), "csv")
        parts = list(answer.streaming_content)  # type: ignore[attr-defined]
    assert len(parts) == 3002
    assert parts[-1] == b"No. 2999\r\n"
