"""Tables of a list that comes in: what is wrong with it, what it changes, and its columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from studio.files import writing
from studio.files.columns import Column
from studio.files.lists import FileList
from studio.models import Studio
from studio.tables import LedgerTable, MarkColumn, RowHeader, TextColumn

MARKS = {"entered": "agreed", "changed": "making", "replaced": "making", "unchanged": "closed"}


class FaultRow(NamedTuple):
    """One fault, by row and column."""

    row: int
    column: str
    text: str


class ChangeRow(NamedTuple):
    """What becomes of one row."""

    row: int
    deed: str
    words: str


class ColumnRow(NamedTuple):
    """One column of a list, as it is explained."""

    name: str
    needed: str
    what: str
    example: str


class FaultTable(LedgerTable):
    """What has to be put right in a list."""

    caption = "What has to be put right, by row and column of the file"
    caption_unseen = True
    shape = "three"

    row = RowHeader("Row", link=None)
    column = TextColumn("Column")
    text = TextColumn("What is wrong", wide=True)


class ChangeTable(LedgerTable):
    """What a list changes, row by row."""

    caption = "What the list changes, by the row of the file"
    caption_unseen = True
    shape = "three"

    row = RowHeader("Row", link=None)
    deed = MarkColumn("Is")
    words = TextColumn("What", wide=True)

    def render_deed(self, value: str) -> Any:
        """Say what becomes of the row."""
        return self.columns["deed"].column.render((MARKS[value], value.capitalize()))


class ColumnTable(LedgerTable):
    """The columns that a list may have."""

    caption = "Columns of the list"
    caption_unseen = True
    shape = "three"

    name = RowHeader("Heading", link=None)
    needed = TextColumn("Needed")
    what = TextColumn("What stands there", wide=True)
    example = TextColumn("Such as")


def column_rows(flist: FileList, studio: Studio) -> list[ColumnRow]:
    """Return the columns of a list as they are explained."""
    return [_explained(one, studio) for one in flist.columns if not one.only_out]


def _explained(column: Column, studio: Studio) -> ColumnRow:
    unit = writing.template_unit(column, studio)
    return ColumnRow(
        column.name,
        "Yes" if column.needed else "",
        writing.what_stands(column),
        f"{column.example} {unit}".strip() if column.example else "",
    )


def rows_of(told: Sequence[Sequence[Any]], row: Any) -> list[Any]:
    """Return rows that were kept as plain lists."""
    return [row(*one) for one in told]
