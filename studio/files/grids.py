"""Rows of cells out of a CSV file or a workbook, with how the file was read in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from studio.errors import ReadingError
from studio.files import books, limits, texts


@dataclass(frozen=True, slots=True)
class Grid:
    """The rows of a file with their numbers in it, and how it was read."""

    rows: Iterator[tuple[int, list[Any]]]
    how: str
    beyond: tuple[str, ...] = ()


def content_of(path: Path) -> bytes:
    """Return the bytes of a file that is not too large to be a list; its size is asked first."""
    try:
        size = path.stat().st_size
        if size > limits.MOST_BYTES:
            raise ReadingError(
                f"{path} is larger than {limits.megabytes(limits.MOST_BYTES)}. Split it."
            )
        return path.read_bytes()
    except OSError as fault:
        raise ReadingError(f"{path} cannot be read: {fault.strerror}.") from fault


def read_grid(content: bytes, *, sheet: str = "") -> Grid:
    """Return the rows of a file; what is wrong with the file as a whole is refused at once."""
    if len(content) > limits.MOST_BYTES:
        raise ReadingError(
            f"The file is larger than {limits.megabytes(limits.MOST_BYTES)}. Split it."
        )
    if content.startswith(books.OLD_OR_LOCKED):
        raise ReadingError(
            "This is a workbook of the old kind, or one that is locked with a password. Save it "
            "as XLSX or CSV, without a password."
        )
    if content.startswith(books.ZIP):
        title, rows = books.grid_of(content, sheet)
        return Grid(_numbered(rows), f"Read as a workbook, its sheet “{title[:40]}”.")
    if sheet:
        raise ReadingError("Only a workbook has sheets, and this is a text file. Leave it out.")
    text = texts.decoded(content)
    body, mark = texts.parted(text.text)
    return Grid(
        _numbered(texts.rows_of(body, mark)),
        f"Read as {text.letters} text, its cells parted by {texts.MARKS[mark]}.",
        text.beyond,
    )


def _numbered(rows: Iterator[list[Any]]) -> Iterator[tuple[int, list[Any]]]:
    """Yield the rows with the numbers of a spreadsheet, as far as lines are looked at."""
    for number, row in enumerate(rows, start=1):
        if number > limits.MOST_LINES:
            raise ReadingError(books.TOO_FAR_DOWN.format(most=limits.MOST_LINES))
        yield number, row
