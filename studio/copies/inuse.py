"""Who has the database open: each process that opens a file of it holds a lock beside it.

The lock ends with the process, whatever ends it. Where a system has no such locks, or the folder
takes no new file, nobody is held up by it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from django.db import OperationalError

from studio.errors import StudioError

try:
    import fcntl
except ImportError:  # pragma: no cover - not on this system
    fcntl = None  # type: ignore[assignment]

SUFFIX = ".in-use"
# How long an opening waits while a copy is put in its place, which takes a moment.
PATIENCE_S = 5.0
_held: dict[str, int] = {}


def hold(connection: Any = None, **kwargs: Any) -> None:
    """Say that this process uses the file of a connection; called when one is opened."""
    path = file_of(connection)
    if fcntl is None or path is None or connection.alias != "default" or _name(path) in _held:
        return
    try:
        handle = _opened(path)
    except OSError:
        return
    try:
        got = _waited_for(handle)
    except OSError:
        os.close(handle)
        return
    if not got:
        os.close(handle)
        connection.close()
        raise OperationalError("database is locked: a copy is being put in its place")
    _held[_name(path)] = handle
    # The file was opened before the lock was had, and may be the one that was set aside
    # meanwhile: what is written from here on has to go into the one that has its name now.
    connection.close()
    connection.connect()


def let_go(path: Path) -> None:
    """Say that this process does not use the file any more."""
    handle = _held.pop(_name(path), None)
    if handle is not None:
        os.close(handle)


@contextmanager
def alone_with(path: Path) -> Iterator[bool]:
    """Keep the file to this process, if nobody else has it open; tell whether that is so."""
    let_go(path)
    if fcntl is None:  # pragma: no cover - not on this system
        yield True
        return
    try:
        handle = _opened(path)
    except OSError as fault:
        raise StudioError(
            f"Whether the database is in use cannot be told: {_beside(path)} cannot be opened "
            f"({fault.strerror or fault}). Give this account the right to, and restore again. "
            "The database in use was not touched."
        ) from fault
    try:
        yield _got(handle, fcntl.LOCK_EX)
    finally:
        os.close(handle)


@contextmanager
def held(file: Path) -> Iterator[None]:
    """Say of a file that waits for something that this process is at it, however long it takes.

    What says so lies beside it and is taken away with it.
    """
    handle = None
    with suppress(OSError):
        handle = _opened(file)
        if fcntl is not None:
            _got(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)
        with suppress(OSError):
            _beside(file).unlink(missing_ok=True)


def is_held(file: Path) -> bool:
    """Tell whether a process that lives is at a file; where that cannot be told, nobody is."""
    if fcntl is None:  # pragma: no cover - not on this system
        return False
    try:
        handle = os.open(_beside(file), os.O_RDONLY)
    except OSError:
        return False
    try:
        return not _got(handle, fcntl.LOCK_SH)
    finally:
        os.close(handle)


def file_of(connection: Any) -> Path | None:
    """Return the file behind a connection; None where it is not a file on this machine."""
    if connection is None or connection.vendor != "sqlite":
        return None
    name = str(connection.settings_dict["NAME"])
    if name.startswith("file:") or ":memory:" in name:
        return None
    return Path(name)


def _name(path: Path) -> str:
    """Return the one name of a file that may have several."""
    return str(path.resolve())


def _beside(path: Path) -> Path:
    return Path(_name(path) + SUFFIX)


def _opened(path: Path) -> int:
    # Any account that may come into the folder may hold it, whoever made it.
    flags = os.O_RDONLY | os.O_CREAT | getattr(os, "O_CLOEXEC", 0)
    return os.open(_beside(path), flags, 0o644)


def _waited_for(handle: int) -> bool:
    """Take the lock with others; while a copy is put in its place, that takes a moment."""
    ends = time.monotonic() + PATIENCE_S
    while not _got(handle, fcntl.LOCK_SH):
        if time.monotonic() > ends:
            return False
        time.sleep(0.02)
    return True


def _got(handle: int, kind: int) -> bool:
    try:
        fcntl.flock(handle, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
