"""What is broken off half-way is there wholly or not at all: changes of tables, and a log."""

from __future__ import annotations

import importlib
import pkgutil
import random
import shutil
import sqlite3
import uuid
from contextlib import closing
from pathlib import Path

import pytest

import fibres.migrations
import orders.migrations
import studio.migrations
from tests.builders import KG
from tests.faults.place import Place
from tests.faults.tearing import TORN
from tests.faults.test_disk import Journalled

pytestmark = pytest.mark.faults

KILLS = 20
CUTS = 200


def test_changes_of_the_tables_that_are_killed_are_done_when_asked_again(place: Place):
    lot = place.run("prepare", as_is_mg=100 * KG, moisture="0.08")["lot"]
    place.run("take", lot=lot, times=30, most_mg=1000, seed=2)
    before = place.run("migrate_back")

    kills = 6 if place.url else KILLS
    told = place.run("migrate_and_die", kills=kills, seed=6)

    assert told["steps"] >= 2
    # One or two may be through before they are killed, on a machine whose speed changes.
    assert told["killed"] >= kills // 2
    assert told["half"] == 0
    assert told["raised"] == 1
    assert told["ended"] == 0
    assert told["is_whole"]
    assert told["moved"] == before["moved"]
    assert told["entries"] == before["entries"]
    assert told["faults"] == []
    assert place.unsound() == []


def test_every_change_of_the_tables_is_one_transaction():
    for package in (studio.migrations, fibres.migrations, orders.migrations):
        found = [name for _, name, _ in pkgutil.iter_modules(package.__path__)]
        assert found
        for name in found:
            module = importlib.import_module(f"{package.__name__}.{name}")
            assert module.Migration.atomic, f"{name} can be broken off half-way"


def test_torn_log_gives_the_entries_before_the_tear_and_no_other(tmp_path: Path):
    place = Journalled(tmp_path, journal="wal")
    lot = place.run("prepare", as_is_mg=10 * KG, moisture="0.08")["lot"]
    told = place.run("take_and_keep_the_log", lot=lot, times=30)
    assert told["mode"] == "wal"
    keys, dice, seen = told["keys"], random.Random(5), set()
    file = tmp_path / "opened.sqlite3"
    log = (tmp_path / f"{TORN}-wal").read_bytes()
    for number in range(CUTS):
        shutil.copyfile(tmp_path / TORN, file)
        Path(f"{file}-wal").write_bytes(torn(log, dice, number))
        Path(f"{file}-shm").unlink(missing_ok=True)
        there, sound = read(file)
        left = [key for key in keys if key in there]
        assert sound, f"tear {number}"
        assert left == keys[: len(left)], f"tear {number} left a gap"
        seen.add(len(left))
    # The tears were at many places, and none of them was without effect on all.
    assert len(seen) > 10


def torn(log: bytes, dice: random.Random, number: int) -> bytes:
    """Cut the log, or fill, zero or flip a piece of it."""
    at = dice.randrange(len(log))
    if number % 4 == 0:
        return log[:at]
    content = bytearray(log)
    if number % 4 == 3:
        content[at] ^= 1 << dice.randrange(8)
        return bytes(content)
    size = min(dice.randint(1, 4096), len(log) - at)
    content[at : at + size] = bytes(size) if number % 4 == 1 else dice.randbytes(size)
    return bytes(content)


def read(file: Path) -> tuple[set[str], bool]:
    with closing(sqlite3.connect(file)) as opened:
        rows = opened.execute("SELECT request_key FROM studio_entry").fetchall()
        found = opened.execute("PRAGMA integrity_check").fetchall()
        loose = opened.execute("PRAGMA foreign_key_check").fetchall()
        drifted = opened.execute(
            "SELECT lot.id FROM fibres_lot lot JOIN fibres_movement movement "
            "ON movement.lot_id = lot.id GROUP BY lot.id "
            "HAVING lot.oven_dry_mg <> SUM(movement.oven_dry_mg)"
        ).fetchall()
    keys = {uuid.UUID(str(key)).hex for (key,) in rows}
    return keys, found == [("ok",)] and not loose and not drifted
