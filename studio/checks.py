"""What is looked at when the program starts, each with a stable id and a way out."""

from __future__ import annotations

import os
import shutil
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning
from django.core.checks import register as register_check
from django.db import connections
from django.db.utils import DatabaseError
from django.db.utils import Error as AnyDatabaseError
from django.urls import URLPattern, URLResolver, get_resolver

from studio import appendonly, database, mounts, outages, roles
from studio.copies import inuse, room
from studio.files.limits import megabytes

# Settings of PostgreSQL without which a saved entry may not outlive a power cut.
WRITES_DOWN = ["fsync", "full_page_writes"]


def register() -> None:
    """Add the house's own checks to Django's."""
    register_check(views_declare_needs, Tags.security)
    register_check(data_folder_is_writable)
    register_check(room_is_left)
    register_check(database_is_on_this_machine)
    register_check(database_is_sound, Tags.database)


def every_pattern(resolver: URLResolver | None = None) -> list[URLPattern]:
    """Return every route of the site, nested ones too."""
    found: list[URLPattern] = []
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            found += every_pattern(pattern)
        else:
            found.append(pattern)
    return found


def views_declare_needs(**kwargs: Any) -> list[CheckMessage]:
    """Find views that would be refused because they do not say what they need."""
    return [
        Error(
            f"The view of {pattern.pattern} does not say what it needs.",
            hint="Mark it with studio.roles.needs.",
            id="studio.E001",
        )
        for pattern in every_pattern()
        if not roles.need_of(pattern.callback)
    ]


def data_folder_is_writable(**kwargs: Any) -> list[CheckMessage]:
    """Find a data folder that entries could not be saved in."""
    folder = settings.DATA_DIR
    file = inuse.file_of(connections["default"])
    # The journal lies beside the file, so the folder has to take new files too.
    for what, path in (("folder", folder), ("file", file if file and file.exists() else folder)):
        if not os.access(path, os.W_OK):
            return [
                Error(
                    f"Entries cannot be saved: the {what} {path} cannot be written to.",
                    hint="Give this account the right to write there, or set HALFSTUFF_DATA.",
                    id="studio.E002",
                )
            ]
    return []


def room_is_left(**kwargs: Any) -> list[CheckMessage]:
    """Find a disk that will soon take no more entries."""
    folder = settings.DATA_DIR
    free = shutil.disk_usage(folder).free if folder.is_dir() else room.LEFT_FREE
    if free >= room.LEFT_FREE:
        return []
    return [
        Warning(
            f"The disk of {folder} has {megabytes(free)} left, and entries need room.",
            hint="Make room on it, or move the folder and set HALFSTUFF_DATA.",
            id="studio.W002",
        )
    ]


def database_is_on_this_machine(**kwargs: Any) -> list[CheckMessage]:
    """Find a database file on a network drive, which keeps neither locks nor memory as it must."""
    file = inuse.file_of(connections["default"])
    kind = mounts.network_kind(file.parent) if file else ""
    if not kind:
        return []
    journal = database.journal_mode(os.environ.get("HALFSTUFF_SQLITE_JOURNAL", ""))
    why = {
        "wal": "In write-ahead mode SQLite needs memory that such a drive does not share, so "
        "that entries can be lost and the file damaged.",
        "delete": "SQLite relies on its locks, and such drives do not always keep them, so that "
        "two people at once can damage the file.",
    }
    return [
        Warning(
            f"The database lies on a network drive: {file.parent} is {kind}. {why[journal]}",
            hint="Move the folder to a disk of this machine and set HALFSTUFF_DATA. Several "
            "machines share a studio in PostgreSQL: HALFSTUFF_DATABASE_URL.",
            id="studio.W004",
        )
    ]


def database_is_sound(databases: list[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Look at what only the database tells; where it does not answer, it is asked once."""
    found = database_answers(databases)
    if found:
        return found
    for look in (
        journal_mode_is_told,
        server_writes_down,
        triggers_are_there,
        clock_is_not_behind,
    ):
        found += look(databases)
    return found


def database_answers(databases: list[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Find a database that cannot be reached, and say why: pages only say that it is so."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        try:
            connection.ensure_connection()
        except AnyDatabaseError as fault:
            file = inuse.file_of(connection)
            hint = (
                f"See that this account may read and write {file} and its folder, and that "
                "their disk has room."
                if file
                else "See that the server runs, and that HALFSTUFF_DATABASE_URL names it rightly."
            )
            said = f"The database cannot be reached: {outages.in_one_line(fault)}."
            found.append(Error(said, hint=hint, id="studio.E004"))
    return found


def server_writes_down(databases: list[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Find a server that says that an entry is saved before it is on its disk."""
    for alias in databases or []:
        if connections[alias].vendor != "postgresql":
            continue
        try:
            with connections[alias].cursor() as cursor:
                cursor.execute(
                    "SELECT name FROM pg_settings WHERE name = ANY(%s) AND setting = 'off'",
                    [WRITES_DOWN],
                )
                off = [name for (name,) in cursor.fetchall()]
        except DatabaseError:
            continue
        if off:
            return [
                Warning(
                    f"PostgreSQL is set up so that a power cut can damage the studio: "
                    f"{' and '.join(sorted(off))} {'is' if len(off) == 1 else 'are'} off.",
                    hint="Turn that on in postgresql.conf and have the server read that again.",
                    id="studio.W005",
                )
            ]
    return []


def journal_mode_is_told(databases: list[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Say when the slower, safer way of writing is in use, and why; only where it is asked."""
    if (
        not databases
        or connections["default"].vendor != "sqlite"
        or database.journal_mode() == "wal"
    ):
        return []
    if os.environ.get("HALFSTUFF_SQLITE_JOURNAL"):
        return []
    return [
        Warning(
            "SQLite here is older than 3.51.3, so entries are written in the rollback journal.",
            hint="Nothing to do: it is safe and fast enough for a studio. Where the library "
            "carries the repair already, HALFSTUFF_SQLITE_JOURNAL=wal is faster.",
            id="studio.W001",
        )
    ]


def triggers_are_there(databases: list[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Find ledger tables whose rows could be changed."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        try:
            tables = appendonly.missing(alias)
        except DatabaseError:
            continue
        found += [
            Error(
                f"Rows of {table} could be changed: its triggers are gone.",
                hint="Run manage.py migrate, which puts them back.",
                id="studio.E003",
            )
            for table in tables
        ]
    return found


def clock_is_not_behind(databases: list[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Find a clock that says less than the entry book does."""
    from studio.clock import behind

    found: list[CheckMessage] = []
    for alias in databases or []:
        try:
            said = behind(alias)
        except DatabaseError:
            continue
        if said:
            hint = "Days and moments of what is entered meanwhile will be wrong."
            found.append(Warning(said, hint=hint, id="studio.W003"))
    return found
