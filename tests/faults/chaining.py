"""The chain of seals under many writers, in two databases, and under edits of the file itself."""

from __future__ import annotations

import random
import shutil
import sqlite3
import uuid
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError

from fibres import ledger, sealing, services
from fibres.audit import audit
from fibres.models import Lot, Movement
from studio.database import use_file
from studio.entries import acting, enter
from studio.roles import HAND
from tests.builders import KG, day, make_lot, make_studio, make_user

OUT = Movement.Kind.ISSUED


# --- two lots, moved in opposite order ----------------------------------------------------------


def two_lots() -> list[str]:
    """Make the database with two lots."""
    call_command("migrate", verbosity=0)
    make_studio()
    return [make_lot(as_is_mg=100 * KG).ref for _ in range(2)]


def move_both(lots: list[str], times: int, seed: int) -> dict[str, int]:
    """Move two lots in one act, every other process the other way round; put some right."""
    found = {"done": 0, "locked": 0}
    held = [Lot.objects.get(ref=ref) for ref in lots]
    ordered = held if seed % 2 else held[::-1]
    for number in range(times):
        try:
            _move(ordered)
            if number % 5 == 0:
                _put_right(ordered[0])
        except OperationalError:
            found["locked"] += 1
        else:
            found["done"] += 1
    return found


@acting()
def _move(lots: list[Lot]) -> None:
    entry = enter("move both", "Moved both", page="/", key=uuid.uuid4(), by=None)
    for lot in lots:
        ledger.post(lot, OUT, -1000, happened_on=day(), entry=entry, as_is_mg=-1100)


