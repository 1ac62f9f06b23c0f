"""Copies that are made while others write, and what is in them."""

from __future__ import annotations

import os
import random
import statistics
import time
import uuid
from pathlib import Path
from typing import Any

from django.db import connection

from fibres.models import Lot
from fibres.services import take_out
from orders.proving import prove
from studio.copies import dumping, making, sqlitefile
from tests.builders import day
from tests.faults.forked import Forked


def write_for_ever(lot: str, seed: float, pipe: int) -> None:
    """Take fibre out until killed; tell a pipe of each entry once it is acknowledged."""
    dice = random.Random(seed)
    held = Lot.objects.get(ref=lot)
    while True:
        key = uuid.uuid4()
        take_out(
            held, as_is_mg=dice.randint(1, 1000), kind="discarded", happened_on=day(),
            why="fault test", by=None, key=key,
        )  # fmt: skip
        os.write(pipe, f"{key.hex}\n".encode())
        time.sleep(dice.uniform(0, 0.012))


def copy_under_writers(lot: str, copies: int, writers: int, seed: int) -> dict[str, Any]:
    """Make one copy after another while others write; hold each against what was acknowledged."""
    dice = random.Random(seed)
    connection.close()
    found: dict[str, Any] = {"copies": 0, "faults": [], "lacking": 0, "acknowledged": 0}
    seconds = []
    children = [Forked(write_for_ever, lot, dice.random()) for _ in range(writers)]
    try:
        for child in children:
            child.await_first()
        for _ in range(copies):
            before = {key for child in children for key in child.said_so_far()}
            began = time.monotonic()
            made = making.make(prove=prove)
            seconds.append(time.monotonic() - began)
            found["copies"] += 1
            found["faults"] += [*made.faults, *_unsound(made.path)]
            found["lacking"] += len(before - keys_in(made.path))
            found["acknowledged"] = len(before)
    finally:
        for child in children:
            child.kill()
    found["writers_died"] = sum(not child.was_killed for child in children)
    found["median_s"] = statistics.median(seconds)
    found["left_over"] = [name for name in os.listdir(making.usual_folder()) if ".part" in name]
    found["file"] = str(made.path)
    return found


def _unsound(path: Path) -> list[str]:
    return sqlitefile.unsound(path) if path.suffix == ".sqlite3" else []


def keys_in(path: Path) -> set[str]:
    """Return the keys of all entries in a copy, in plain hexadecimal."""
    if path.suffix == ".sqlite3":
        import sqlite3
        from contextlib import closing

        with closing(sqlite3.connect(path)) as file:
            rows = file.execute("SELECT request_key FROM studio_entry").fetchall()
        return {uuid.UUID(str(key)).hex for (key,) in rows}
    found = set()
    for line in dumping.lines_in(path, "studio_entry"):
        found |= {uuid.UUID(cell).hex for cell in line.split("\t") if _is_key(cell)}
    return found


def _is_key(cell: str) -> bool:
    return len(cell) == 36 and cell.count("-") == 4
