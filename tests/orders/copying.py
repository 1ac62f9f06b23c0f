"""A studio in a file of its own, for tests that copy it, damage it and put it back."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from studio.copies import making, restoring
from tests.faults.place import Place

NAME = "halfstuff.sqlite3"


class Opened:
    """What the program asks of a connection to that file."""

    vendor = "sqlite"
    alias = "default"

    def __init__(self, file: Path) -> None:
        self.settings_dict = {"NAME": file}

    def close(self) -> None:
        pass


def make_base(folder: Path) -> Path:
    """Make a studio with a lot of fibre that was taken from twice."""
    place = Place(folder)
    lot = place.run("prepare", as_is_mg=10_000_000, moisture="0.08")["lot"]
    place.run("take", lot=lot, times=2, most_mg=1000, seed=1)
    return folder / NAME


def settle(monkeypatch: Any, base: Path, folder: Path) -> Path:
    """Put that studio into a folder and have the program use it."""
    live = folder / NAME
    shutil.copyfile(base, live)
    for module in (making, restoring):
        monkeypatch.setattr(module, "connections", {"default": Opened(live)})
    return live


def change(file: Path, *statements: str) -> None:
    """Change a file as no page would: its triggers are taken off first and put back after."""
    with closing(sqlite3.connect(file)) as opened:
        triggers = opened.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in triggers:
            opened.execute(f'DROP TRIGGER "{name}"')
        for statement in statements:
            opened.execute(statement)
        for _, sql in triggers:
            # A table that was taken away has none.
            with suppress(sqlite3.OperationalError):
                opened.execute(sql)
        opened.commit()


def value(file: Path, query: str) -> Any:
    with closing(sqlite3.connect(file)) as opened:
        return opened.execute(query).fetchone()[0]


def all_rows(file: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Return every row of every table."""
    with closing(sqlite3.connect(file)) as opened:
        names = opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return {
            name: sorted(opened.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)
            for (name,) in names
        }
