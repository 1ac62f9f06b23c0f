"""A database of its own for one fault test, and what can be read from it without Django."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_SECONDS = 240
# Movements without a seal, numbers that are left out, and seals in another order than the ledger.
ODD_SEALS = (
    "fibres_movement movement LEFT JOIN fibres_seal seal ON seal.movement_id = movement.id "
    "WHERE seal.id IS NULL",
    "fibres_seal seal WHERE seal.number > 1 AND NOT EXISTS "
    "(SELECT 1 FROM fibres_seal earlier WHERE earlier.number = seal.number - 1)",
    "fibres_seal seal JOIN fibres_seal later ON later.number = seal.number + 1 "
    "WHERE later.movement_id <= seal.movement_id",
)


@dataclass(frozen=True)
class Place:
    """Where the processes of one test write: a folder with a file, or a database by address."""

    folder: Path
    url: str = ""

    def environment(self) -> dict[str, str]:
        kept = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("HALFSTUFF_", "COV_"))
        }
        place = {"HALFSTUFF_DATA": str(self.folder), "HALFSTUFF_DATABASE_URL": self.url}
        return {**kept, **place}

    @contextmanager
    def worker(self, act: str, **given: Any) -> Iterator[subprocess.Popen[str]]:
        """Start a process and wait until it is ready to begin; end it whatever happens."""
        command = [sys.executable, "-m", "tests.faults.worker", act, json.dumps(given)]
        with subprocess.Popen(
            command,
            cwd=ROOT,
            env=self.environment(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as process:
            try:
                assert process.stdout
                assert process.stdout.readline() == "ready\n", f"{act} did not start"
                yield process
            finally:
                process.kill()

    def run(self, act: str, **given: Any) -> Any:
        """Run one act to its end and return its answer."""
        with self.worker(act, **given) as process:
            return answer(process)

    def run_together(self, many: int, act: str, **given: Any) -> list[Any]:
        """Run the same act in several processes that begin at once."""
        with ExitStack() as stack:
            processes = [
                stack.enter_context(self.worker(act, **given, seed=seed)) for seed in range(many)
            ]
            for process in processes:
                begin(process)
            return [answer(process, begun=True) for process in processes]

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Read with the plain driver: what is there, not what the program believes."""
        if self.url:
            import psycopg

            with psycopg.connect(self.url, autocommit=True) as connection:
                return list(connection.execute(query).fetchall())
        with closing(sqlite3.connect(self.folder / "halfstuff.sqlite3", timeout=30)) as file:
            return list(file.execute(query).fetchall())

    def value(self, query: str) -> Any:
        return self.rows(query)[0][0]

    def unsound(self) -> list[str]:
        """Say what is wrong with the database itself, with its balances and its entries."""
        found = []
        if not self.url:
            if self.rows("PRAGMA integrity_check") != [("ok",)]:
                found.append("integrity")
            if self.rows("PRAGMA foreign_key_check"):
                found.append("foreign keys")
        if self.rows(
            "SELECT lot.ref FROM fibres_lot lot LEFT JOIN fibres_movement movement "
            "ON movement.lot_id = lot.id GROUP BY lot.id, lot.ref, lot.oven_dry_mg "
            "HAVING lot.oven_dry_mg <> COALESCE(SUM(movement.oven_dry_mg), 0)"
        ):
            found.append("balance is not the sum of movements")
        if self.rows(
            "SELECT entry.id FROM studio_entry entry LEFT JOIN fibres_movement movement "
            "ON movement.entry_id = entry.id WHERE entry.act IN ('receive', 'take out') "
            "GROUP BY entry.id HAVING COUNT(movement.id) <> 1"
        ):
            found.append("an entry without its movement")
        if any(self.value(f"SELECT COUNT(*) FROM {odd}") for odd in ODD_SEALS):
            found.append("the chain of seals is not that of the movements")
        return found

    def entry_keys(self) -> set[str]:
        """Return the keys of all entries, in plain hexadecimal."""
        rows = self.rows("SELECT request_key FROM studio_entry")
        return {uuid.UUID(str(key)).hex for (key,) in rows}


def begin(process: subprocess.Popen[str]) -> None:
    assert process.stdin
    process.stdin.write("begin\n")
    process.stdin.flush()


def answer(process: subprocess.Popen[str], *, begun: bool = False) -> Any:
    """Let a process begin, if it has not, and return what it answers at its end."""
    said, _ = process.communicate("" if begun else "begin\n", timeout=PATIENCE_SECONDS)
    assert process.returncode == 0, f"a worker failed: {said[-2000:]}"
    return json.loads(said.splitlines()[-1])


@contextmanager
def postgresql_database(server: str) -> Iterator[str]:
    """Make a database on a server and return its address; drop it afterwards."""
    import psycopg

    name = f"halfstuff_fault_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    try:
        yield urlunsplit(urlsplit(server)._replace(path=f"/{name}"))
    finally:
        with psycopg.connect(server, autocommit=True) as connection:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
