"""A copy of a PostgreSQL database: written by pg_dump, read back and counted by pg_restore."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.db import transaction

from studio.copies.proof import Proof, Prove
from studio.copies.sqlitefile import age_of, refuse_foreign
from studio.errors import StudioError

MAGIC = b"PGDMP"
_NAMES = {"HOST": "PGHOST", "PORT": "PGPORT", "USER": "PGUSER", "PASSWORD": "PGPASSWORD"}
_BEGINS = re.compile(r'COPY (?:\w+\.)?"?([A-Za-z0-9_]+)"? \(')
_DISK_FULL = ("No space left on device", "could not write")


def size(connection: Any) -> int:
    """Return how much the database holds; its copy is packed and takes less."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        return int(cursor.fetchone()[0])


def dump(
    connection: Any, target: Path, *, prove: Prove | None
) -> tuple[dict[str, int], Proof | None]:
    """Write the database as it stands at one moment; count its rows and prove it at the same."""
    refuse_older_tool(connection)
    age = age_of(connection.alias)
    refuse_foreign(age, str(connection.settings_dict["NAME"]))
    with _one_moment(connection) as moment:
        run(
            "pg_dump", "--format=custom", "--no-owner", "--no-privileges",
            f"--snapshot={moment}", f"--file={target}", connection=connection,
        )  # fmt: skip
        rows = count_rows(connection)
        proof = prove(connection.alias) if prove and not age.lacks else None
    found = rows_in(target)
    wrong = [name for name in rows if found.get(name) != rows[name]]
    if wrong:
        raise StudioError(
            f"The copy is not whole, and was not kept: {wrong[0]} has {rows[wrong[0]]} rows and "
            f"the copy {found.get(wrong[0], 0)}. Look at the disk, and make it again."
        )
    return rows, proof


@contextmanager
def _one_moment(connection: Any) -> Iterator[str]:
    """Keep one moment of the database open, so that another program can read the same."""
    atomic = transaction.atomic(using=connection.alias)  # noqa: TID251 - only reads
    with atomic, connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        cursor.execute("SELECT pg_export_snapshot()")
        yield cursor.fetchone()[0]


def count_rows(connection: Any) -> dict[str, int]:
    """Count the rows of each table."""
    found = {}
    with connection.cursor() as cursor:
        for name in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT COUNT(*) FROM "{name}"')
            found[name] = int(cursor.fetchone()[0])
    return found


def rows_in(path: Path) -> dict[str, int]:
    """Read a copy from beginning to end and count the rows of each table."""
    return dict(_read(path, ""))


def lines_in(path: Path, table: str) -> list[str]:
    """Return the rows of one table of a copy, as text parted by tabs."""
    return [line for _, lines in _read(path, table) for line in lines]


def _read(path: Path, table: str) -> Iterator[tuple[str, Any]]:
    """Yield each table with the number of its rows; with a name, that one with its rows."""
    command = [tool("pg_restore"), "--data-only", "--file=-"]
    if table:
        command.append(f"--table={table}")
    with (
        tempfile.TemporaryFile() as faults,
        subprocess.Popen(
            [*command, str(path)], stdout=subprocess.PIPE, stderr=faults, text=True,
            encoding="utf-8", errors="replace",
        ) as reading,
    ):  # fmt: skip
        yield from _tables_in(reading.stdout or (), keep_lines=bool(table))
        reading.wait()
        faults.seek(0)
        said = faults.read().decode(errors="replace")
    if reading.returncode:
        raise StudioError(f"{path} cannot be read to its end: {_last_line(said)}. It is damaged.")


def _tables_in(text: Iterable[str], *, keep_lines: bool) -> Iterator[tuple[str, Any]]:
    name, count, lines = "", 0, []
    for line in text:
        if not name:
            begins = _BEGINS.match(line)
            name, count, lines = (begins[1], 0, []) if begins else ("", 0, [])
        elif line == "\\.\n":
            yield name, (lines if keep_lines else count)
            name = ""
        else:
            count += 1
            if keep_lines:
                lines.append(line.rstrip("\n"))


def refuse_older_tool(connection: Any) -> None:
    """Refuse a pg_dump that is not there, or that is older than the server it would copy."""
    said = subprocess.run(
        [tool("pg_dump"), "--version"], capture_output=True, text=True, check=False
    ).stdout
    found = re.search(r"(\d+)(?:\.\d+)*", said)
    server = connection.pg_version // 10000
    if found is None or int(found[1]) < server:
        raise StudioError(
            f"The pg_dump of this machine is of release {found[1] if found else 'unknown'} and "
            f"the server of release {server}. Install the PostgreSQL client of release {server} "
            "or newer. No copy was made."
        )


def tool(name: str) -> str:
    """Return where a program of PostgreSQL lies."""
    found = shutil.which(name)
    if found is None:
        raise StudioError(
            f"There is no {name} on this machine, which copies of PostgreSQL need. Install the "
            "PostgreSQL client (on Debian and Ubuntu postgresql-client), and try again."
        )
    return found


def run(name: str, *options: str, connection: Any, database: str = "") -> str:
    """Run a program of PostgreSQL as this studio connects; the password is on no command line."""
    given = connection.settings_dict
    kept = {key: value for key, value in os.environ.items() if not key.startswith("HALFSTUFF_")}
    spoken = {_NAMES[key]: str(given[key]) for key in _NAMES if given.get(key)}
    environment = {**kept, **spoken, "PGDATABASE": database or str(given["NAME"])}
    done = subprocess.run(
        [tool(name), *options], env={**environment, "LC_ALL": "C"}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode:
        if any(words in done.stderr for words in _DISK_FULL):
            raise StudioError(f"The disk is full: {_last_line(done.stderr)}. Nothing was kept.")
        raise StudioError(f"{name} failed: {_last_line(done.stderr)}. Nothing was kept.")
    return done.stdout


def _last_line(said: str) -> str:
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    return (lines[-1] if lines else "it did not say why").removesuffix(".")[:300]
