"""Rows of a list of offers out of a CSV file or a workbook, as text by the heading over it.

A workbook is read cell by cell and not by its last results: a formula would bring a figure that
nobody typed, so it is named as a fault of its cell.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from studio.errors import ReadingError
from studio.exports import plain_text

MOST_BYTES = 20_000_000
MOST_UNPACKED = 200_000_000
MOST_ROWS = 20_000
MOST_COLUMNS = 60
REQUIRED = ("source", "fibre", "pack", "price", "moisture")
COLUMNS = (
    "source", "fibre", "form", "pack", "price", "price per", "currency", "moisture",
    "least packs", "breaks", "breaks are", "valid from", "valid to",
)  # fmt: skip
FORMULA = "A formula stands here. Put its value in its place."
TOO_MANY_CELLS = "There are more cells than headings. Put quotation marks round a decimal comma."
ZIP, OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
# What a workbook that is cut short or made up can raise out of its reader.
UNREADABLE = (
    zipfile.BadZipFile, zlib.error, InvalidFileException, KeyError, ValueError, TypeError,
    AttributeError, IndexError, SyntaxError, OSError, EOFError, NotImplementedError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cells:
    """One row by its number in the file: text by heading, and cells that cannot be taken."""

    number: int
    texts: dict[str, str]
    faults: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class _Formula:
    """Stands for a cell that holds a formula."""


FORMULA_CELL = _Formula()
Grid = Iterable[list[Any]]


def read_file(content: bytes, *, sheet: str = "") -> list[Cells]:
    """Return the rows of a list; what is wrong with the file as a whole is refused at once."""
    if len(content) > MOST_BYTES:
        raise ReadingError(f"The file is larger than {MOST_BYTES // 1_000_000} MB. Split it.")
    if content.startswith(OLD_WORKBOOK):
        raise ReadingError("This is a workbook of the old kind. Save it as XLSX or CSV.")
    if content.startswith(ZIP):
        return _rows_of_workbook(content, sheet)
    if sheet:
        raise ReadingError("Only a workbook has sheets, and this is a text file. Leave it out.")
    return _rows(_csv_grid(content))


# --- text ---------------------------------------------------------------------------------------


def _csv_grid(content: bytes) -> Iterator[list[Any]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise ReadingError(
            f"The file is not UTF-8 text: byte {fault.start + 1} cannot be read. Save it as CSV "
            "in UTF-8, or as XLSX."
        ) from fault
    if "\0" in text:
        raise ReadingError("The file is no text. Give a CSV file or an XLSX workbook.")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_mark(text), strict=True)
    try:
        for row in reader:
            yield [plain_text(cell) for cell in row]
    except csv.Error as fault:
        raise ReadingError(
            f"Line {reader.line_num} of the file cannot be read ({fault}). Look at its quotation "
            "marks."
        ) from fault


def _mark(text: str) -> str:
    """Return the sign that parts the cells: the one that stands more often in the headings."""
    headings = next((line for line in text.splitlines() if line.strip()), "")
    return ";" if headings.count(";") > headings.count(",") else ","


# --- workbook -----------------------------------------------------------------------------------


def _rows_of_workbook(content: bytes, sheet: str) -> list[Cells]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > MOST_UNPACKED:
                raise ReadingError("The workbook is too large once unpacked. Split it.")
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=False)
        return _rows(_sheet_grid(book, sheet))
    except ReadingError:
        raise
    except UNREADABLE as fault:
        raise ReadingError("The workbook cannot be read. Save it again as XLSX.") from fault


def _sheet_grid(book: Any, sheet: str) -> Iterator[list[Any]]:
    names = [one.title for one in book.worksheets]
    if sheet and sheet not in names:
        raise ReadingError(f"There is no sheet “{sheet[:40]}”. There are: {', '.join(names)}.")
    if not names:
        raise ReadingError("The workbook has no sheet with cells.")
    chosen = book[sheet] if sheet else book.worksheets[0]
    for row in chosen.iter_rows(max_col=MOST_COLUMNS):
        yield [_text_of(cell) for cell in row]


def _text_of(cell: Any) -> Any:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "f":
        return FORMULA_CELL
    if isinstance(value, datetime.datetime):
        return value.date().isoformat()
    if isinstance(value, int | float) and not isinstance(value, bool):
        # Twelve digits are more than anybody types, and fewer than binary fractions add.
        number = Decimal(f"{value:.12g}")
        if "%" in (cell.number_format or ""):
            return f"{number * 100:f} %"
        return f"{number:f}"
    return str(value)


# --- rows ---------------------------------------------------------------------------------------


def _rows(grid: Grid) -> list[Cells]:
    headings: list[str] = []
    found: list[Cells] = []
    for number, row in enumerate(grid, start=1):
        if not any(cell is FORMULA_CELL or str(cell).strip() for cell in row):
            continue
        if not headings:
            headings = _headings(row)
        elif len(found) == MOST_ROWS:
            raise ReadingError(f"The list has more than {MOST_ROWS} rows. Split it.")
        else:
            found.append(_cells(number, headings, row))
    if not headings:
        raise ReadingError(f"The file is empty. Its first line names: {', '.join(COLUMNS)}.")
    if not found:
        raise ReadingError("There is no row under the headings.")
    return found


def _headings(row: list[Any]) -> list[str]:
    names = [
        "" if cell is FORMULA_CELL else re.sub(r"[\s_]+", " ", str(cell)).strip().casefold()
        for cell in row
    ]
    while names and not names[-1]:
        names.pop()
    faults = [_unknown(name) for name in names if name not in COLUMNS]
    twice = sorted({name for name in names if name and names.count(name) > 1})
    faults += [f"The heading “{name}” stands there twice." for name in twice]
    lacking = [name for name in REQUIRED if name not in names]
    if lacking:
        faults.append(f"There is no heading “{'”, “'.join(lacking)}”.")
    if faults:
        raise ReadingError(f"{' '.join(faults)} Known are: {', '.join(COLUMNS)}.")
    return names


def _unknown(name: str) -> str:
    if not name:
        return "A column with cells in it has no heading."
    near = get_close_matches(name, COLUMNS, n=1)
    return f"No column is called “{name[:40]}”{f'; near it is “{near[0]}”' if near else ''}."


def _cells(number: int, headings: list[str], row: list[Any]) -> Cells:
    texts, faults = {}, []
    for name, cell in zip(headings, row, strict=False):
        if cell is FORMULA_CELL:
            faults.append((name, FORMULA))
        else:
            texts[name] = " ".join(str(cell).split())
    if any(cell is FORMULA_CELL or str(cell).strip() for cell in row[len(headings) :]):
        faults.append(("", TOO_MANY_CELLS))
    return Cells(number, texts, tuple(faults))
