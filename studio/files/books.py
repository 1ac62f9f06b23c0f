"""Workbooks: judged by their table of contents before they are opened, then read cell by cell.

A cell is read as it was typed and not by its last result: a formula would bring a figure that
nobody typed, so it is named as a fault of its cell.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from typing import Any

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from studio.errors import ReadingError
from studio.files import limits

ZIP, OLD_OR_LOCKED = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
UNREADABLE_BOOK = "The workbook cannot be read. Save it again as XLSX."
# What a workbook that is cut short or made up can raise out of its reader.
UNREADABLE = (
    zipfile.BadZipFile, zlib.error, InvalidFileException, KeyError, ValueError, TypeError,
    AttributeError, IndexError, SyntaxError, OSError, EOFError, NotImplementedError,
    RuntimeError, AssertionError, LookupError, ArithmeticError, RecursionError,
)  # fmt: skip
MACROS = re.compile(r"vbaproject|macrosheets|activex")
OTHER_FILES = re.compile(r"externallinks?/")
CONTENT_TYPES, MACROS_INSIDE = "[content_types].xml", b"macroEnabled"
DECLARATIONS = (b"<!DOCTYPE", b"<!ENTITY")
MACROS_SAID = "The workbook holds macros. Save it as XLSX, which keeps none."
WIDE_TEXT = (b"\xff\xfe", b"\xfe\xff", b"\x00<", b"<\x00")
AT_A_TIME = 1 << 16
ROW = b"<row "
TOO_FAR_DOWN = (
    "The file goes on below line {most}. Take away what stands far below the list, or split it."
)


class Stand:
    """Stands for a cell that cannot be taken, and says why."""

    def __init__(self, said: str) -> None:
        self.said = said


FORMULA = Stand("A formula stands here. Put its value in its place.")
BROKEN = Stand("An error of the spreadsheet stands here. Put a value in its place.")
STANDS = {"f": FORMULA, "e": BROKEN}


def grid_of(content: bytes, sheet: str = "") -> tuple[str, Iterator[list[Any]]]:
    """Return the name of the sheet that is read, and its rows of cells."""
    with _kindly():
        _judge(content)
        with warnings.catch_warnings():
            # Styles and rules that the reader does not know are no matter here.
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(content), read_only=True, data_only=False)
        names = [one.title for one in book.worksheets]
    if sheet and sheet not in names:
        raise ReadingError(f"There is no sheet “{sheet[:40]}”. There are: {', '.join(names)}.")
    if not names:
        raise ReadingError("The workbook has no sheet with cells.")
    chosen = book[sheet] if sheet else book.worksheets[0]
    return chosen.title, _rows(chosen)


@contextmanager
def _kindly() -> Iterator[None]:
    try:
        yield
    except ReadingError:
        raise
    except UNREADABLE as fault:
        raise ReadingError(UNREADABLE_BOOK) from fault


def _rows(chosen: Any) -> Iterator[list[Any]]:
    with _kindly(), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # What a sheet says of its own size may be wrong; without it each row is as long as it is.
        chosen.reset_dimensions()
        for row in chosen.iter_rows():
            yield [_text_of(cell) for cell in row]


def _judge(content: bytes) -> None:
    """Refuse what would burst, run or lead elsewhere, before any of it is opened."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = packed.infolist()
        if len(parts) > limits.MOST_PARTS:
            raise ReadingError(
                f"The workbook has {len(parts)} parts, more than the {limits.MOST_PARTS} that a "
                "list can have. Save it again as XLSX."
            )
        unpacked = sum(part.file_size for part in parts)
        if unpacked > min(limits.MOST_UNPACKED, limits.MOST_RATIO * max(len(content), 50_000)):
            raise ReadingError(
                f"The workbook is too large once unpacked: {limits.megabytes(unpacked)}. Split it."
            )
        for part in parts:
            _judge_part(part)
        for part in parts:
            if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                _refuse_declarations(packed, part)


def _judge_part(part: zipfile.ZipInfo) -> None:
    name = part.filename.lower()
    if part.flag_bits & 1:
        raise ReadingError("The workbook is locked with a password. Save it without one.")
    if name.startswith("/") or ".." in name.split("/") or part.external_attr >> 28 == 0o12:
        raise ReadingError(UNREADABLE_BOOK)
    if MACROS.search(name):
        raise ReadingError(MACROS_SAID)
    if OTHER_FILES.search(name):
        raise ReadingError(
            "The workbook draws on other files. Put their values in, and save it as XLSX."
        )


def _refuse_declarations(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Read a part to its end: a size that lies is found, entities and too many rows refused."""
    before, rows = b"", 0
    with packed.open(part) as opened:
        while piece := opened.read(AT_A_TIME):
            if not before and piece.startswith(WIDE_TEXT):
                raise ReadingError(UNREADABLE_BOOK)
            seen = before + piece
            if any(word in seen for word in DECLARATIONS):
                raise ReadingError(UNREADABLE_BOOK)
            if part.filename.lower() == CONTENT_TYPES and MACROS_INSIDE in seen:
                raise ReadingError(MACROS_SAID)
            rows += piece.count(ROW)
            if rows > limits.MOST_LINES:
                raise ReadingError(TOO_FAR_DOWN.format(most=limits.MOST_LINES))
            before = piece[-16:]


def _text_of(cell: Any) -> Any:
    value = cell.value
    if value is None:
        return ""
    if cell.data_type in STANDS:
        return STANDS[cell.data_type]
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.datetime):
        return value.date().isoformat()
    if isinstance(value, int | float):
        return _number_in_words(value, cell.number_format or "")
    return str(value)


def _number_in_words(value: float, number_format: str) -> str:
    # Twelve digits are more than anybody types, and fewer than binary fractions add.
    number = Decimal(f"{value:.12g}")
    if not number.is_finite() or abs(number) >= Decimal(10) ** 15:
        return str(value)
    if "%" in number_format:
        return f"{number * 100:f} %"
    return f"{number:f}"
