"""Lists as files for tests: written, taken in, and a studio to take lists out of."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

from django.db import connection

from studio.files import writing
from studio.files.lists import FileList
from studio.files.rows import read_list
from studio.files.taking import TakenIn, take_in
from studio.models import Studio

# PostgreSQL is asked for the turn of an act; SQLite takes it as the transaction begins.
TURN = int(connection.vendor == "postgresql")


def text_of(*rows: dict[str, Any], mark: str = ",") -> bytes:
    """Return rows as a CSV file with the headings of the first."""
    file = io.StringIO()
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(file, names, delimiter=mark)
    writer.writeheader()
    writer.writerows(rows)
    return file.getvalue().encode()


def take(flist: FileList, content: bytes | dict[str, Any], **how: Any) -> TakenIn:
    """Take a list in as page and command do."""
    told = {name: how.pop(name) for name in ("sheet", "decimals") if name in how}
    if isinstance(content, dict):
        content = text_of(content)
    file = read_list(content, flist.columns, currency=Studio.current().currency, **told)
    return take_in(flist, file, **how)


def out(flist: FileList, kind: str, *, with_money: bool = True) -> bytes:
    """Return a list as the file that goes out."""
    rows = writing.rows_out(flist, Studio.current(), with_money=with_money)
    if kind == "csv":
        return b"".join(writing.as_csv(rows))
    return writing.as_xlsx(rows, flist.title)


def told(flist: FileList) -> list[dict[str, Any]]:
    """Return all that a list says of the database, each figure as it is kept."""
    return [{name: plain(value) for name, value in row.items()} for row in flist.rows_out()]


def plain(value: Any) -> Any:
    """Return a figure without the zeros that a database may have added."""
    if value is None:
        return ""
    return value.normalize() if isinstance(value, Decimal) else value
