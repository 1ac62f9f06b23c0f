"""Lists of offers as files: one good row, and rows as CSV or as a workbook."""

from __future__ import annotations

import csv
import io

import openpyxl

GOOD = {
    "source": "Greyling Fibres", "fibre": "Cotton linter", "pack": "5 kg", "price": "9.40",
    "moisture": "8 %",
}  # fmt: skip


def as_csv(*rows, delimiter=",", encoding="utf-8"):
    file = io.StringIO()
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(file, names, delimiter=delimiter)
    writer.writeheader()
    writer.writerows(rows)
    return file.getvalue().encode(encoding)


def as_xlsx(*rows, sheet="Offers", formats=None):
    book = openpyxl.Workbook()
    page = book.active
    page.title = sheet
    for row in rows:
        page.append(row)
    for place, number_format in (formats or {}).items():
        page[place].number_format = number_format
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()
