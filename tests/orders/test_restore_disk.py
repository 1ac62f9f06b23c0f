"""A copy put back where a disk refuses, two come at once, or the database is reached by a link."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from orders.proving import prove
from studio.copies import inuse, making, restoring
from studio.errors import StudioError
from tests.orders.copying import change, value

NOON = datetime(2026, 11, 29, 12, 0, tzinfo=UTC)


@pytest.fixture
def copy(live) -> Path:
    """Return a copy from before the studio was given another name."""
    made = making.make(prove=prove, now=NOON)
    change(live, "UPDATE studio_studio SET name = 'Later'")
    return made.path


def digest(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def restore(file: Path, live: Path) -> Path | None:
    with restoring.prepared(file, live, prove=prove) as ready:
        return restoring.put_in_place(ready, now=NOON)


def test_folder_that_cannot_be_synced_does_not_undo_what_was_done(copy, live, monkeypatch):
    before, real = digest(live), os.fsync

    def fail(handle):
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, "Invalid argument")
        real(handle)

    monkeypatch.setattr(os, "fsync", fail)
    aside = restore(copy, live)
    assert aside is not None
    assert digest(aside) == before
    assert value(live, "SELECT name FROM studio_studio") != "Later"


@pytest.mark.parametrize("has_links", [True, False], ids=["two names", "renamed"])
def test_disk_that_refuses_and_does_it_all_the_same_costs_no_file(
    copy, live, monkeypatch, has_links
):
    live.write_bytes(b"x" * 100)
    Path(f"{live}-wal").write_bytes(b"stale")
    before, real = digest(live), Path.replace

    def fail(self, target):
        real(self, target)
        raise OSError(errno.EIO, "Input/output error")

    def no_link(*args, **kwargs):
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(Path, "replace", fail)
    if not has_links:
        monkeypatch.setattr(os, "link", no_link)
    with pytest.raises(StudioError, match=r"is in its place, .*set aside: .*set-aside") as told:
        restore(copy, live)
    monkeypatch.undo()
    assert restoring.UNTOUCHED not in str(told.value)
    [aside] = [name for name in os.listdir(live.parent) if name.endswith("Z.sqlite3")]
    assert digest(live.with_name(aside)) == before
    assert live.with_name(f"{aside}-wal").read_bytes() == b"stale"
    assert not Path(f"{live}-wal").exists()
    assert value(live, "SELECT COUNT(*) FROM fibres_movement") == 3


def test_name_that_cannot_be_given_back_is_said(copy, live, monkeypatch):
    before = digest(live)

    def fail(*args, **kwargs):
        raise OSError(errno.EIO, "Input/output error")

    real = Path.rename

    def only_aside(self, target):
        return fail() if Path(target) == live else real(self, target)

    monkeypatch.setattr(os, "link", fail)
    monkeypatch.setattr(Path, "replace", fail)
    monkeypatch.setattr(Path, "rename", only_aside)
    with pytest.raises(StudioError, match=r"the database is now (\S+)\. Give it") as told:
        restore(copy, live)
    monkeypatch.undo()
    [aside] = [name for name in os.listdir(live.parent) if "set-aside" in name]
    assert str(live.with_name(aside)) in str(told.value)
    assert digest(live.with_name(aside)) == before


def test_nobody_is_kept_out_while_the_disk_takes_its_time(copy, live, monkeypatch):
    seen = []
    real = restoring.room.write_down

    def note(path):
        handle = inuse._opened(live)
        try:
            seen.append(inuse._got(handle, inuse.fcntl.LOCK_SH))
        finally:
            os.close(handle)
        real(path)

    monkeypatch.setattr(restoring.room, "write_down", note)
    restore(copy, live)
    assert seen == [True, True]


def test_two_restores_at_once_use_two_files(copy, live):
    with restoring.prepared(copy, live, prove=prove) as first:
        with restoring.prepared(copy, live, prove=prove) as second:
            assert first.file != second.file
            assert stat.S_IMODE(first.file.stat().st_mode) == 0o600
        assert first.file.exists()
        assert not second.file.exists()
        restoring.put_in_place(first, now=NOON)
    assert value(live, "SELECT name FROM studio_studio") != "Later"


def test_what_a_killed_restore_left_goes_with_the_next(copy, live):
    stale, fresh, other = (
        live.with_name(f".{live.name}.restoring-a.part"),
        live.with_name(f".{live.name}.restoring-b.part-wal"),
        live.with_name(".mine.restoring-c.part"),
    )
    for path in (stale, fresh, other):
        path.write_text("")
    for path in (stale, other):
        os.utime(path, (0, 0))
    restore(copy, live)
    assert not stale.exists()
    assert fresh.exists()
    assert other.exists()


def long_ago(live: Path) -> list[Path]:
    """Make all that a restore has staged look as if it had waited since the beginning of time."""
    staged = [path for path in live.parent.iterdir() if ".restoring-" in path.name]
    for path in staged:
        os.utime(path, (0, 0))
    return staged


def test_a_restore_that_waits_for_an_answer_keeps_its_file_from_the_next(copy, live):
    with restoring.prepared(copy, live, prove=prove) as waiting:
        staged = long_ago(live)
        assert waiting.file in staged
        with restoring.prepared(copy, live, prove=prove):
            assert [path for path in staged if not path.exists()] == []
        restoring.put_in_place(waiting, now=NOON)
    assert value(live, "SELECT name FROM studio_studio") != "Later"
    assert [path for path in live.parent.iterdir() if ".restoring-" in path.name] == []


HOLDING = """
import sys, time
from pathlib import Path
from studio.copies import inuse
with inuse.held(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(600)
"""


def test_what_a_process_held_goes_once_it_is_killed(copy, live):
    file = live.with_name(f".{live.name}.restoring-a.part")
    file.write_text("")
    there = subprocess.Popen([sys.executable, "-c", HOLDING, str(file)], stdout=subprocess.PIPE)
    try:
        assert there.stdout.readline() == b"held\n"
        staged = long_ago(live)
        with restoring.prepared(copy, live, prove=prove):
            assert all(path.exists() for path in staged)
    finally:
        there.kill()
        there.communicate()
    assert len(staged) == 2
    with restoring.prepared(copy, live, prove=prove):
        assert not any(path.exists() for path in staged)


def test_database_reached_by_a_link_is_the_one_that_is_replaced(copy, live, tmp_path, monkeypatch):
    disk = tmp_path / "disk"
    disk.mkdir()
    real = live.rename(disk / "mill.sqlite3")
    live.symlink_to(real)
    assert restoring.live_file() == real
    aside = restore(copy, restoring.live_file())
    assert live.is_symlink()
    assert aside is not None
    assert aside.parent == disk
    assert value(real, "SELECT name FROM studio_studio") != "Later"
    assert value(aside, "SELECT name FROM studio_studio") == "Later"
