"""Rows of a list by heading, each cell still text, and the reading of one row at a time."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from django.core.exceptions import ValidationError

from studio.errors import ReadingError, StudioError
from studio.files import limits
from studio.files.books import Stand
from studio.files.columns import Column
from studio.files.grids import Grid, read_grid
from studio.files.headings import SHOWN, Heading, headings_of, is_heading, known_words
from studio.files.kinds import Asked, read_cell

T = TypeVar("T")
TOO_MANY_CELLS = "There are more cells than headings. Put quotation marks round a decimal comma."
# Lines of one cell above the headings: what the list is, of when, and by whom.
MOST_TITLES = 3
EXAMPLE = "example:"
# No-break and thin spaces: what the program itself puts between a number and its unit.
BLANKS = "\u00a0\u2009\u202f"
SUMS = frozenset({"total", "totals", "grand total", "sum", "in all"})
SUMS_SAID = "This looks like the sums of the list. Take the row out."


def seen(text: str) -> str:
    r"""Return text in which every sign can be seen; the blanks of figures stay.

    >>> seen("no \u202efibre\x1b[31m of 5\u00a0kg")
    'no ?fibre?[31m of 5\xa0kg'
    """
    return "".join(sign if sign.isprintable() or sign in BLANKS else "?" for sign in text)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing to put right, by the row of the file and the heading of the column."""

    row: int
    column: str
    text: str

    def __post_init__(self) -> None:
        """Keep what stands in a cell from steering the terminal or the page that shows it."""
        object.__setattr__(self, "text", seen(self.text))

    def __str__(self) -> str:
        where = f"Row {self.row}, {self.column}" if self.column else f"Row {self.row}"
        return f"{where}: {self.text}"


@dataclass(frozen=True, slots=True)
class Cells:
    """One row by its number in the file: text by column, and cells that cannot be taken."""

    number: int
    texts: dict[str, str]
    faults: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class ListFile:
    """The rows of a file, the units its headings name, and how it was read in words."""

    rows: list[Cells]
    asked: dict[str, Asked]
    how: str = ""
    beyond: tuple[str, ...] = ()
    examples: int = 0
    titles: tuple[str, ...] = ()

    @property
    def digest(self) -> str:
        """A mark of what the list says, however its file is written."""
        told = [sorted((name, text) for name, text in row.texts.items() if text)
                for row in self.rows]  # fmt: skip
        units = sorted((name, asked.unit) for name, asked in self.asked.items())
        return hashlib.sha256(json.dumps([units, told]).encode()).hexdigest()

    @property
    def notes(self) -> list[str]:
        """What a person should know of how the file was read."""
        said = [self.how] if self.how else []
        if self.beyond:
            said.append(f"Look whether these words are right: {', '.join(self.beyond)}.")
        for title in self.titles:
            said.append(f"“{title}” above the headings is taken for a title and left out.")
        if self.examples:
            rows = "1 example row was" if self.examples == 1 else f"{self.examples} example rows"
            said.append(f"{rows}{'' if self.examples == 1 else ' were'} left out.")
        return said


def read_list(
    content: bytes,
    columns: Sequence[Column],
    *,
    currency: str = "GBP",
    sheet: str = "",
    decimals: str = "",
) -> ListFile:
    """Return the rows of a file; what is wrong with the file as a whole is refused at once."""
    grid = read_grid(content, sheet=sheet)
    filled = _filled(grid)
    titles, first = _titles(filled, columns, currency)
    if first is None:
        raise ReadingError(f"The file is empty. Its first line names: {known_words(columns)}.")
    headings = headings_of(first, columns, currency)
    rows, examples = _rows(filled, headings)
    asked = {heading.column.name: Asked(heading.unit, currency, decimals) for heading in headings}
    return ListFile(rows, asked, grid.how, grid.beyond, examples, titles)


def _titles(
    filled: Iterator[tuple[int, list[Any]]], columns: Sequence[Column], currency: str
) -> tuple[tuple[str, ...], list[Any] | None]:
    """Return what stands above the headings, and the row of headings; None where there is none.

    A title is a line of one cell that is no heading, with the headings somewhere below it.
    """
    above: list[list[Any]] = []
    for _, row in filled:
        first, *others = (cell for cell in row if _stands(cell))
        if others or isinstance(first, Stand) or is_heading(str(first), columns, currency):
            return tuple(_title(one) for one in above), row
        above.append(row)
        if len(above) > MOST_TITLES:
            break
    return (), above[0] if above else None


