"""What is written down to the disk, where a system or a disk refuses a part of it."""

from __future__ import annotations

import errno
import fcntl
import os
import stat
from pathlib import Path

import pytest

from studio.copies import room


@pytest.fixture
def synced(monkeypatch) -> list[tuple[bool, int]]:
    """Note what is synced: whether it is a folder, and how it was opened."""
    done: list[tuple[bool, int]] = []
    real = os.fsync

    def note(handle: int) -> None:
        is_folder = stat.S_ISDIR(os.fstat(handle).st_mode)
        done.append((is_folder, fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE))
        real(handle)

    monkeypatch.setattr(room.os, "fsync", note)
    return done


def test_file_is_opened_to_be_written_and_a_folder_to_be_read(tmp_path, synced):
    file = tmp_path / "copy"
    file.write_bytes(b"whole")
    room.write_down(file)
    room.write_down(tmp_path)
    assert synced == [(False, os.O_RDWR), (True, os.O_RDONLY)]
    assert file.read_bytes() == b"whole"


def test_windows_is_asked_for_no_folder(tmp_path, synced, monkeypatch):
    monkeypatch.setattr(room, "ON_WINDOWS", True)
    room.write_down(tmp_path)
    assert synced == []


def test_file_that_may_only_be_read_is_written_down_all_the_same(tmp_path, synced, monkeypatch):
    file = tmp_path / "copy"
    file.touch()
    real = os.open

    def refuse(path: Path, flags: int, *args) -> int:
        if flags & os.O_RDWR:
            raise PermissionError(errno.EACCES, "Permission denied")
        return real(path, flags, *args)

    monkeypatch.setattr(room.os, "open", refuse)
    room.write_down(file)
    assert synced == [(False, os.O_RDONLY)]


def test_folder_that_cannot_be_synced_passes_and_a_file_that_cannot_does_not(
    tmp_path, monkeypatch
):
    file = tmp_path / "copy"
    file.touch()

    def refuse(handle: int) -> None:
        raise OSError(errno.EINVAL, "Invalid argument")

    monkeypatch.setattr(room.os, "fsync", refuse)
    room.write_down(tmp_path)
    with pytest.raises(OSError, match="Invalid argument"):
        room.write_down(file)
