"""Tables as files: CSV as a stream, XLSX as one workbook.

Text that a spreadsheet would take for a formula is made harmless: a leading apostrophe in CSV,
a text cell in XLSX. Numbers stay numbers. :func:`plain_text` undoes the apostrophe on the way
back in, so that a name survives the round trip whatever it starts with.
"""

from __future__ import annotations

import csv
import datetime
import html
import unicodedata
from collections.abc import Iterator
from decimal import Decimal
from io import BytesIO
from typing import Any

from django.http import HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.utils import timezone
from django.utils.html import strip_tags
from django.utils.safestring import SafeString
from django.utils.text import slugify
from django_tables2.data import TableQuerysetData
from django_tables2.rows import BoundRow
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

from studio.tables import LedgerTable

Value = str | int | Decimal | datetime.date | None
APOSTROPHE = "'"
FORMULA_STARTS = frozenset("=+-@")
CONTROL_STARTS = frozenset("\t\r\n\0")
INVISIBLE = frozenset({"Cc", "Cf"})
CHUNK = 2000
SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def export(
    table: LedgerTable, kind: str, *, name: str = "list", day: datetime.date | None = None
) -> HttpResponseBase:
    """Answer with the whole table as a file of the kind "csv" or "xlsx"."""
    response = _csv(table) if kind == "csv" else _xlsx(table, name)
    title = file_name(name, day or timezone.localdate(), kind)
    response["Content-Disposition"] = f'attachment; filename="{title}"'
    return response


KINDS = ("csv", "xlsx")


def file_name(name: str, day: datetime.date, kind: str) -> str:
    """Return a name that any disk takes, such as halfstuff-lots-2026-11-25.csv."""
    return f"halfstuff-{slugify(name)[:60] or 'list'}-{day.isoformat()}.{kind}"


# --- rows ---------------------------------------------------------------------------------------


def export_rows(table: LedgerTable) -> Iterator[list[Value]]:
    """Give the headings, then every row of the table as plain values."""
    columns = [bound for bound in table.columns.iterall() if not bound.column.exclude_from_export]
    yield [bound.column.export_header for bound in columns]
    for record in _records(table):
        row = BoundRow(record, table)
        yield [_plain(row.get_cell_value(bound.name)) for bound in columns]


def _records(table: LedgerTable) -> Iterator[Any]:
    """Read the rows in portions, so that a long list does not fill the memory."""
    if isinstance(table.data, TableQuerysetData):
        return iter(table.data.data.iterator(chunk_size=CHUNK))
    return iter(table.data)


def _plain(value: Any) -> Value:
    if isinstance(value, SafeString):
        return html.unescape(strip_tags(value))
    known = isinstance(value, str | int | Decimal | datetime.date | None)
    return value if known else str(value)


# --- formulas -----------------------------------------------------------------------------------


def safe_text(text: str) -> str:
    """Return text that no spreadsheet takes for a formula; all other text stays as it is.

    >>> safe_text("=1+1"), safe_text("Greyling Fibres")
    ("'=1+1", 'Greyling Fibres')
    """
    return APOSTROPHE + text if _is_risky(text) else text


def plain_text(text: str) -> str:
    """Undo :func:`safe_text`.

    >>> plain_text("'=1+1")
    '=1+1'
    """
    return text[1:] if text.startswith(APOSTROPHE) and _is_risky(text) else text


def _is_risky(text: str) -> bool:
    """Tell whether text starts a formula, after any apostrophes and what cannot be seen.

    Counting the apostrophes in keeps the way back exact: text that has one gets another.
    """
    bare = text.lstrip(APOSTROPHE)
    if bare[:1] in CONTROL_STARTS:
        return bool(bare)
    for sign in bare:
        if sign.isspace() or unicodedata.category(sign) in INVISIBLE:
            continue
        # Full-width and small forms of a sign are folded to the sign itself.
        return unicodedata.normalize("NFKC", sign)[0] in FORMULA_STARTS
    return False


# --- CSV ----------------------------------------------------------------------------------------


class Echo:
    """A file that hands back each line instead of keeping it."""

    def write(self, line: str) -> str:
        """Return the line."""
        return line


def _csv(table: LedgerTable) -> StreamingHttpResponse:
    return StreamingHttpResponse(_csv_lines(table), content_type="text/csv; charset=utf-8")


def _csv_lines(table: LedgerTable) -> Iterator[bytes]:
    writer = csv.writer(Echo())
    # Spreadsheets read UTF-8 only where the file opens with this mark.
    yield "\ufeff".encode()
    for row in export_rows(table):
        yield writer.writerow([csv_cell(value) for value in row]).encode()


def csv_cell(value: Value) -> Any:
    """Return what the CSV writer is given for a value."""
    if isinstance(value, str):
        return safe_text(value)
    if isinstance(value, Decimal):
        return format(value, "f")
    return value.isoformat() if isinstance(value, datetime.date) else value


# --- XLSX ---------------------------------------------------------------------------------------


def _xlsx(table: LedgerTable, name: str) -> HttpResponse:
    book = Workbook(write_only=True)
    sheet = book.create_sheet(slugify(name)[:31] or "list")
    sheet.freeze_panes = "A2"
    for row in export_rows(table):
        sheet.append([xlsx_cell(sheet, value) for value in row])
    file = BytesIO()
    book.save(file)
    return HttpResponse(file.getvalue(), content_type=SHEET_TYPE)


def xlsx_cell(sheet: Any, value: Value) -> WriteOnlyCell:
    """Return a cell of a workbook that holds a value and never a formula."""
    if not isinstance(value, str):
        return WriteOnlyCell(sheet, value)
    # The format has no place for control characters; they are shown as unreadable.
    cell = WriteOnlyCell(sheet, ILLEGAL_CHARACTERS_RE.sub("\ufffd", value))
    # Text stays text even where it looks like a formula, now and when the cell is edited.
    cell.data_type = "s"
    cell.quotePrefix = _is_risky(value)
    return cell
