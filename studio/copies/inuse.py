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
    if fcntl is None or path is None or str(path) in _held or connection.alias != "default":
        return
    with suppress(OSError):
        handle = _opened(path)
        ends = time.monotonic() + PATIENCE_S
        while not _got(handle, fcntl.LOCK_SH):
            # A copy is being put in its place this very moment.
            if time.monotonic() > ends:
                os.close(handle)
                return
            time.sleep(0.02)
        _held[str(path)] = handle


def let_go(path: Path) -> None:
    """Say that this process does not use the file any more."""
    handle = _held.pop(str(path), None)
    if handle is not None:
        os.close(handle)


@contextmanager
def alone_with(path: Path) -> Iterator[bool]:
    """Keep the file to this process, if nobody else has it open; tell whether that is so."""
    let_go(path)
    if fcntl is None:  # pragma: no cover - not on this system
        yield True
        return
    handle = _opened(path)
    try:
        yield _got(handle, fcntl.LOCK_EX)
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


def _opened(path: Path) -> int:
    # Any account that may come into the folder may hold it, whoever made it.
    flags = os.O_RDONLY | os.O_CREAT | getattr(os, "O_CLOEXEC", 0)
    return os.open(path.with_name(path.name + SUFFIX), flags, 0o644)


def _got(handle: int, kind: int) -> bool:
    try:
        fcntl.flock(handle, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
