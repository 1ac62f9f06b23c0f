"""Who opens a studio while a copy is put in its place writes into that copy, or waits."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from django.db import OperationalError, connections
from django.db.backends.sqlite3.base import DatabaseWrapper

from studio import database
from studio.copies import inuse
from studio.errors import StudioError

pytestmark = pytest.mark.skipif(inuse.fcntl is None, reason="this system has no such locks")


def file_with(path: Path, word: str) -> Path:
    with closing(sqlite3.connect(path)) as file:
        file.execute("CREATE TABLE note (word)")
        file.execute("INSERT INTO note VALUES (?)", [word])
        file.commit()
    return path


def words_in(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as file:
        return [word for (word,) in file.execute("SELECT word FROM note ORDER BY rowid")]


@pytest.fixture
def live(tmp_path, django_db_blocker) -> Iterator[Path]:
    path = file_with(tmp_path / "halfstuff.sqlite3", "old")
    # A file of its own is opened; the database of the tests is not touched.
    with django_db_blocker.unblock():
        yield path
    inuse.let_go(path)


def opening(path: Path, journal: str) -> DatabaseWrapper:
    given = {**connections.settings["default"], **database.sqlite(path, journal=journal)}
    return DatabaseWrapper(given, alias="default")


def swap(live: Path) -> None:
    """Do what a restore does: set the old file aside, put another in its place."""
    os.link(live, live.with_name("aside"))
    file_with(live.with_name("new"), "new").replace(live)


def see_it_write_into_the_new_one(connection: DatabaseWrapper, live: Path) -> None:
    assert connection.get_autocommit()
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO note VALUES ('written')")
    connection.close()
    assert words_in(live) == ["new", "written"]
    assert words_in(live.with_name("aside")) == ["old"]
    assert not {name for name in os.listdir(live.parent) if name.endswith(("-wal", "-journal"))}


@pytest.mark.parametrize("journal", ["wal", "delete"])
def test_opened_in_mid_restore_the_copy_is_what_is_written(live, journal):
    is_kept, goes_on = threading.Event(), threading.Event()

    def restore() -> None:
        with inuse.alone_with(live) as alone:
            assert alone
            is_kept.set()
            # The other has the old file open and waits for the lock by then.
            goes_on.wait(0.5)
            swap(live)

    restoring = threading.Thread(target=restore)
    restoring.start()
    assert is_kept.wait(5)
    connection = opening(live, journal)
    connection.connect()
    restoring.join()
    see_it_write_into_the_new_one(connection, live)


@pytest.mark.parametrize("journal", ["wal", "delete"])
def test_opened_before_and_asked_for_after_the_copy_is_what_is_written(live, journal, monkeypatch):
    real = inuse._opened

    def opened(path: Path) -> int:
        # The restore is over by the time the lock is asked for, so nothing has to be waited for.
        if not live.with_name("aside").exists():
            swap(live)
        return real(path)

    monkeypatch.setattr(inuse, "_opened", opened)
    connection = opening(live, journal)
    connection.connect()
    see_it_write_into_the_new_one(connection, live)


def test_restore_that_takes_too_long_is_not_gone_past(live, monkeypatch):
    monkeypatch.setattr(inuse, "PATIENCE_S", 0.1)
    connection = opening(live, "delete")
    with inuse.alone_with(live) as alone:
        assert alone
        with pytest.raises(OperationalError, match="locked"):
            connection.connect()
        assert connection.connection is None
    connection.connect()
    connection.close()


def test_studio_opened_by_a_link_is_in_use_by_its_own_name(live, tmp_path):
    link = tmp_path / "link.sqlite3"
    link.symlink_to(live)
    connection = opening(link, "delete")
    connection.connect()
    connection.close()
    handle = inuse._opened(live)
    try:
        assert not inuse._got(handle, inuse.fcntl.LOCK_EX)
        inuse.let_go(live)
        assert inuse._got(handle, inuse.fcntl.LOCK_EX)
    finally:
        os.close(handle)


def test_lock_that_cannot_be_opened_is_named(live):
    # A folder of that name cannot be opened as a file by any account.
    beside = live.with_name(f"{live.name}.in-use")
    beside.mkdir()
    said = r"in-use cannot be opened .*was not touched\."
    with pytest.raises(StudioError, match=said), inuse.alone_with(live):
        pass
    connection = opening(live, "delete")
    connection.connect()
    connection.close()
