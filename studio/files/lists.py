"""What a kind of list has to say of itself, so that it can be taken in and handed out."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models

from studio.errors import StudioError
from studio.files.columns import Column
from studio.files.rows import Fault, RowReader
from studio.models import Entry, Studio

# Rows that are looked at, or written, between two reports of how far it is.
STEP = 250
ENTERED, CHANGED, REPLACED, UNCHANGED = "entered", "changed", "replaced", "unchanged"
DEEDS = (ENTERED, CHANGED, REPLACED, UNCHANGED)


class ListFaultsError(StudioError):
    """A list that cannot be taken in; ``faults`` holds every one, in the order of the rows."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: fault.row))
        rows = len({fault.row for fault in self.faults})
        counted = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        where = "1 row" if rows == 1 else f"{rows} rows"
        super().__init__(f"{counted} in {where}: nothing was entered.")


@dataclass(frozen=True, slots=True)
class Change:
    """What becomes of one row: it is entered, changes what is there, or says nothing new."""

    row: int
    deed: str
    what: Any
    # Rows that are there already and that this one changes or replaces.
    before: tuple[Any, ...] = ()
    # Which columns of them it changes.
    columns: tuple[str, ...] = ()


class FileList(ABC):
    """One kind of list. Children say what its columns are, what a row means, and how it is kept.

    Reading a row asks the database nothing: all names are read once, in ``known``.
    """

    slug = ""
    title = ""
    # One row of it, and several, in words.
    noun = ""
    nouns = ""
    lede = ""
    act = ""
    # Where a person looks once it is entered: a route without arguments.
    route = ""
    columns: tuple[Column, ...] = ()
    # What can become of a row of it.
    deeds: tuple[str, ...] = (ENTERED, CHANGED, UNCHANGED)
    # A list whose rows are known again by a name; another is known by what it says as a whole.
    is_named = False
    # Who may take it out, beside the owner, without the columns of money.
    out_need = "studio.change"
    # Sentences for the page that takes it in.
    rules: tuple[str, ...] = ()

    @property
    def by_name(self) -> dict[str, Column]:
        """The columns by name."""
        return {one.name: one for one in self.columns}

    @abstractmethod
    def known(self, studio: Studio) -> Any:
        """Read what rows can refer to; it has a ``mark`` that changes with what matters of it."""

    @abstractmethod
    def read(self, row: RowReader, known: Any) -> Any:
        """Return what a row says; what is wrong with it is kept by the reader."""

    def together(self, rows: Sequence[tuple[int, Any]], known: Any) -> Iterable[Fault]:
        """Return what is wrong with rows beside each other."""
        return ()

    @abstractmethod
    def changes(self, rows: Sequence[tuple[int, Any]], known: Any) -> list[Change]:
        """Hold rows against what is there; a row that cannot be taken raises its faults."""

    @abstractmethod
    def write(self, changes: Sequence[Change], entry: Entry, tell: Any) -> None:
        """Write what is new; ``tell`` is told after each portion how many rows are written."""

    @abstractmethod
    def words(self, change: Change, studio: Studio) -> str:
        """Word one row in a few words."""

    def notes(self, changes: Sequence[Change]) -> list[str]:
        """Return what a person should know before it is entered."""
        return []

    @abstractmethod
    def rows_out(self) -> Iterator[dict[str, Any]]:
        """Yield what is there as values by column, in the units that the columns are read in."""


def portions(rows: Sequence[Any], size: int = STEP) -> Iterator[Sequence[Any]]:
    """Yield rows in portions."""
    for start in range(0, len(rows), size):
        yield rows[start : start + size]


def differences(row: models.Model, told: dict[str, Any]) -> tuple[str, ...]:
    """Return the attributes in which a row differs from what a list tells of it."""
    return tuple(name for name, value in told.items() if getattr(row, name) != value)
