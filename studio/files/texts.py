"""Text files of cells: which letters they are written in, and what parts their cells.

Nothing is guessed unseen: how a file was read is said in words, with the words in it that would
look wrong if it was read wrongly.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

from studio.errors import ReadingError
from studio.exports import plain_text

MARKS = {",": "commas", ";": "semicolons", "\t": "tabs"}
# Bytes that are control characters in Latin-1 and letters or signs in Windows-1252.
WINDOWS = re.compile(rb"[\x80-\x9f]")
BEYOND = re.compile(r"\w*[^\x00-\x7f]\w*")
SHOWN_WORDS = 6
QUOTED = re.compile(r'"[^"]*"')
# Signs at the beginning of a file among which the one that parts cells is looked for.
LOOKED_AT = 20_000
SEPARATOR_LINE = re.compile(r"sep=(.)\r?\n", re.IGNORECASE)
NO_TEXT = "The file is no text. Give a CSV file or an XLSX workbook."


@dataclass(frozen=True, slots=True)
class Text:
    """A text file as it was read: its letters by name, and words that show whether that fits."""

    text: str
    letters: str

    @property
    def beyond(self) -> tuple[str, ...]:
        """The first words with letters that not every encoding writes alike."""
        if self.text.isascii():
            return ()
        found = dict.fromkeys(word[:40] for word in BEYOND.findall(self.text))
        return tuple(found)[:SHOWN_WORDS]


def decoded(content: bytes) -> Text:
    """Return the text of a file and the name of its encoding."""
    found = _by_its_mark(content) or _without_mark(content)
    if "\0" in found.text:
        raise ReadingError(NO_TEXT)
    return found


def _by_its_mark(content: bytes) -> Text | None:
    """Read a file that begins with the mark of its encoding."""
    if content.startswith(b"\xef\xbb\xbf"):
        return Text(_strictly(content, "utf-8-sig", "UTF-8"), "UTF-8")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Text(_strictly(content, "utf-16", "UTF-16"), "UTF-16")
    return None


def _without_mark(content: bytes) -> Text:
    """Read UTF-8 where all of it is, UTF-16 by its empty bytes, else Western European."""
    half = _half_empty(content)
    if half:
        return Text(_strictly(content, half, "UTF-16"), "UTF-16")
    try:
        return Text(content.decode("utf-8"), "UTF-8")
    except UnicodeDecodeError:
        if b"\0" in content:
            raise ReadingError(NO_TEXT) from None
    if not WINDOWS.search(content):
        return Text(content.decode("latin-1"), "Latin-1")
    return Text(_strictly(content, "cp1252", "Windows-1252"), "Windows-1252")


def _half_empty(content: bytes) -> str:
    """Name the UTF-16 in which plain letters leave every second byte empty, or nothing."""
    first = content[:4000]
    if len(first) < 4 or len(content) % 2:
        return ""
    evens, odds = first[::2].count(0), first[1::2].count(0)
    most, least = max(evens, odds), min(evens, odds)
    if most * 4 < len(first) or least:
        return ""
    return "utf-16-be" if evens > odds else "utf-16-le"


def _strictly(content: bytes, encoding: str, name: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as fault:
        raise ReadingError(
            f"The file looks like {name} text, and byte {fault.start + 1} cannot be read as that. "
            "Save it as CSV in UTF-8, or as XLSX."
        ) from fault


def parted(text: str) -> tuple[str, str]:
    """Return the text of the rows, and the sign that parts their cells.

    It is the sign that stands most often in the first line with any of them in it, for a title
    may stand above; a first line such as ``sep=;`` says it outright.
    """
    said = SEPARATOR_LINE.match(text)
    if said and said[1] in MARKS:
        return text[said.end() :], said[1]
    lines = (QUOTED.sub("", line) for line in text[:LOOKED_AT].splitlines())
    parted = next((line for line in lines if any(mark in line for mark in MARKS)), "")
    return text, max(MARKS, key=parted.count)


def rows_of(text: str, mark: str) -> Iterator[list[str]]:
    """Yield the cells of each row, what made a formula harmless undone."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True)
    try:
        for row in reader:
            yield [plain_text(cell) for cell in row]
    except csv.Error as fault:
        if "field larger" in str(fault):
            raise ReadingError(
                f"A cell that ends about line {reader.line_num} never seems to end. Look for a "
                "quotation mark that is not closed."
            ) from fault
        raise ReadingError(
            f"Line {reader.line_num} of the file cannot be read ({fault}). Look at its quotation "
            "marks."
        ) from fault
