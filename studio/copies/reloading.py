"""Load a copy of a PostgreSQL database into a new one; the database in use is never touched.

The new database is looked over there. Whoever runs the studio then points it to the new one, so
that the old one stays as it is for as long as it is wanted.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import DatabaseError, connections
from django.db.migrations.exceptions import InconsistentMigrationHistory

from studio.copies import dumping, sqlitefile
from studio.copies.making import mark_of
from studio.copies.proof import Proof, Prove, some_of
from studio.errors import StudioError

UNTOUCHED = "The database in use was not touched."
MIGRATIONS = "django_migrations"
MOST_NAME = 63


@dataclass(frozen=True, slots=True)
class Loaded:
    """A copy that was loaded, and what it came to."""

    name: str
    rows: int
    proof: Proof
    brought_up: tuple[str, ...]
    is_marked: bool


def look_over(path: Path) -> tuple[bool, dict[str, int]]:
    """Read a copy to its end without a database; tell whether it has its mark, and its rows."""
    if not path.is_file():
        raise StudioError(f"There is no file {path}. {UNTOUCHED}")
    with path.open("rb") as file:
        if file.read(len(dumping.MAGIC)) != dumping.MAGIC:
            raise StudioError(f"{path} is no copy that “backup” made of PostgreSQL. {UNTOUCHED}")
    is_marked = _hold_against_mark(path)
    rows = dumping.rows_in(path)
    applied = {tuple(line.split("\t")[1:3]) for line in dumping.lines_in(path, MIGRATIONS)}
    if not any(label == sqlitefile.HOUSE for label, *_ in applied):
        raise StudioError(f"{path} is a copy of another program’s database. {UNTOUCHED}")
    sqlitefile.refuse_foreign(sqlitefile.age_by(applied), str(path))
    return is_marked, rows


def load(path: Path, name: str, *, prove: Prove, accept_faults: bool = False) -> Loaded:
    """Load a copy into a database of that name, bring it up to this release, and prove it."""
    is_marked, rows = look_over(path)
    connection = connections["default"]
    _refuse_name(name, connection)
    with _database(name, connection) as alias:
        dumping.run(
            "pg_restore", "--exit-on-error", "--single-transaction", "--no-owner",
            "--no-privileges", f"--dbname={name}", str(path), connection=connection,
        )  # fmt: skip
        found = dumping.count_rows(connections[alias])
        if found != {**found, **rows}:
            raise StudioError(f"Not every row of {path} arrived in {name}. {UNTOUCHED}")
        age = sqlitefile.age_of(alias)
        try:
            if age.lacks:
                call_command("migrate", database=alias, verbosity=0, interactive=False)
            proof = prove(alias)
        except (DatabaseError, InconsistentMigrationHistory) as fault:
            raise StudioError(
                f"{path} cannot be brought up to this release: {str(fault)[:200]}. {UNTOUCHED}"
            ) from fault
        if proof.faults and not accept_faults:
            raise StudioError(
                f"The ledger in {path} does not prove itself: {some_of(proof.faults)}. Use "
                f"another copy, or take it as it is with --accept-faults. {UNTOUCHED}"
            )
    return Loaded(name, sum(rows.values()), proof, age.lacks, is_marked)


def _hold_against_mark(path: Path) -> bool:
    mark = mark_of(path)
    if not mark.is_file():
        return False
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if mark.read_text(encoding="utf-8", errors="replace").split()[:1] != [digest]:
        raise StudioError(
            f"{path} is not as it was made: its sha256 is another than {mark.name} says. It is "
            f"damaged or was changed; use another copy. {UNTOUCHED}"
        )
    return True


def _refuse_name(name: str, connection: Any) -> None:
    if name == str(connection.settings_dict["NAME"]):
        raise StudioError(
            f"{name} is the database in use. Name a new one, such as {name}_restored. {UNTOUCHED}",
            field="into",
        )
    if not re.fullmatch(rf"[A-Za-z][A-Za-z0-9_]{{0,{MOST_NAME - 1}}}", name):
        raise StudioError(
            "Give a name of letters, digits and low lines that begins with a letter, at most "
            f"{MOST_NAME} characters, got {name[:40]!r}. {UNTOUCHED}",
            field="into",
        )


@contextmanager
def _database(name: str, connection: Any) -> Iterator[str]:
    """Give a connection to an empty database of that name; drop one made here if all fails."""
    is_new = _make_unless_there(name, connection)
    alias = f"copy-{name}"
    connections.settings[alias] = {**connections.settings["default"], "NAME": name}
    try:
        if not is_new and connections[alias].introspection.table_names():
            raise StudioError(
                f"There are tables in the database {name} already. Name another. {UNTOUCHED}",
                field="into",
            )
        yield alias
    except BaseException:
        connections[alias].close()
        if is_new:
            with suppress(DatabaseError), connection.cursor() as cursor:
                cursor.execute(f'DROP DATABASE "{name}"')
        raise
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.settings[alias]


def _make_unless_there(name: str, connection: Any) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name])
        if cursor.fetchone():
            return False
        try:
            cursor.execute(f'CREATE DATABASE "{name}" TEMPLATE template0')
        except DatabaseError as fault:
            raise StudioError(
                f"The database {name} cannot be made: {str(fault).strip()[:200]}. Ask whoever "
                f"looks after the server to make it, empty and yours, and restore again. "
                f"{UNTOUCHED}",
                field="into",
            ) from fault
    return True
