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
from django.urls import URLPattern, URLResolver, get_resolver

from studio import appendonly, database, roles
from studio.copies import inuse, room
from studio.files.limits import megabytes


def register() -> None:
    """Add the house's own checks to Django's."""
    register_check(views_declare_needs, Tags.security)
    register_check(data_folder_is_writable)
    register_check(room_is_left)
    register_check(journal_mode_is_told, Tags.database)
    register_check(triggers_are_there, Tags.database)
    register_check(clock_is_not_behind, Tags.database)


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