def _title(row: Sequence[Any]) -> str:
    return str(next(filter(_stands, row))).strip()[:SHOWN]


def _rows(
    filled: Iterator[tuple[int, list[Any]]], headings: Sequence[Heading]
) -> tuple[list[Cells], int]:
    found: list[Cells] = []
    examples = 0
    for number, row in filled:
        if _is_example(row):
            examples += 1
        elif len(found) == limits.MOST_ROWS:
            raise ReadingError(f"The list has more than {limits.MOST_ROWS} rows. Split it.")
        else:
            found.append(_cells(number, headings, row))
    if not found:
        raise ReadingError("There is no row under the headings.")
    return found, examples


def _filled(grid: Grid) -> Iterator[tuple[int, list[Any]]]:
    """Yield the rows that hold anything; one that is too wide is refused."""
    for number, row in grid.rows:
        filled = [index for index, cell in enumerate(row) if _stands(cell)]
        if not filled:
            continue
        if filled[-1] >= limits.MOST_COLUMNS:
            raise ReadingError(
                f"Row {number} goes beyond column {limits.MOST_COLUMNS}. Take away what stands "
                "far to the right of the list."
            )
        yield number, row


def _stands(cell: Any) -> bool:
    return isinstance(cell, Stand) or bool(str(cell).strip())


def _is_example(row: Sequence[Any]) -> bool:
    first = next(cell for cell in row if _stands(cell))
    return not isinstance(first, Stand) and str(first).strip().casefold().startswith(EXAMPLE)


def _cells(number: int, headings: Sequence[Heading], row: Sequence[Any]) -> Cells:
    texts, faults = {}, []
    for heading, cell in zip(headings, row, strict=False):
        name = heading.column.name
        if heading.column.only_out:
            continue
        if isinstance(cell, Stand):
            faults.append((name, cell.said))
        elif len(str(cell)) > limits.MOST_CHARACTERS:
            faults.append((name, _too_long(str(cell))))
        else:
            texts[name] = str(cell).strip()
    if any(_stands(cell) for cell in row[len(headings) :]):
        faults.append(("", TOO_MANY_CELLS))
    return Cells(number, texts, tuple(faults))


def is_of_sums(cells: Cells, columns: Sequence[Column]) -> bool:
    """Tell a row of sums under a list: it opens so, and lacks what no row can be without."""
    first = next(filter(None, cells.texts.values()), "")
    return first.casefold().rstrip(" :") in SUMS and any(
        one.needed and not cells.texts.get(one.name) for one in columns
    )


def _too_long(text: str) -> str:
    return f"Give at most {limits.MOST_CHARACTERS} characters; this has {len(text)}."


@dataclass(slots=True)
class RowReader:
    """Reads the cells of one row and keeps what is wrong with them."""

    cells: Cells
    columns: dict[str, Column]
    asked: dict[str, Asked]
    # What cells of the same words came to in rows before: most words of a list stand in many.
    read_before: dict[tuple[str, str], Any] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Begin with what could not be taken out of the file."""
        for column, text in self.cells.faults:
            self.blame(column, text)

    @property
    def number(self) -> int:
        """The number of the row in its file."""
        return self.cells.number

    def has(self, name: str) -> bool:
        """Tell whether anything stands in a column."""
        return bool(self.cells.texts.get(name))

    def take(
        self, name: str, how: Callable[[str], T] | None = None, default: T | None = None
    ) -> Any:
        """Return a cell as ``how`` reads it, or as its kind is read; the default where empty."""
        column = self.columns[name]
        if any(name == faulty for faulty, _ in self.cells.faults):
            return default
        text = self.cells.texts.get(name, "")
        if not text:
            if column.needed:
                self.blame(name, f"Nothing stands here. Give {column.wanted}.")
            return default
        try:
            if how is not None:
                return how(text)
            return self._read(text, column)
        except StudioError as fault:
            self.blame(name, str(fault))
        except ValidationError as fault:
            self.blame(name, f"“{text[:40]}”: {' '.join(fault.messages)}")
        return default

    def _read(self, text: str, column: Column) -> Any:
        key = (column.name, text)
        if key not in self.read_before:
            asked = self.asked.get(column.name) or Asked()
            self.read_before[key] = read_cell(text, column, asked)
        return self.read_before[key]

    def blame(self, column: str, text: str) -> None:
        """Keep a fault."""
        self.faults.append(Fault(self.number, column, text))

    @property
    def is_fine(self) -> bool:
        """Whether nothing is wrong so far."""
        return not self.faults
