"""Lists whose rows are known again by their name: a row enters what is new, or changes it.

An empty cell says nothing: in a row that is there already, what stands in it stays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from studio.files.lists import CHANGED, ENTERED, UNCHANGED, Change, FileList, differences, portions
from studio.files.names import Names, folded
from studio.files.rows import Fault, RowReader
from studio.files.writing import cell_words
from studio.models import Entry, Studio

SHOWN_COLUMNS = 6


@dataclass(frozen=True, slots=True)
class KnownNames:
    """The rows that are there."""

    rows: Names
    currency: str

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a list is read by."""
        return (self.rows.mark, self.currency)


@dataclass(frozen=True, slots=True)
class NamedRow:
    """A name, and what a list says of it by attribute."""

    name: str
    told: dict[str, Any]


class NamedList(FileList):
    """A list of rows with a name. Children say which attribute each column fills."""

    model: type[models.Model]
    is_named = True
    # Column: attribute. The name itself is told apart.
    attributes: dict[str, str] = {}
    # Columns whose figure is never changed by a list.
    fixed: tuple[str, ...] = ()

    def known(self, studio: Studio) -> KnownNames:
        """Read every row by its name."""
        return KnownNames(Names.of(self.noun, self.model._default_manager.all()), studio.currency)

    def read(self, row: RowReader, known: KnownNames) -> NamedRow:
        """Read the name and what is told."""
        name = row.take("name") or ""
        told = {}
        for column, attribute in self.attributes.items():
            value = row.take(column)
            if value is not None and row.has(column):
                told[attribute] = value
        self.judge(row, name, told, known)
        return NamedRow(name, told)

    def judge(self, row: RowReader, name: str, told: dict[str, Any], known: KnownNames) -> None:
        """Hold what is told against the rules of the row as a whole."""
        if not row.is_fine:
            return
        there = known.rows.get(name)
        if there is None:
            self._require(row, told)
        columns = {attribute: column for column, attribute in self.attributes.items()}
        for column in self.fixed if there is not None else ():
            attribute = self.attributes[column]
            if attribute in told and told[attribute] != getattr(there, attribute):
                row.blame(
                    column,
                    f"“{there}” has another {column} here. A list does not change it: leave the "
                    "cell empty, or change it on its page.",
                )
        made = self.made(name, told) if there is None else _with(there, told)
        try:
            made.clean_fields()
            self.check(made)
        except ValidationError as fault:
            for attribute, sentences in fault.message_dict.items():
                row.blame(columns.get(attribute, "name"), " ".join(sentences))

    def _require(self, row: RowReader, told: dict[str, Any]) -> None:
        """Ask for what a new row cannot be without."""
        for column in self.columns:
            if column.want and not column.needed and self.attributes.get(column.name) not in told:
                row.blame(column.name, f"Nothing stands here. Give {column.wanted}.")

    def made(self, name: str, told: dict[str, Any]) -> Any:
        """Return a new row, not written yet."""
        return self.model(name=name, **told)

    def check(self, row: Any) -> None:
        """Raise a ValidationError by attribute where columns do not fit each other."""

    def together(self, rows: Sequence[tuple[int, NamedRow]], known: KnownNames) -> Iterable[Fault]:
        """Find names that stand there twice."""
        counts = Counter(folded(row.name) for _, row in rows)
        first: dict[str, int] = {}
        for number, row in rows:
            name = folded(row.name)
            if counts[name] > 1 and name in first:
                yield Fault(
                    number, "name", f"Row {first[name]} has the same name. Keep one of them."
                )
            first.setdefault(name, number)

    def changes(self, rows: Sequence[tuple[int, NamedRow]], known: KnownNames) -> list[Change]:
        """Tell new rows from those that are there, and what differs in these."""
        return [self._change(number, row, known.rows.get(row.name)) for number, row in rows]

    def _change(self, number: int, row: NamedRow, there: Any | None) -> Change:
        if there is None:
            return Change(number, ENTERED, self.made(row.name, row.told))
        different = differences(there, row.told)
        if not different:
            return Change(number, UNCHANGED, there)
        return Change(number, CHANGED, row, (there,), different)

    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Write new rows in portions, and what differs in the others one by one."""
        new = [change.what for change in changes if change.deed == ENTERED]
        done = 0
        for part in portions(new):
            self.model._default_manager.bulk_create(part)
            done += len(part)
            tell(done)
        for change in changes:
            if change.deed != CHANGED:
                continue
            row = self.model._default_manager.select_for_update().get(pk=change.before[0].pk)
            _with(row, change.what.told, only=change.columns)
            row.save(update_fields=change.columns)
            done += 1
            tell(done)

    def words(self, change: Change, studio: Studio) -> str:
        """Name the row, and what a change makes of each figure that it touches."""
        if change.deed != CHANGED:
            return str(change.what)
        there, told, columns = change.before[0], change.what.told, self.by_name
        parts = [
            f"{name} {cell_words(getattr(there, attribute), columns[name], studio)} → "
            f"{cell_words(told[attribute], columns[name], studio)}"
            for name, attribute in self.attributes.items()
            if attribute in change.columns
        ]
        more = f" and {len(parts) - SHOWN_COLUMNS} more" if len(parts) > SHOWN_COLUMNS else ""
        return f"{there}: {'; '.join(parts[:SHOWN_COLUMNS])}{more}"

    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield every row by name, closed ones with their day."""
        for row in self.model._default_manager.order_by("name", "pk").iterator(chunk_size=500):
            yield {
                "name": row.name,
                **{column: getattr(row, name) for column, name in self.attributes.items()},
            }


def _with(row: Any, told: dict[str, Any], only: Sequence[str] | None = None) -> Any:
    """Return a copy of a row with what is told of it; with ``only``, the row itself."""
    made = copy(row) if only is None else row
    for name, value in told.items():
        if only is None or name in only:
            setattr(made, name, value)
    return made
