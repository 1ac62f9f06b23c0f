"""Lists as files that can be brought in again: headings with units, numbers that are exact."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from io import BytesIO
from typing import Any

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from studio import money
from studio.exports import Echo, Value, csv_cell, xlsx_cell
from studio.fields import plain
from studio.files.columns import Column
from studio.files.lists import FileList
from studio.models import Studio
from studio.sizes import Size

CSV_TYPE = "text/csv; charset=utf-8"
# Spreadsheets read UTF-8 only where the file opens with this mark.
MARK = "\ufeff"
AMERICAN = {"kg": "lb", "mm": "in"}
MG_PER_KG, UM_PER_MM = Decimal(1_000_000), Decimal(1000)
LONGEST_SHOWN = 30
GUIDE = "How to fill it in"
GUIDE_HEADS = ("Heading", "Needed", "What stands there", "Example")


def columns_out(flist: FileList, *, with_money: bool) -> list[Column]:
    """Return the columns of a list that somebody may see."""
    return [one for one in flist.columns if with_money or not one.money]


def rows_out(flist: FileList, studio: Studio, *, with_money: bool) -> Iterator[list[Value]]:
    """Yield the headings, then every row that is there, as plain values."""
    columns = columns_out(flist, with_money=with_money)
    yield [one.heading(_unit(one, studio.currency)) for one in columns]
    for row in flist.rows_out():
        yield [_value(row.get(one.name), one, studio.currency) for one in columns]


def _unit(column: Column, currency: str) -> str:
    return currency if column.kind == "money" else ""


def _value(value: Any, column: Column, currency: str) -> Value:
    """Return a stored value in the unit of its heading."""
    if value is None or value == "":
        return ""
    shown = SHOWN.get(column.kind)
    if column.kind == "money":
        return money.major(value, currency)
    return shown(value) if shown else value


def cell_words(value: Any, column: Column, studio: Studio) -> str:
    """Word what stands in a cell, with its unit, cut to a few words."""
    shown = str(_value(value, column, studio.currency))
    unit = _unit(column, studio.currency) or column.unit
    short = f"{shown[:LONGEST_SHOWN]}…" if len(shown) > LONGEST_SHOWN else shown
    return f"{short} {unit}".strip() if shown else "nothing"


def _kilograms(mass_mg: int) -> Decimal:
    return _bare(Decimal(mass_mg) / MG_PER_KG)


def _bare(number: Decimal) -> Decimal:
    return Decimal(plain(number))


def _size(size: Size) -> str:
    sides = (plain(Decimal(side) / UM_PER_MM) for side in (size.width_um, size.height_um))
    return f"{' x '.join(sides)} mm"


SHOWN: dict[str, Any] = {
    "mass": _kilograms,
    "length": lambda um: _bare(Decimal(um) / UM_PER_MM),
    "share": lambda share: _bare(Decimal(share) * 100),
    "number": lambda number: _bare(Decimal(number)),
    "grammage": lambda number: _bare(Decimal(number)),
    "size": _size,
    "yes": lambda told: "yes" if told else "no",
    "choice": str,
}


# --- files --------------------------------------------------------------------------------------


def as_csv(rows: Iterable[Sequence[Value]]) -> Iterator[bytes]:
    """Yield rows as the lines of a CSV file."""
    writer = csv.writer(Echo())
    yield MARK.encode()
    for row in rows:
        yield writer.writerow([csv_cell(value) for value in row]).encode()


def as_xlsx(rows: Iterable[Sequence[Value]], title: str, guide: Sequence[Any] = ()) -> bytes:
    """Return rows as a workbook; ``guide`` is a second sheet, which is not read."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet(title[:31])
    sheet.freeze_panes = "A2"
    for row in rows:
        sheet.append([xlsx_cell(sheet, value) for value in row])
    if guide:
        words = book.create_sheet(GUIDE)
        for number, width in enumerate((26, 8, 90, 30), start=1):
            words.column_dimensions[get_column_letter(number)].width = width
        for row in guide:
            words.append([xlsx_cell(words, value) for value in row])
    file = BytesIO()
    book.save(file)
    return file.getvalue()


# --- templates ----------------------------------------------------------------------------------


def template_csv(flist: FileList, studio: Studio) -> bytes:
    """Return an empty list with one example row, which is passed over when it comes in."""
    columns = _filled_in(flist)
    example = [one.example for one in columns]
    example[0] = f"example: {example[0]}"
    return b"".join(as_csv([_heads(columns, studio), example]))


def template_xlsx(flist: FileList, studio: Studio) -> bytes:
    """Return an empty list; what stands in each column is said on a second sheet."""
    columns = _filled_in(flist)
    heads = _heads(columns, studio)
    guide = [GUIDE_HEADS] + [
        (head, "yes" if one.needed else "", what_stands(one), one.example)
        for head, one in zip(heads, columns, strict=True)
    ]
    return as_xlsx([heads], flist.title, guide)


def _filled_in(flist: FileList) -> list[Column]:
    return [one for one in flist.columns if not one.only_out]


def _heads(columns: Sequence[Column], studio: Studio) -> list[str]:
    return [one.heading(template_unit(one, studio)) for one in columns]


def template_unit(column: Column, studio: Studio) -> str:
    """Return the unit of a heading as this studio would write it."""
    if column.kind == "money":
        return studio.currency
    american = studio.units == Studio.Units.US and column.unit in AMERICAN
    return AMERICAN[column.unit] if american else column.unit


def what_stands(column: Column) -> str:
    """Say what stands in a column, with the words that are known where there are few."""
    values = [value for value, _ in column.choices if value]
    known = f"One of: {', '.join(values)}." if values else ""
    return " ".join(part for part in (column.help, known) if part)
