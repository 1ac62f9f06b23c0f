"""Put a copy in the place of the studio's SQLite database, and set that one aside.

Everything is done to a second copy beside the database first: it is held against its mark, looked
through, brought up to this release and its ledger proved. Only one that passed takes the place,
in one stroke; until then the database in use is not touched.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import stat
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import DatabaseError, connections
from django.db.migrations.exceptions import InconsistentMigrationHistory
from django.utils import timezone

from studio.copies import inuse, naming, room, sqlitefile
from studio.copies.making import PART, STALE_S, mark_of
from studio.copies.proof import Proof, Prove, some_of
from studio.errors import StudioError

UNTOUCHED = "The database in use was not touched."
LEAST_BYTES = 512
IN_USE = (
    "The database is in use: stop “manage.py serve” and whatever else of the studio runs, then "
    f"restore again. {UNTOUCHED}"
)


@dataclass(frozen=True, slots=True)
class Book:
    """How far the book of a database goes: its entries, and when the last was made."""

    entries: int = 0
    last: str = ""


@dataclass(slots=True)
class Ready:
    """A copy that passed, lying beside the database under a passing name."""

    path: Path
    file: Path
    live: Path
    rows: int
    proof: Proof
    book: Book
    is_marked: bool
    brought_up: tuple[str, ...] = ()
    live_book: Book | None = None
    aside: Path | None = None


@contextmanager
def prepared(
    path: Path, live: Path, *, prove: Prove, accept_faults: bool = False
) -> Iterator[Ready]:
    """Look a copy over beside the database; refuse what is damaged, foreign or of a later day."""
    _refuse_at_sight(path, live)
    room.refuse_without(2 * path.stat().st_size + room.LEFT_FREE, live.parent)
    _sweep(live)
    file = _file_beside(live)
    try:
        # Whoever is asked whether to go on may take a day over it.
        with inuse.held(file):
            try:
                shutil.copyfile(path, file)
            except OSError as fault:
                raise StudioError(f"{room.why_not(fault, live.parent)} {UNTOUCHED}") from fault
            yield _looked_over(path, file, live, prove=prove, accept_faults=accept_faults)
    finally:
        _remove(file)


def put_in_place(ready: Ready, *, now: datetime | None = None) -> Path | None:
    """Set the database aside and put the copy there; return where the old one lies now."""
    live = ready.live
    try:
        # Before anybody is kept out: a disk may take its time.
        _take_over_rights(ready.file, live)
        room.write_down(ready.file)
    except OSError as fault:
        raise StudioError(f"{room.why_not(fault, live.parent)} {UNTOUCHED}") from fault
    with inuse.alone_with(live) as alone:
        if not alone or not _is_quiet(live):
            raise StudioError(IN_USE)
        try:
            if live.exists():
                ready.aside = _set_aside(live, now or timezone.now())
            ready.file.replace(live)
        except OSError as fault:
            if ready.aside is not None:
                _bring_back(live, ready.aside)
            raise StudioError(f"{room.why_not(fault, live.parent)} {UNTOUCHED}") from fault
    # The copy is in its place by now, whatever the disk says of it.
    with suppress(OSError):
        room.write_down(live.parent)
    return ready.aside


def book_of(file: Path) -> Book | None:
    """Read how far the book goes, if it can be read; the last moment is in universal time."""
    try:
        with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as opened:
            found = opened.execute(
                "SELECT COUNT(*), MAX(recorded_at) FROM studio_entry"
            ).fetchone()
    except sqlite3.Error:
        return None
    return Book(found[0], found[1] or "")


# --- before anything is touched -----------------------------------------------------------------


def _refuse_at_sight(path: Path, live: Path) -> None:
    if not path.is_file():
        raise StudioError(f"There is no file {path}. {UNTOUCHED}")
    if live.exists() and path.samefile(live):
        raise StudioError(f"{path} is the database in use, not a copy of it. {UNTOUCHED}")
    beside = [
        suffix for suffix in ("-wal", "-journal") if path.with_name(path.name + suffix).exists()
    ]
    if beside:
        raise StudioError(
            f"Beside {path} lies {path.name}{beside[0]}, so it is no copy that “backup” made and "
            "part of it may be in that file. Set HALFSTUFF_DATA to a folder with both in it, run "
            f"“manage.py backup” there, and restore what that makes. {UNTOUCHED}"
        )
    try:
        if not path.stat().st_size:
            raise StudioError(f"{path} is empty. {UNTOUCHED}")
        if not sqlitefile.is_sqlite(path):
            raise StudioError(f"{path} is no copy of a studio’s database. {UNTOUCHED}")
    except OSError as fault:
        raise StudioError(
            f"{path} cannot be read: {fault.strerror or fault}. {UNTOUCHED}"
        ) from fault


def _looked_over(
    path: Path, file: Path, live: Path, *, prove: Prove, accept_faults: bool
) -> Ready:
    is_marked = _hold_against_mark(path, file)
    found = sqlitefile.unsound(file)
    if found:
        raise StudioError(
            f"{path} is damaged: {some_of(tuple(found))}. Use another copy. {UNTOUCHED}"
        )
    with sqlitefile.opened(file) as alias:
        age = sqlitefile.age_of(alias)
    sqlitefile.refuse_foreign(age, str(path))
    # Opened to be changed: its ledger is proved as this release reads it.
    with sqlitefile.opened(file, to_change=True) as alias:
        try:
            if age.lacks:
                call_command("migrate", database=alias, verbosity=0, interactive=False)
            missing = sqlitefile.missing_tables(alias)
            if missing:
                raise StudioError(
                    f"{path} is damaged: it lacks the table {missing[0]}. Use another copy. "
                    f"{UNTOUCHED}"
                )
            proof = prove(alias)
        except (DatabaseError, InconsistentMigrationHistory) as fault:
            raise StudioError(
                f"{path} cannot be brought up to this release: {str(fault)[:200]}. Use another "
                f"copy. {UNTOUCHED}"
            ) from fault
    if proof.faults and not accept_faults:
        raise StudioError(
            f"The ledger in {path} does not prove itself: {some_of(proof.faults)}. Use another "
            f"copy, or take it as it is with --accept-faults. {UNTOUCHED}"
        )
    return Ready(
        path=path,
        file=file,
        live=live,
        rows=sum(sqlitefile.rows_of(file).values()),
        proof=proof,
        book=book_of(file) or Book(),
        is_marked=is_marked,
        brought_up=age.lacks,
        live_book=book_of(live) if live.exists() else None,
    )


def _hold_against_mark(path: Path, file: Path) -> bool:
    """Tell whether there is a mark; refuse a file that is not as it was when the mark was made."""
    try:
        words = mark_of(path).read_text(encoding="utf-8").split()
    except FileNotFoundError:
        return False
    except (OSError, UnicodeDecodeError):
        words = []
    if len(words) != 2 or words[0] != sqlitefile.digest_of(file):
        raise StudioError(
            f"{path} is not as it was made: its sha256 is another than {mark_of(path).name} says. "
            f"It is damaged or was changed; use another copy. {UNTOUCHED}"
        )
    return True


# --- the change of places -----------------------------------------------------------------------


def _is_quiet(live: Path) -> bool:
    """Tell whether nobody is reading or writing; what was broken off is settled by the way.

    A database that cannot be read any more is in nobody's use.
    """
    # Of a file too short to be one SQLite would remove the log beside it.
    if not live.exists() or live.stat().st_size < LEAST_BYTES:
        return True
    connections["default"].close()
    try:
        with closing(sqlite3.connect(live, timeout=1, isolation_level=None)) as opened:
            opened.execute("PRAGMA locking_mode=EXCLUSIVE")
            opened.execute("BEGIN EXCLUSIVE")
            opened.execute("ROLLBACK")
    except sqlite3.OperationalError as fault:
        return "locked" not in str(fault)
    except sqlite3.DatabaseError:
        return True
    return True


def _take_over_rights(file: Path, live: Path) -> None:
    """Give the copy to the account that the database belongs to: the server runs under it."""
    model = live.stat() if live.exists() else None
    os.chmod(file, stat.S_IMODE(model.st_mode) if model else 0o600)
    owner = model or live.parent.stat()
    with suppress(OSError, AttributeError):
        os.chown(file, owner.st_uid, owner.st_gid)


def _set_aside(live: Path, now: datetime) -> Path:
    """Give the old database another name, and what lies beside it the same."""
    aside = _free_name(live, now)
    beside = [suffix for suffix in sqlitefile.BESIDE if _with(live, suffix).exists()]
    done: list[tuple[Path, Path]] = []
    try:
        for suffix in beside:
            _with(live, suffix).rename(_with(aside, suffix))
            done.append((_with(live, suffix), _with(aside, suffix)))
        try:
            # A second name first, so that there is no moment without a database.
            os.link(live, aside)
        except OSError:
            live.rename(aside)
    except OSError:
        for was, became in done:
            became.rename(was)
        raise
    return aside


def _bring_back(live: Path, aside: Path) -> None:
    """Undo what was set aside, where the copy could not take its place."""
    try:
        is_named_twice = live.exists() and live.samefile(aside)
        if live.exists() and not is_named_twice:
            # Some disks refuse and do it all the same; the old log never comes beside the copy.
            raise StudioError(
                f"The copy is in its place, though the disk said it is not. What was there is set "
                f"aside: {aside}."
            )
        for suffix in sqlitefile.BESIDE:
            if _with(aside, suffix).exists():
                _with(aside, suffix).rename(_with(live, suffix))
        if is_named_twice:
            aside.unlink()
        else:
            aside.rename(live)
    except OSError as fault:
        raise StudioError(
            f"The copy could not take its place ({fault.strerror or fault}), and the database is "
            f"now {aside}. Give it, and what lies beside it under that name, the name {live.name} "
            "again before the studio is started."
        ) from fault


def _free_name(live: Path, now: datetime) -> Path:
    taken = set(os.listdir(live.parent))
    stem = naming.stem_of(live.stem)
    while True:
        name = naming.copy_name(stem, live.suffix, now, taken=taken, what=naming.SET_ASIDE)
        if not any(name + suffix in taken for suffix in sqlitefile.BESIDE):
            return live.with_name(name)
        taken.add(name)


def _with(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def _file_beside(live: Path) -> Path:
    """Make an empty file for the copy that only its owner may read, and no other restore uses."""
    try:
        handle, name = tempfile.mkstemp(PART, f".{live.name}.restoring-", live.parent)
    except OSError as fault:
        raise StudioError(f"{room.why_not(fault, live.parent)} {UNTOUCHED}") from fault
    os.close(handle)
    return Path(name)


def _sweep(live: Path) -> None:
    """Take away what restores that were broken off left, once nobody can be at it."""
    ours = re.compile(rf"(\.{re.escape(live.name)}\.restoring.*{re.escape(PART)}).*")
    with suppress(OSError):
        for path in live.parent.iterdir():
            found = ours.fullmatch(path.name)
            if not found or time.time() - path.stat().st_mtime <= STALE_S:
                continue
            if not inuse.is_held(path.with_name(found[1])):
                path.unlink()


def _remove(file: Path) -> None:
    for suffix in ("", *sqlitefile.BESIDE):
        with suppress(OSError):
            _with(file, suffix).unlink(missing_ok=True)


def live_file() -> Path | None:
    """Return the file of the studio's database itself, not a link to it; None where it is none."""
    connection: Any = connections["default"]
    file = inuse.file_of(connection)
    return file.resolve() if file else None
