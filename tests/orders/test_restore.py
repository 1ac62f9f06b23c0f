"""A copy put back: ten good ones go in, damaged ones are refused and change not one byte."""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command

from orders.proving import prove
from studio.copies import inuse, making, restoring, sqlitefile
from studio.errors import StudioError
from tests.orders.copying import all_rows, change, value

NOON = datetime(2026, 11, 29, 12, 0, tzinfo=UTC)
PAGE = 4096


@pytest.fixture
def copy(live) -> Path:
    """Return a copy with its mark, from before the studio was given another name."""
    made = making.make(prove=prove, now=NOON)
    rename(live, "Later")
    return made.path


def rename(file: Path, name: str) -> None:
    change(file, f"UPDATE studio_studio SET name = '{name}'")


def digest(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()


def restore(file: Path, live: Path, **given) -> Path | None:
    with restoring.prepared(file, live, prove=prove, **given) as ready:
        return restoring.put_in_place(ready, now=NOON)


def left_over(live: Path) -> set[str]:
    return {name for name in os.listdir(live.parent) if ".part" in name or "aside" in name}


def refuse(file: Path, live: Path, match: str) -> None:
    """See a file refused with a sentence, and that nothing at all was changed by it."""
    before, source = digest(live), digest(file)
    with pytest.raises(StudioError, match=match) as refused:
        restore(file, live)
    assert str(refused.value).rstrip().endswith(".")
    assert digest(live) == before
    assert digest(file) == source
    assert left_over(live) == set()


# --- what goes in ------------------------------------------------------------------------------


def test_ten_copies_go_in_and_each_sets_the_one_before_aside(live):
    for number in range(10):
        rename(live, f"Studio {number}")
        wanted = all_rows(live)
        made = making.make(prove=prove, now=NOON + timedelta(days=number))
        rename(live, "Later")
        later = digest(live)
        aside = restore(made.path, live)
        assert all_rows(live) == wanted
        assert aside is not None
        assert digest(aside) == later
    kept = {name for name in os.listdir(live.parent) if "set-aside" in name}
    assert len(kept) == 10
    assert not {name for name in os.listdir(live.parent) if ".part" in name}


def test_copy_without_its_mark_goes_in_and_that_is_told(copy, live):
    making.mark_of(copy).unlink()
    with restoring.prepared(copy, live, prove=prove) as ready:
        assert not ready.is_marked
        assert ready.proof.said == "1 lot, 3 movements"
        assert ready.book.entries == 3
        restoring.put_in_place(ready)
    assert value(live, "SELECT name FROM studio_studio") != "Later"


def test_copy_goes_where_there_is_no_database_yet(copy, live):
    live.unlink()
    assert restore(copy, live) is None
    assert value(live, "SELECT COUNT(*) FROM fibres_movement") == 3


def test_damaged_database_is_set_aside_as_it_is(copy, live):
    live.write_bytes(b"not a database at all" * 1000)
    was = digest(live)
    aside = restore(copy, live)
    assert aside is not None
    assert digest(aside) == was
    assert value(live, "SELECT COUNT(*) FROM fibres_movement") == 3


def test_copy_gets_the_rights_of_the_database_it_takes_the_place_of(copy, live):
    live.chmod(0o640)
    restore(copy, live)
    assert live.stat().st_mode & 0o777 == 0o640


def test_log_left_by_a_crash_goes_aside_with_its_database_and_not_into_the_copy(copy, live):
    # A studio in write-ahead mode whose machine went off: the last entry is in the log alone.
    crashed = live.with_name("crashed")
    with closing(sqlite3.connect(live)) as writer:
        writer.execute("PRAGMA journal_mode=WAL")
        writer.execute("PRAGMA wal_autocheckpoint=0")
        writer.execute("UPDATE studio_studio SET name = 'Only in the log'")
        writer.commit()
        shutil.copyfile(live, crashed)
        shutil.copyfile(f"{live}-wal", f"{crashed}-wal")
    crashed.replace(live)
    Path(f"{crashed}-wal").replace(f"{live}-wal")
    aside = restore(copy, live)
    assert aside is not None
    assert not Path(f"{live}-wal").exists()
    assert value(aside, "SELECT name FROM studio_studio") == "Only in the log"
    assert value(live, "SELECT name FROM studio_studio") not in {"Later", "Only in the log"}


def test_log_that_belongs_to_no_database_any_more_goes_aside_too(copy, live):
    # The header of a log of 100 pages is no log of this file, so SQLite leaves it lying.
    live.write_bytes(b"x" * 100)
    Path(f"{live}-wal").write_bytes(b"stale")
    Path(f"{live}-journal").write_bytes(b"stale")
    aside = restore(copy, live)
    assert Path(f"{aside}-wal").read_bytes() == b"stale"
    assert Path(f"{aside}-journal").read_bytes() == b"stale"
    assert not Path(f"{live}-wal").exists()
    assert value(live, "SELECT COUNT(*) FROM fibres_movement") == 3


def test_older_copy_is_brought_up_to_this_release_before_it_goes_in(copy, live):
    making.mark_of(copy).unlink()
    with sqlitefile.opened(copy, to_change=True) as alias:
        call_command("migrate", "orders", "0005", database=alias, verbosity=0)
    assert not has_table(copy, "orders_quote")
    with restoring.prepared(copy, live, prove=prove) as ready:
        assert "orders.0006_quotes" in ready.brought_up
        restoring.put_in_place(ready)
    assert has_table(live, "orders_quote")
    assert value(live, "SELECT COUNT(*) FROM fibres_movement") == 3


# --- what is refused ---------------------------------------------------------------------------


def cut(file: Path) -> None:
    os.truncate(file, file.stat().st_size // 2)


def cut_by_a_byte(file: Path) -> None:
    os.truncate(file, file.stat().st_size - 1)


def flip(file: Path) -> None:
    content = bytearray(file.read_bytes())
    content[len(content) // 3] ^= 0x10
    file.write_bytes(content)


def zero_page(file: Path) -> None:
    with file.open("r+b") as opened:
        opened.seek(PAGE * 5)
        opened.write(bytes(PAGE))


def empty(file: Path) -> None:
    os.truncate(file, 0)


def of_another_program(file: Path) -> None:
    file.unlink()
    change(file, "CREATE TABLE recipe (name)")


def packed(file: Path) -> None:
    with zipfile.ZipFile(file, "w") as into:
        into.writestr("manifest.json", "{}")


def newer(file: Path) -> None:
    change(
        file,
        "INSERT INTO django_migrations (app, name, applied) "
        "VALUES ('fibres', '9999_of_a_day_to_come', '2030-01-01')",
    )


def mass_made_up(file: Path) -> None:
    change(file, "UPDATE fibres_lot SET oven_dry_mg = oven_dry_mg + 1000")


def movement_gone(file: Path) -> None:
    change(
        file,
        *(
            f"DELETE FROM {table} WHERE {column} = (SELECT MAX(id) FROM fibres_movement)"
            for table, column in (("fibres_seal", "movement_id"), ("fibres_movement", "id"))
            if table != "fibres_seal" or has_table(file, table)
        ),
    )


def table_gone(file: Path) -> None:
    change(file, "DROP TABLE orders_sheetmovement")


def points_nowhere(file: Path) -> None:
    change(file, "PRAGMA foreign_keys=OFF", "UPDATE fibres_lot SET fibre_id = 999999")


def text(file: Path) -> None:
    file.write_text("Dear Ida, here is the copy.")


def has_table(file: Path, name: str) -> bool:
    query = f"SELECT COUNT(*) FROM sqlite_master WHERE name = '{name}'"
    return bool(value(file, query))


# Each with what is said where the mark is gone, so that nothing but the file itself tells.
DAMAGES: list[tuple[Callable[[Path], None], str]] = [
    (cut, "is damaged"),
    (cut_by_a_byte, "is damaged"),
    (zero_page, "is damaged|is a database of another program"),
    (empty, "is empty"),
    (of_another_program, "is a database of another program"),
    (packed, "is no copy of a studio’s database"),
    (text, "is no copy of a studio’s database"),
    (newer, "made by a later release .*fibres.9999_of_a_day_to_come"),
    (mass_made_up, "does not prove itself: lot .*by its balance"),
    (movement_gone, "does not prove itself"),
    (table_gone, "lacks the table orders_sheetmovement|is damaged"),
    (points_nowhere, "is damaged: .*points at no row of fibres_fibre"),
]


@pytest.mark.parametrize(("damage", "match"), DAMAGES, ids=lambda it: getattr(it, "__name__", ""))
def test_damaged_file_is_refused(copy, live, damage, match):
    making.mark_of(copy).unlink()
    damage(copy)
    refuse(copy, live, match)


@pytest.mark.parametrize(
    "damage", [flip, cut, mass_made_up, zero_page], ids=lambda it: it.__name__
)
def test_copy_that_is_not_as_its_mark_says_is_refused(copy, live, damage):
    damage(copy)
    refuse(copy, live, "is not as it was made: its sha256")


def test_mark_that_cannot_be_read_is_no_mark_to_trust(copy, live):
    making.mark_of(copy).write_bytes(b"\xff\xfe")
    refuse(copy, live, "is not as it was made")


def test_copy_with_faults_goes_in_where_that_is_asked_for(copy, live):
    making.mark_of(copy).unlink()
    mass_made_up(copy)
    restore(copy, live, accept_faults=True)
    assert value(live, "SELECT name FROM studio_studio") != "Later"


def test_file_that_is_not_there_and_the_database_itself_are_refused(live, tmp_path):
    with pytest.raises(StudioError, match="There is no file"):
        restore(tmp_path / "gone", live)
    refuse(live, live, "is the database in use, not a copy")


@pytest.mark.parametrize("suffix", ["-wal", "-journal"])
def test_raw_copy_with_a_log_beside_it_is_refused_with_the_way(copy, live, suffix):
    Path(f"{copy}{suffix}").write_bytes(b"part of it")
    refuse(copy, live, f"lies {copy.name}{suffix}, so it is no copy .* run “manage.py backup”")


def test_copy_is_not_put_under_a_studio_that_is_open_elsewhere(copy, live):
    handle = inuse._opened(live)
    try:
        assert inuse._got(handle, inuse.fcntl.LOCK_SH)
        refuse(copy, live, "The database is in use: stop “manage.py serve”")
    finally:
        os.close(handle)
    restore(copy, live)


def test_copy_is_not_put_under_somebody_who_writes_without_the_program(copy, live):
    with closing(sqlite3.connect(live, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        refuse(copy, live, "The database is in use")


def test_copy_that_cannot_take_its_place_leaves_the_database_there(copy, live, monkeypatch):
    before, real = digest(live), Path.replace

    def fail(self, target):
        if Path(target) == live:
            raise OSError(30, "Read-only file system")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(StudioError, match="cannot be written to"):
        restore(copy, live)
    monkeypatch.undo()
    assert digest(live) == before
    assert left_over(live) == set()
