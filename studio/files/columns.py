"""What a list is made of: its columns, each with the kind of thing that stands in it.

A list is declared once. Template, reading, faults, help and the file that goes out all follow
from its columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "text", "name", "choice", "yes", "day", "count", "number", "share", "mass", "length", "size",
    "grammage", "money",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a list.

    ``want`` words what has to stand in it, where the kind does not. ``unit`` is the one that our
    own files are written in; a file that comes in may use another, in its heading or in its
    cells. ``money`` is left out for who sees none. ``only_out`` is written for people to read and
    passed over when it comes in.
    """

    name: str
    kind: Kind = "text"
    help: str = ""
    example: str = ""
    want: str = ""
    needed: bool = False
    unit: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    longest: int = 80
    least: int = 0
    most: int = 1_000_000
    zero: bool = True
    below_one: bool = False
    money: bool = False
    only_out: bool = False
    also: tuple[str, ...] = ()

    @property
    def wanted(self) -> str:
        """Word what has to stand in the column, for where nothing does."""
        return self.want or self.example_words or "it"

    @property
    def example_words(self) -> str:
        """Word an example with its unit."""
        shown = f"{self.example} {self.unit}".strip()
        noun = NOUNS.get(self.kind, "")
        return f"{noun}, such as {shown}" if noun and shown else noun or shown

    def heading(self, unit: str = "") -> str:
        """Return the heading that our own files have, with its unit."""
        unit = unit or self.unit
        return f"{self.name} ({unit})" if unit else self.name


NOUNS: dict[str, str] = {
    "day": "a day", "count": "a whole number", "number": "a number", "share": "a share",
    "mass": "a mass", "length": "a length", "size": "a size", "grammage": "a grammage",
    "money": "an amount", "name": "a name", "choice": "one of those known",
}  # fmt: skip


def choices_of(kind: object) -> tuple[tuple[str, str], ...]:
    """Return the choices of a model's list of them as plain pairs."""
    return tuple((str(value), str(label)) for value, label in kind.choices)  # type: ignore[attr-defined]


def by_name(columns: Sequence[Column]) -> dict[str, Column]:
    """Return columns by every heading that means them, in small letters."""
    return {name.casefold(): one for one in columns for name in (one.name, *one.also)}
