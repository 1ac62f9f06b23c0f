"""Copies of a studio: proved before they have a name, kept by the rule, nothing half-made."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import sqlite3
import stat
import subprocess
import threading
import time
from collections import namedtuple
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from orders.proving import prove
from studio import database
from studio.copies import making, room, sqlitefile
from studio.errors import StudioError
from tests.orders.copying import all_rows, change

NOON = datetime(2026, 11, 29, 12, 0, tzinfo=UTC)


def make(**given):
    return making.make(prove=prove, **given)


def names(folder: Path) -> set[str]:
    return set(os.listdir(folder))


def test_copy_holds_every_row_and_says_what_it_is(live):
    made = make(now=NOON)
    assert made.path == live.parent / "backups" / "halfstuff-2026-11-29T12-00-00Z.sqlite3"
    assert all_rows(made.path) == all_rows(live)
    assert made.count == sum(map(len, all_rows(live).values())) - len(
        all_rows(live)["sqlite_sequence"]
    )
    assert made.size == made.path.stat().st_size
    assert made.faults == ()
    assert made.proof is not None
    assert made.proof.said == "1 lot, 3 movements"


def test_mark_beside_the_copy_is_read_by_the_usual_tool(live):
    made = make()
    assert made.digest == hashlib.sha256(made.path.read_bytes()).hexdigest()
    if shutil.which("sha256sum") is None:
        pytest.skip("there is no sha256sum on this machine")
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", making.mark_of(made.path).name],
        cwd=made.path.parent,
        check=False,
        capture_output=True,
    )
    assert done.returncode == 0


def test_only_its_owner_may_read_a_copy(live):
    old = os.umask(0)
    try:
        made = make()
    finally:
        os.umask(old)
    for path in (made.path, making.mark_of(made.path)):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(made.path.parent.stat().st_mode) == 0o700


def test_copy_of_a_studio_in_write_ahead_mode_is_one_file(live):
    with sqlite3.connect(live) as writer:
        writer.execute("PRAGMA journal_mode=WAL")
        writer.execute("UPDATE studio_studio SET name = 'Only in the log'")
        writer.commit()
        made = make()
        assert (live.parent / f"{live.name}-wal").stat().st_size
    writer.close()
    assert names(made.path.parent) == {made.path.name, f"{made.path.name}.sha256"}
    assert all_rows(made.path)["studio_studio"][0].count("Only in the log") == 1


def test_rule_is_kept_and_nothing_else_is_touched(live):
    folder = live.parent / "backups"
    folder.mkdir()
    others = {"notes.txt", "halfstuff.sqlite3", "halfstuff-before-upgrade-2020.sqlite3"}
    for name in others:
        (folder / name).write_text("mine")
    removed: list[str] = []
    for number in range(20):
        removed += make(now=NOON - timedelta(days=19 - number)).removed
    there = {name for name in names(folder) - others if not name.endswith(".sha256")}
    days = {f"halfstuff-2026-11-{day}T12-00-00Z.sqlite3" for day in range(23, 30)}
    # 29 November 2026 is a Sunday; the first copy, of 10 November, is the oldest of that month.
    sundays = {f"halfstuff-2026-11-{day}T12-00-00Z.sqlite3" for day in (15, 22)}
    assert there == days | sundays
    assert len(removed) == 11
    assert {f"{name}.sha256" for name in there} == {
        name for name in names(folder) if name.endswith(".sha256")
    }
    assert all((folder / name).read_text() == "mine" for name in others)


def test_copy_just_made_stays_where_the_clock_was_once_ahead(live):
    ahead = make(now=NOON + timedelta(hours=1))
    made = make(now=NOON)
    assert made.path.is_file()
    assert ahead.path.is_file()


def test_another_folder_is_never_made_for_it_may_be_a_disk_that_is_not_there(live, tmp_path):
    gone = tmp_path / "usb"
    with pytest.raises(StudioError, match=r"There is no folder .*usb\. Make it, or plug in"):
        make(to=gone)
    assert not gone.exists()


def test_no_room_is_said_before_anything_is_written(live, monkeypatch):
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(room.shutil, "disk_usage", lambda path: usage(10**9, 10**9 - 10**6, 10**6))
    with pytest.raises(StudioError, match=r"not room enough in .*: 6\d.* MB are needed and 1 MB"):
        make()
    assert names(live.parent / "backups") == set()


def test_looking_only_writes_nothing_and_tells_what_would_go(live):
    first = make(now=NOON)
    planned = making.plan(now=NOON + timedelta(hours=1))
    assert planned.would_go == (first.path.name,)
    assert not planned.path.exists()
    assert first.path.exists()


def test_damaged_database_gives_no_copy_and_older_ones_stay(live):
    first = make(now=NOON)
    with live.open("r+b") as file:
        file.seek(live.stat().st_size // 2)
        file.write(b"\xff" * 8192)
    with pytest.raises(StudioError, match=r"No copy was made|was not kept"):
        make(now=NOON + timedelta(hours=1))
    assert names(first.path.parent) == {first.path.name, f"{first.path.name}.sha256"}


def test_copy_of_a_ledger_with_faults_is_kept_beside_the_older_ones(live):
    sound = make(now=NOON)
    change(live, "UPDATE fibres_lot SET oven_dry_mg = oven_dry_mg + 1")
    made = make(now=NOON + timedelta(hours=1))
    assert any("by its balance" in fault for fault in made.faults)
    assert made.path.is_file()
    assert sound.path.is_file()
    assert made.removed == ()


def test_break_in_mid_copy_leaves_nothing(live, monkeypatch):
    def fail(path):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(making.room, "write_down", fail)
    with pytest.raises(StudioError, match=r"The disk of .* is full\. .*No copy was made"):
        make()
    assert names(live.parent / "backups") == set()


def test_copy_whose_mark_cannot_be_written_is_not_left_without_a_word(live, monkeypatch):
    real = os.open

    def fail(path, *args, **kwargs):
        if ".sha256" in str(path):
            raise OSError(28, "No space left on device")
        return real(path, *args, **kwargs)

    monkeypatch.setattr(making.os, "open", fail)
    with pytest.raises(StudioError, match="No copy was made"):
        make()
    monkeypatch.undo()
    assert names(live.parent / "backups") == set()


def test_what_a_killed_copy_left_goes_with_the_next(live):
    folder = live.parent / "backups"
    folder.mkdir()
    stale, fresh, other = (
        folder / ".halfstuff-2026-01-01T00-00-00Z.sqlite3.part",
        folder / ".halfstuff-2026-01-02T00-00-00Z.sqlite3.part",
        folder / ".mine.part",
    )
    for path in (stale, fresh, other):
        path.write_text("")
    for path in (stale, other):
        os.utime(path, (0, 0))
    make()
    assert not stale.exists()
    assert fresh.exists()
    assert other.exists()


def test_database_of_an_earlier_release_is_copied_and_not_proved(live):
    change(live, "DELETE FROM django_migrations WHERE app = 'orders' AND name LIKE '0006%'")
    made = make()
    assert made.proof is None


def test_database_of_another_program_is_no_studio(live):
    live.unlink()
    with sqlite3.connect(live) as other:
        other.execute("CREATE TABLE recipe (name)")
    other.close()
    with pytest.raises(StudioError, match="is a database of another program"):
        make()


@pytest.mark.parametrize("is_there", [True, False], ids=["empty", "gone"])
def test_no_database_is_said(live, is_there):
    live.unlink()
    if is_there:
        live.touch()
    with pytest.raises(StudioError, match=r"There is no studio in .*, so there is nothing"):
        make()


def test_fifty_megabytes_are_read_at_one_moment_and_soon(live, tmp_path):
    # Writers wait for as long as the file is read: some tenths of a second on an idle machine.
    with sqlite3.connect(live) as file:
        file.execute("CREATE TABLE ballast (page)")
        file.executemany("INSERT INTO ballast VALUES (?)", [(os.urandom(1 << 20),)] * 50)
    file.close()
    target = tmp_path / "copy"
    target.touch()
    began = datetime.now(UTC)
    sqlitefile.snapshot(live, target)
    assert (datetime.now(UTC) - began).total_seconds() < 5
    assert target.stat().st_size > 50 << 20


# --- two studios and one folder ----------------------------------------------------------------


def other_studio(live: Path, folder: Path) -> Path:
    """Make copies as another studio whose file is called the same would, one a day."""
    mine = live.read_bytes()
    change(live, "UPDATE studio_entry SET request_key = replace(request_key, 'a', 'b')",
           "UPDATE studio_entry SET recorded_at = '2020-01-01 08:00:00'")  # fmt: skip
    for day in range(12):
        make(to=folder, now=NOON - timedelta(days=day, hours=-1))
    live.write_bytes(mine)
    return folder


def test_copies_of_another_studio_stay_and_do_not_push_ours_out(live, tmp_path):
    folder = tmp_path / "shared"
    folder.mkdir()
    ours = {make(to=folder, now=NOON - timedelta(days=day)).path.name for day in range(1, 4)}
    other_studio(live, folder)
    theirs = {name for name in names(folder) if "T13-00" in name}
    assert len(theirs) > 14
    planned = making.plan(folder, now=NOON + timedelta(hours=2))
    assert planned.would_go == ()
    made = make(to=folder, now=NOON + timedelta(hours=2))
    assert made.removed == ()
    assert ours | theirs <= names(folder)
    # Ours still go by the rule: this day has a later copy now.
    assert make(to=folder, now=NOON + timedelta(hours=3)).removed == (made.path.name,)
    assert ours | theirs <= names(folder)


def test_copy_that_cannot_be_read_is_left_where_it_is(live):
    first = make(now=NOON)
    first.path.write_bytes(b"not a database at all" * 1000)
    assert make(now=NOON + timedelta(hours=1)).removed == ()
    assert first.path.is_file()


def test_studios_are_told_apart_where_they_began_with_the_same_list(live):
    # What is taken from a list has a key of that list, so two studios may begin with one key.
    first = make(now=NOON)
    change(first.path, "UPDATE studio_entry SET recorded_at = '2020-01-01 08:00:00'")
    assert make(now=NOON + timedelta(hours=1)).removed == ()
    assert first.path.is_file()


# --- what refuses ------------------------------------------------------------------------------


def test_folder_that_cannot_be_synced_costs_no_copy(live, monkeypatch):
    real = os.fsync

    def fail(handle):
        if stat.S_ISDIR(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, "Invalid argument")
        real(handle)

    monkeypatch.setattr(os, "fsync", fail)
    made = make()
    assert all_rows(made.path) == all_rows(live)


def test_database_locked_all_the_while_is_said_in_time(live, monkeypatch):
    monkeypatch.setattr(database, "WAIT_SECONDS", {"wal": 0.2, "delete": 0.2})
    began = time.monotonic()
    opened = sqlite3.connect(live, isolation_level=None, check_same_thread=False)
    with closing(opened) as writer:
        writer.execute("BEGIN EXCLUSIVE")
        # Should the copying wait for ever, the lock goes after a while and the test is red.
        ends = threading.Timer(15, writer.rollback)
        ends.start()
        with pytest.raises(StudioError, match="Somebody wrote in the database all the while"):
            make()
        ends.cancel()
    assert time.monotonic() - began < 10
    assert names(live.parent / "backups") == set()
