"""Take a list in: look every row over, then enter all of it in one transaction, or nothing."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import IntegrityError
from django.urls import reverse
from django.utils import timezone

from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.files.lists import (
    DEEDS,
    ENTERED,
    STEP,
    UNCHANGED,
    Change,
    FileList,
    ListFaultsError,
)
from studio.files.rows import SUMS_SAID, Fault, ListFile, RowReader, is_of_sums
from studio.models import Entry, Studio

# How far it is: rows done, rows in all, and what is done with them.
Progress = Callable[[int, int, str], None]
LOOKED_OVER, WRITTEN = "looked over", "entered"
SPACE_OF_LISTS = uuid.UUID("6a3d54a2-6a0e-5c55-9d3a-0d6f6f6b2f10")
BEATEN = (
    "Somebody entered one of these rows at the same moment. Nothing was entered; look the list "
    "over once more."
)


class SameListError(StudioError):
    """A list that says what one said that was taken in before; ``entry`` is that first one."""

    def __init__(self, entry: Entry) -> None:
        day = timezone.localtime(entry.recorded_at)
        super().__init__(
            f"The same list was taken in on {day:%d %b %Y} by {entry.who}. Nothing was entered "
            "now: taken in once more, all of it would be there twice."
        )
        self.entry = entry


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What a list changes, row by row, and what a person should know of it."""

    changes: tuple[Change, ...]
    deeds: tuple[str, ...] = DEEDS
    notes: tuple[str, ...] = ()
    same_as: Entry | None = None

    def count(self, deed: str) -> int:
        """Return how many rows come to a deed."""
        return sum(change.deed == deed for change in self.changes)

    @property
    def is_new(self) -> bool:
        """Whether anything in it is not there already."""
        return self.count(UNCHANGED) < len(self.changes)

    @property
    def counts(self) -> dict[str, int]:
        """Return rows, and rows by deed."""
        return {"rows": len(self.changes), **{deed: self.count(deed) for deed in self.deeds}}

    @property
    def said(self) -> str:
        """Word the counts."""
        return ", ".join(
            f"{number} {deed}"
            for deed, number in self.counts.items()
            if deed in self.deeds and (number or deed == ENTERED)
        )


def shown_name(name: str) -> str:
    r"""Return the name of a file as it can be shown: without signs that cannot be seen.

    >>> shown_name("lots\u202excod.csv")
    'lots?xcod.csv'
    """
    return "".join(sign if sign.isprintable() else "?" for sign in name)[:60]


def take_in(
    flist: FileList,
    file: ListFile,
    *,
    name: str = "",
    dry_run: bool = False,
    again: bool = False,
    by: Any = None,
    progress: Progress | None = None,
) -> TakenIn:
    """Enter a list with one entry in the book, or only look it over.

    Its rows are read before the database is locked; only where a name that they refer to has
    changed meanwhile are they read once more. ``again`` enters a list that was entered before.
    """
    studio = Studio.current()
    known, rows = _read(flist, file, studio, progress)
    earlier = _same(flist, file)
    if dry_run:
        changes = flist.changes(rows, known)
        return TakenIn(tuple(changes), flist.deeds, _notes(flist, file, changes), earlier)
    with acting():
        # Of two people who take lists in at once, the second sees what the first has entered.
        Studio.objects.select_for_update().filter(pk=1).first()
        now = flist.known(studio)
        if now.mark != known.mark:
            now, rows = _read(flist, file, studio, progress)
        changes = flist.changes(rows, now)
        found = TakenIn(
            tuple(changes), flist.deeds, _notes(flist, file, changes), _same(flist, file)
        )
        if found.is_new:
            _enter(flist, file, found, name=name, again=again, by=by, progress=progress)
    return found


def _read(
    flist: FileList, file: ListFile, studio: Studio, progress: Progress | None
) -> tuple[Any, list[tuple[int, Any]]]:
    """Read every row, or raise every fault of theirs together."""
    known = flist.known(studio)
    columns = flist.by_name
    places = {name: place for place, name in enumerate(file.asked)}
    faults: list[Fault] = []
    read: list[tuple[int, Any]] = []
    before: dict[tuple[str, str], Any] = {}
    for done, cells in enumerate(file.rows, start=1):
        if is_of_sums(cells, flist.columns):
            faults.append(Fault(cells.number, "", SUMS_SAID))
            continue
        reader = RowReader(cells, columns, file.asked, before)
        row = flist.read(reader, known)
        # In the order of the columns, as somebody goes through the row.
        faults += sorted(reader.faults, key=lambda fault: places.get(fault.column, 0))
        if reader.is_fine:
            read.append((cells.number, row))
        if progress and (done % STEP == 0 or done == len(file.rows)):
            progress(done, len(file.rows), LOOKED_OVER)
    faults += flist.together(read, known)
    if faults:
        raise ListFaultsError(faults)
    return known, read


def _notes(flist: FileList, file: ListFile, changes: Sequence[Change]) -> tuple[str, ...]:
    return (*file.notes, *flist.notes(changes))


def _key(flist: FileList, file: ListFile) -> uuid.UUID:
    """Return the key of a list: the same for every file that says the same."""
    return uuid.uuid5(SPACE_OF_LISTS, f"{flist.slug} {file.digest}")


def _same(flist: FileList, file: ListFile) -> Entry | None:
    """Return the entry of the same list; one whose rows are known by name needs no such mark."""
    if flist.is_named:
        return None
    return Entry.objects.filter(request_key=_key(flist, file)).select_related("by").first()


def _enter(
    flist: FileList,
    file: ListFile,
    found: TakenIn,
    *,
    name: str,
    again: bool,
    by: Any,
    progress: Progress | None,
) -> None:
    if found.same_as is not None and not again:
        raise SameListError(found.same_as)
    key = uuid.uuid4() if flist.is_named or found.same_as is not None else _key(flist, file)
    refuse_repeat(key)
    entry = enter(
        flist.act,
        f"Took in {flist.nouns}{f' from {shown_name(name)}' if name else ''}: {found.said}",
        page=reverse(flist.route),
        key=key,
        by=by,
    )
    new = [change for change in found.changes if change.deed != UNCHANGED]

    def tell(done: int) -> None:
        if progress:
            progress(done, len(new), WRITTEN)

    try:
        flist.write(new, entry, tell)
    except IntegrityError as fault:
        raise StudioError(BEATEN) from fault