def _put_right(lot: Lot) -> None:
    """Take out and put right: such an act locks the lot before it claims its entry."""
    told: dict[str, Any] = {"happened_on": day(), "why": "Misread", "by": None}
    issued = services.take_out(lot, as_is_mg=KG // 1000, kind=OUT, **told)
    services.correct(issued, as_is_mg=KG // 500, **told)


def last_seal() -> dict[str, Any]:
    """Return the last seal, and what the audit finds."""
    found = audit()
    return {"seal": found.seal, "sealed": found.sealed, "faults": list(map(str, found.faults))}


# --- a studio that moves to another database ----------------------------------------------------


def fill_and_take_out(path: str) -> dict[str, Any]:
    """Make a database with movements of three people, and take the studio out of it."""
    _worked_studio(random.Random(7))
    call_command("export_studio", path, verbosity=0)
    return last_seal()


def bring_in(path: str) -> dict[str, Any]:
    """Make the database, with an account of its own, and bring a studio in."""
    call_command("migrate", verbosity=0)
    make_user(HAND, name="somebody else")
    call_command("import_studio", path, verbosity=0)
    return last_seal()


def _worked_studio(dice: random.Random) -> None:
    call_command("migrate", verbosity=0)
    make_studio()
    people = [make_user(HAND, name=name) for name in ("anna", "bruno", "cem")]
    lots = [make_lot(by=dice.choice([None, *people])) for _ in range(4)]
    for _ in range(30):
        lot = dice.choice(lots)
        told: dict[str, Any] = {"happened_on": day(dice.randint(0, 20)), "why": f"{dice.random()}"}
        mass = dice.randint(1, 200) * 1000
        moved = services.take_out(lot, as_is_mg=mass, kind=OUT, by=dice.choice(people), **told)
        if dice.random() < 0.3:
            services.correct(moved, as_is_mg=mass + 1000, by=dice.choice(people), **told)


# --- edits of the file --------------------------------------------------------------------------


def edit_offline(times: int, seed: int) -> list[dict[str, Any]]:
    """Edit copies of the database file with the triggers dropped; say what the audit finds."""
    dice = random.Random(seed)
    _worked_studio(dice)
    there = Path(settings.DATABASES["default"]["NAME"])
    use_file(there)
    edited = there.with_name("edited.sqlite3")
    kinds = list(EDITS)
    found = []
    for number in range(times):
        kind = kinds[number % len(kinds)]
        shutil.copyfile(there, edited)
        with closing(sqlite3.connect(edited)) as file:
            _drop_triggers(file)
            expected = EDITS[kind](file, dice)
            file.commit()
        use_file(edited)
        named = [row for row, _ in sealing.faults()]
        found.append({"kind": kind, "expected": expected, "first": named[0] if named else ""})
    return found


def _drop_triggers(file: sqlite3.Connection) -> None:
    file.execute("PRAGMA ignore_check_constraints = ON")
    for (name,) in file.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall():
        file.execute(f'DROP TRIGGER "{name}"')


def _keys(file: sqlite3.Connection) -> list[int]:
    return [key for (key,) in file.execute("SELECT id FROM fibres_movement ORDER BY id")]


def _any_but_last(file: sqlite3.Connection, dice: random.Random) -> tuple[int, int]:
    keys = _keys(file)
    at = dice.randrange(len(keys) - 1)
    return keys[at], keys[at + 1]


def _mass(file: sqlite3.Connection, dice: random.Random) -> int:
    """Change a mass and the balance of its lot with it."""
    key, change = dice.choice(_keys(file)), dice.choice([-1, 1, 1000, 90_000])
    file.execute(
        "UPDATE fibres_movement SET oven_dry_mg = oven_dry_mg + ? WHERE id = ?", [change, key]
    )
    file.execute(
        "UPDATE fibres_lot SET oven_dry_mg = oven_dry_mg + ? "
        "WHERE id = (SELECT lot_id FROM fibres_movement WHERE id = ?)",
        [change, key],
    )
    return key


def _column(statement: str) -> Callable[[sqlite3.Connection, random.Random], int]:
    """Change one column of a movement."""

    def edit(file: sqlite3.Connection, dice: random.Random) -> int:
        key = dice.choice(_keys(file))
        file.execute(f"UPDATE fibres_movement SET {statement} WHERE id = ?", [key])
        return key

    return edit


def _entry(statement: str) -> Callable[[sqlite3.Connection, random.Random], int]:
    """Change one column of the entry of a movement; its first movement is the first to tell."""

    def edit(file: sqlite3.Connection, dice: random.Random) -> int:
        key = dice.choice(_keys(file))
        (entry,) = file.execute(
            "SELECT entry_id FROM fibres_movement WHERE id = ?", [key]
        ).fetchone()
        file.execute(f"UPDATE studio_entry SET {statement} WHERE id = ?", [entry])
        first = "SELECT MIN(id) FROM fibres_movement WHERE entry_id = ?"
        return int(file.execute(first, [entry]).fetchone()[0])

    return edit


def _swap(file: sqlite3.Connection, dice: random.Random) -> int:
    """Let two movements change places, seals and all that hangs on their numbers aside."""
    one, other = sorted(dice.sample(_keys(file), 2))
    for key, to in ((one, -1), (other, one), (-1, other)):
        file.execute("UPDATE fibres_movement SET id = ? WHERE id = ?", [to, key])
    return one


def _delete(file: sqlite3.Connection, dice: random.Random) -> int:
    """Remove a movement with its seal, and put the balance right."""
    key, after = _any_but_last(file, dice)
    file.execute(
        "UPDATE fibres_lot SET oven_dry_mg = oven_dry_mg - "
        "(SELECT oven_dry_mg FROM fibres_movement WHERE id = ?1) "
        "WHERE id = (SELECT lot_id FROM fibres_movement WHERE id = ?1)",
        [key],
    )
    file.execute("DELETE FROM fibres_seal WHERE movement_id = ?", [key])
    file.execute("DELETE FROM fibres_movement WHERE id = ?", [key])
    return after


def _delete_and_close_up(file: sqlite3.Connection, dice: random.Random) -> int:
    """Remove a movement, and number the seals behind it anew."""
    after = _delete(file, dice)
    (number,) = file.execute(
        "SELECT number FROM fibres_seal WHERE movement_id = ?", [after]
    ).fetchone()
    file.execute("UPDATE fibres_seal SET number = -number WHERE number >= ?", [number])
    file.execute("UPDATE fibres_seal SET number = -number - 1 WHERE number < 0")
    return after


def _insert(file: sqlite3.Connection, dice: random.Random) -> int:
    """Slip a copy of a movement in behind the last, and take its mass off the lot."""
    columns = "lot_id, kind, oven_dry_mg, as_is_mg, moisture, happened_on, why, entry_id"
    key = dice.choice(_keys(file))
    file.execute(
        f"INSERT INTO fibres_movement ({columns}) SELECT {columns} FROM fibres_movement "
        "WHERE id = ?",
        [key],
    )
    return _keys(file)[-1]


def _insert_with_a_seal(file: sqlite3.Connection, dice: random.Random) -> int:
    """Slip a movement in with a seal that is made up."""
    key = _insert(file, dice)
    digest = f"{dice.getrandbits(256):064x}"
    file.execute(
        "INSERT INTO fibres_seal (number, movement_id, digest) "
        "SELECT MAX(number) + 1, ?, ? FROM fibres_seal",
        [key, digest],
    )
    return key


def _seal(file: sqlite3.Connection, dice: random.Random) -> int:
    """Change a seal alone."""
    key = dice.choice(_keys(file))
    digest = f"{dice.getrandbits(256):064x}"
    file.execute("UPDATE fibres_seal SET digest = ? WHERE movement_id = ?", [digest, key])
    return key


EDITS: dict[str, Callable[[sqlite3.Connection, random.Random], int]] = {
    "mass and balance": _mass,
    "day": _column("happened_on = date(happened_on, '-1 day')"),
    "as is": _column("as_is_mg = COALESCE(as_is_mg, 0) + 1"),
    "moisture": _column("moisture = moisture + 0.000001"),
    "reason": _column("why = why || '.'"),
    "lot": _column("lot_id = lot_id % 4 + 1"),
    "who": _entry("by_id = COALESCE(by_id, 0) % 3 + 1"),
    "moment": _entry("recorded_at = '2020' || substr(recorded_at, 5)"),
    "what was said": _entry("said = upper(said) || '!'"),
    "swapped": _swap,
    "deleted": _delete,
    "deleted and closed up": _delete_and_close_up,
    "slipped in": _insert,
    "slipped in with a seal": _insert_with_a_seal,
    "a seal": _seal,
}
