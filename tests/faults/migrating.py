"""Changes of the tables that are broken off half-way."""

from __future__ import annotations

import io
import os
import random
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.executor import MigrationExecutor

from orders.audit import audit
from studio import appendonly, outages
from tests.faults.forked import Forked
from tests.faults.small_disk import room_left

# Every app's state of an earlier release from which there is something to do.
EARLIER = ("orders", "0005")
# How a child ends that met a full disk, and the room at which it is given up.
FULL, MOST_KILOBYTES = 7, 4096


def migrate_back() -> dict[str, Any]:
    """Bring the tables back to those of an earlier release."""
    call_command("migrate", *EARLIER, verbosity=0)
    return _state()


def migrate_and_die(kills: int, seed: int) -> dict[str, Any]:
    """Bring the tables up again and again, killed in the midst of it; then once to the end."""
    dice = random.Random(seed)
    keep = _Kept()
    whole = [_shape(), *_steps()]
    connection.close()
    keep.put_back()
    change = _Change()
    lasts = _seconds_of(change)
    found: dict[str, Any] = {"killed": 0, "half": 0, "steps": len(whole) - 1}
    for _ in range(kills):
        if _shape() != whole[0]:
            keep.put_back()
        connection.close()
        child = Forked(_make, change)
        child.await_first()
        time.sleep(dice.uniform(0, lasts))
        child.kill()
        found["killed"] += child.was_killed
        found["half"] += _shape() not in whole
    keep.put_back()
    found["raised"] = Forked(_make_and_raise, change).wait()
    found["half"] += _shape() not in whole
    connection.close()
    found["ended"] = Forked(_migrate).wait()
    found["is_whole"] = _shape() == whole[-1]
    return {**found, **_state()}


def upgrade_as_the_disk_fills(is_disk: bool, step: int) -> dict[str, Any]:
    """Bring the tables up with a little more room each time, until there is enough of it.

    Before that, do it once as a person does, on a disk that is full: said, and done when there is
    room. ``step`` is in kilobytes.
    """
    with connection.cursor() as cursor:
        # What the later release had needed would else be there to be used again.
        cursor.execute("VACUUM")
    keep = _Kept()
    whole = [_shape(), *_steps()]
    keep.put_back()
    change = _Change()
    found: dict[str, Any] = {"half": 0, "full": 0, "steps": len(whole) - 1}
    reached, kilobytes, ended = set(), 0, 1
    while ended and kilobytes < MOST_KILOBYTES:
        keep.put_back()
        with room_left(kilobytes, is_disk=is_disk):
            ended = Forked(_make_or_say_full, change).wait()
        shape = _shape()
        found["half"] += shape not in whole
        found["full"] += ended == FULL
        reached |= {whole.index(shape)} if shape in whole else set()
        kilobytes += step
    keep.put_back()
    with room_left(0, is_disk=is_disk):
        found["said"] = [_upgrade(without_copy) for without_copy in (False, True)]
    found["is_as_it_was"] = _shape() == whole[0]
    found["then"] = _upgrade(True)
    return {
        **found,
        "ended": ended,
        "reached": sorted(reached),
        "is_whole": _shape() == whole[-1],
        "unguarded": appendonly.missing(),
        **_state(),
    }


def _upgrade(without_copy: bool) -> str:
    """Bring the database up to date as a person does; return what is said where it fails."""
    try:
        call_command("upgrade", without_copy=without_copy, stdout=io.StringIO())
    except CommandError as fault:
        return str(fault)
    return ""


def _make_or_say_full(change: _Change, pipe: int) -> None:
    try:
        change.make()
    except OperationalError as fault:
        os._exit(FULL if outages.outage_of(fault).kind == outages.FULL else 1)


def _steps() -> Iterator[Any]:
    """Bring the tables up one change after another, and yield what each made of them."""
    executor = MigrationExecutor(connection)
    for change, _ in executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", change.app_label, change.name, verbosity=0)
        yield _shape()


class _Change:
    """What is to be done to the tables, read once: a child that is forked only has to do it."""

    def __init__(self) -> None:
        self.executor = MigrationExecutor(connection)
        self.targets = self.executor.loader.graph.leaf_nodes()
        self.plan = self.executor.migration_plan(self.targets)
        self.state = self.executor._create_project_state(with_applied_migrations=True)
        assert self.state.apps
        connection.close()

    def make(self) -> None:
        self.executor.migrate(self.targets, plan=self.plan, state=self.state.clone())


def _seconds_of(change: _Change) -> float:
    connection.close()
    child = Forked(_make, change)
    child.await_first()
    began = time.monotonic()
    child.wait()
    return time.monotonic() - began


def _migrate(pipe: int) -> None:
    call_command("migrate", verbosity=0)


def _make(change: _Change, pipe: int) -> None:
    """Tell when the first statement is reached: what is before that is only reading."""
    _before_statements(lambda number: os.write(pipe, b"begun\n") if number == 0 else None)
    change.make()


def _make_and_raise(change: _Change, pipe: int) -> None:
    """Fail at the fifth statement, which is in the midst of a change."""

    def fail(number: int) -> None:
        if number == 4:
            raise RuntimeError("broken off")

    _before_statements(fail)
    sys.stderr = open(os.devnull, "w")  # noqa: SIM115
    change.make()


def _before_statements(act: Callable[[int], Any]) -> None:
    real, numbers = BaseDatabaseSchemaEditor.execute, count()

    def execute(self: Any, *args: Any, **kwargs: Any) -> Any:
        act(next(numbers))
        return real(self, *args, **kwargs)

    BaseDatabaseSchemaEditor.execute = execute


def _shape() -> Any:
    """Return every table with its columns, and the changes that are noted as done."""
    with connection.cursor() as cursor:
        names = sorted(connection.introspection.table_names(cursor))
        columns = [
            (
                name,
                [it.name for it in connection.introspection.get_table_description(cursor, name)],
            )
            for name in names
        ]
        cursor.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
        done = cursor.fetchall()
    connection.close()
    return [columns, done]


def _state() -> dict[str, Any]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT COUNT(*), SUM(oven_dry_mg) FROM fibres_movement")
        moved = [int(value) for value in cursor.fetchone()]
        cursor.execute("SELECT COUNT(*) FROM studio_entry")
        entries = cursor.fetchone()[0]
        is_new = "orders_quote" in connection.introspection.table_names(cursor)
    faults = [str(fault) for fault in audit().faults] if is_new else []
    return {"moved": moved, "entries": entries, "faults": faults}


class _Kept:
    """The database as it is, kept so that each try begins from the same."""

    def __init__(self) -> None:
        self.file = Path(settings.DATA_DIR) / "halfstuff.sqlite3"
        self.kept = Path(settings.DATA_DIR) / "kept"
        # Whoever closes it last takes a log ahead into the file.
        connection.close()
        if connection.vendor == "sqlite":
            shutil.copyfile(self.file, self.kept)

    def put_back(self) -> None:
        if connection.vendor != "sqlite":
            if Forked(_back).wait():
                raise RuntimeError("the tables could not be brought back")
            return
        for suffix in ("", "-wal", "-shm", "-journal"):
            Path(f"{self.file}{suffix}").unlink(missing_ok=True)
        shutil.copyfile(self.kept, self.file)


def _back(pipe: int) -> None:
    call_command("migrate", *EARLIER, verbosity=0)
