"""One SQLite file as a copy: taken from a file in use, looked through, opened beside it."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import connections
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from studio import database
from studio.errors import StudioError
from studio.files.tables import house_models

MAGIC = b"SQLite format 3\x00"
BESIDE = ("-wal", "-shm", "-journal")
AT_A_TIME = 1 << 20
# The house is known by the changes that its tables went through.
HOUSE = "studio"


@dataclass(frozen=True, slots=True)
class Age:
    """How the tables of a database stand to this release of the program."""

    lacks: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    is_house: bool = True


def snapshot(source: Path, target: Path) -> None:
    """Copy a database that is in use as it stands at one moment; ``target`` is an empty file.

    It is read in one go: page by page it would begin anew with every entry that somebody makes.
    In the rollback journal entries wait for as long as that takes, about a second for 500 MB.
    """
    address = f"{source.absolute().as_uri()}?mode=rw"
    wait = database.WAIT_SECONDS["delete"]
    with (
        closing(sqlite3.connect(address, uri=True, timeout=wait)) as live,
        closing(sqlite3.connect(target, isolation_level=None)) as copy,
    ):
        # Nothing stands on this file yet; it is written down to the disk once it is whole.
        copy.execute("PRAGMA synchronous=OFF")
        copy.execute("PRAGMA journal_mode=MEMORY")
        # The copying itself waits for a lock for ever; reading first waits as long as is told.
        live.execute("BEGIN")
        live.execute("SELECT 1 FROM sqlite_master").fetchone()
        live.backup(copy)
        # One file that needs no other beside it, whatever way of writing the studio uses.
        copy.execute("PRAGMA journal_mode=DELETE")


def is_sqlite(path: Path) -> bool:
    """Tell whether a file begins as a database of this kind does."""
    with path.open("rb") as file:
        return file.read(len(MAGIC)) == MAGIC


def unsound(path: Path) -> list[str]:
    """Return what SQLite finds wrong with a file, or nothing."""
    cut = _cut_off(path)
    if cut:
        return [cut]
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as file:
            found = [text for (text,) in file.execute("PRAGMA integrity_check(10)")]
            loose = file.execute("PRAGMA foreign_key_check").fetchmany(10)
    except sqlite3.DatabaseError as fault:
        return [str(fault)]
    return [
        *(text.splitlines()[0][:200] for text in found if text != "ok"),
        *(f"row {row} of {table} points at no row of {parent}" for table, row, parent, _ in loose),
    ]


def _cut_off(path: Path) -> str:
    """Say where a file is not as long as it says itself: SQLite fills up what lacks with zeros."""
    with path.open("rb") as file:
        head = file.read(32)
    if len(head) < 32:
        return "it is cut off"
    page = int.from_bytes(head[16:18], "big")
    told = (65536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
    size = path.stat().st_size
    return "" if told == size else f"it is {size} bytes long and should be {told}"


def rows_of(path: Path) -> dict[str, int]:
    """Count the rows of each table."""
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as file:
        names = file.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        ).fetchall()
        return {
            name: file.execute(f'SELECT COUNT(*) FROM "{name}"').fetchone()[0] for (name,) in names
        }


def first_entry(path: Path, *, is_still: bool = True) -> tuple[str, str] | None:
    """Return the key and the moment of the first entry, by which a studio is told from another.

    None where there is none or it cannot be read. ``is_still`` is for a file nobody writes: it is
    read without a lock and without a file beside it.
    """
    address = f"{path.absolute().as_uri()}?mode=ro{'&immutable=1' if is_still else ''}"
    try:
        with closing(sqlite3.connect(address, uri=True, timeout=1)) as file:
            found = file.execute(
                "SELECT request_key, recorded_at FROM studio_entry ORDER BY id LIMIT 1"
            ).fetchone()
    except sqlite3.Error:
        return None
    return (str(found[0]), str(found[1])) if found else None


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file, read a piece at a time."""
    mark = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(AT_A_TIME):
            mark.update(piece)
    return mark.hexdigest()


@contextmanager
def opened(path: Path, *, to_change: bool = False) -> Iterator[str]:
    """Open a file beside the studio's own database; give the name of the connection."""
    alias = f"copy-{path.name}"
    settings = {**connections.settings["default"], **database.sqlite(path, journal="delete")}
    if not to_change:
        # Nobody writes it, so it is read as it lies, without a lock and without a file beside it.
        settings["NAME"] = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
        settings["OPTIONS"] = {"transaction_mode": "DEFERRED"}
    connections.settings[alias] = settings
    try:
        yield alias
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.settings[alias]


def age_of(alias: str) -> Age:
    """Hold the changes that a database went through against those of this release."""
    return age_by(set(MigrationRecorder(connections[alias]).applied_migrations()))


def age_by(applied: set[Any]) -> Age:
    """Hold changes, by app and name, against those of this release."""
    known = set(MigrationLoader(None).disk_migrations)
    installed = {config.label for config in apps.get_app_configs()}
    return Age(
        lacks=tuple(sorted(".".join(one) for one in known - applied)),
        unknown=tuple(sorted(".".join(one) for one in applied - known if one[0] in installed)),
        is_house=any(label == HOUSE for label, _ in applied),
    )


def missing_tables(alias: str) -> list[str]:
    """Return the tables that a database of this release has and this one lacks."""
    present = set(connections[alias].introspection.table_names())
    return sorted({model._meta.db_table for model in house_models()} - present)


def is_behind(alias: str = "default") -> bool:
    """Tell whether a database that has tables lacks changes of this release."""
    connection = connections[alias]
    if MigrationRecorder.Migration._meta.db_table not in connection.introspection.table_names():
        return False
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def refuse_foreign(age: Age, said: str) -> None:
    """Refuse what is of another program, or of a later release of this one."""
    if not age.is_house:
        raise StudioError(f"{said} is a database of another program. Nothing was changed.")
    if age.unknown:
        raise StudioError(
            f"{said} was made by a later release of this program: it knows "
            f"{', '.join(age.unknown[:3])}, which this one does not. Bring the program up to date "
            "first. Nothing was changed."
        )
