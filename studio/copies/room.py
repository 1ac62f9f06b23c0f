"""Room on a disk, asked for before anything is written, and what a disk says when it refuses."""

from __future__ import annotations

import errno
import os
import shutil
from contextlib import suppress
from pathlib import Path

from studio.errors import StudioError
from studio.files.limits import megabytes

# Left on the disk of the studio itself, so that entries can go on being saved.
LEFT_FREE = 64 * 1024 * 1024
# Pages that are written while a copy is made.
MARGIN = 1024 * 1024
ON_WINDOWS = os.name == "nt"


def needed_for(size: int, folder: Path, beside: Path | None) -> int:
    """Return how much has to be free in a folder for a copy of that size."""
    same_disk = beside is not None and os.stat(folder).st_dev == os.stat(beside).st_dev
    return size + (LEFT_FREE if same_disk else MARGIN)


def refuse_without(needed: int, folder: Path) -> None:
    """Stop before anything is written, where there is not room enough."""
    free = shutil.disk_usage(folder).free
    if free < needed:
        raise StudioError(
            f"There is not room enough in {folder}: {megabytes(needed)} are needed and "
            f"{megabytes(free)} are free. Make room, or name a folder on another disk. Nothing "
            "was written.",
            field="to",
        )


def why_not(fault: OSError, folder: Path) -> str:
    """Word what a disk says, for a person who can do something about it."""
    if fault.errno in {errno.ENOSPC, errno.EDQUOT}:
        return f"The disk of {folder} is full. Make room, or name a folder on another disk."
    if fault.errno in {errno.EACCES, errno.EPERM, errno.EROFS}:
        return f"The folder {folder} cannot be written to. Give this account the right to."
    return f"{folder} cannot be used: {fault.strerror or fault}."


def write_down(path: Path) -> None:
    """See that a file, or the names in a folder, are on the disk and not only on their way."""
    if path.is_dir():
        _write_names_down(path)
        return
    handle = _to_write(path)
    try:
        os.fsync(handle)
        if hasattr(os, "posix_fadvise"):
            # What is read next then comes from the disk, not from memory.
            with suppress(OSError):
                os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(handle)


def _to_write(path: Path) -> int:
    try:
        # Windows writes down only what was opened to be written (from memory).
        return os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    except PermissionError:
        return os.open(path, os.O_RDONLY)


def _write_names_down(folder: Path) -> None:
    """Ask for it, no more: some disks refuse it for a folder, and the file itself is whole."""
    # Windows opens no folder (from memory).
    if ON_WINDOWS:
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
