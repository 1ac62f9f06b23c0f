"""Put a copy that “backup” made in the place of the database: stop “serve” before.

The copy is looked over first and refused where it is damaged, of another program or of a later
release. The database it takes the place of is set aside under another name and never removed. On
PostgreSQL the copy is loaded into a new database, and the one in use is not touched.
"""

from __future__ import annotations

import datetime
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from orders.proving import prove
from studio.commands import StoreCommand, naming, waiting
from studio.copies import reloading, restoring, sqlitefile
from studio.copies.dumping import MAGIC
from studio.copies.proof import Proof
from studio.errors import StudioError

YES = "yes"


class Command(StoreCommand):
    """Look over, ask, put in place."""

    help = "Put a copy of the database in its place; what was there is set aside."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the copy, and what to do with it."""
        parser.add_argument("file", help="as “backup” made it")
        parser.add_argument(
            "--dry-run", action="store_true", help="only look the copy over and say what is in it"
        )
        parser.add_argument("--yes", action="store_true", help="do not ask before it is put there")
        parser.add_argument(
            "--accept-faults", action="store_true",
            help="take a copy whose ledger has faults; they come along",
        )  # fmt: skip
        parser.add_argument(
            "--into", help="PostgreSQL alone: name of the new database to load it into"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Do what the kind of database asks for."""
        path = Path(options["file"])
        try:
            if connection.vendor == "sqlite":
                self._refuse_dump(path, options)
                self._put_in_place(path, options)
            else:
                self._load(path, options)
        except OSError as fault:
            raise CommandError(
                f"{fault.filename or path} cannot be read: {fault.strerror or fault}. "
                f"{restoring.UNTOUCHED}"
            ) from fault
        except StudioError as refusal:
            with naming():
                raise refusal

    def _refuse_dump(self, path: Path, options: dict[str, Any]) -> None:
        if options["into"]:
            raise CommandError("--into is for PostgreSQL; this studio keeps its data in a file.")
        if path.is_file():
            with path.open("rb") as file:
                if file.read(len(MAGIC)) == MAGIC:
                    raise CommandError(
                        f"{path} is a copy of a PostgreSQL database, and this studio keeps its "
                        "data in a file. Set HALFSTUFF_DATABASE_URL, or move the studio with "
                        "export_studio and import_studio."
                    )

    def _put_in_place(self, path: Path, options: dict[str, Any]) -> None:
        live = restoring.live_file()
        connection.close()
        if live is None:
            raise CommandError("The database of this process is in memory; nothing to put there.")
        with ExitStack() as stack:
            with waiting(self.stderr, "Looking it over"):
                ready = stack.enter_context(
                    restoring.prepared(
                        path, live, prove=prove, accept_faults=options["accept_faults"]
                    )
                )
            self._tell(ready)
            if options["dry_run"]:
                self.stdout.write("Nothing was changed.")
                return
            if not options["yes"]:
                self._ask()
            aside = restoring.put_in_place(ready)
        self.stdout.write(f"The copy is in its place: {live}.")
        if aside is not None:
            self.stdout.write(f"What was there is set aside: {aside}. Remove it when you like.")

    def _tell(self, ready: restoring.Ready) -> None:
        self.stdout.write(f"{ready.path} is whole: {ready.rows:,} rows.")
        for line in _findings(ready.proof, ready.brought_up, is_marked=ready.is_marked):
            self.stdout.write(line)
        self.stdout.write(f"It has {_words_of(ready.book)}.")
        if ready.live_book is not None:
            self.stdout.write(f"The database in use has {_words_of(ready.live_book)}.")
        elif ready.live.exists() and not ready.live.stat().st_size:
            self.stdout.write(f"There is no studio in {ready.live} yet.")
        elif ready.live.exists():
            self.stdout.write("The database in use cannot be read.")

    def _ask(self) -> None:
        if not sys.stdin.isatty():
            raise CommandError(
                "Nobody is here to be asked. Add --yes to put the copy in its place, or "
                f"--dry-run to look only. {restoring.UNTOUCHED}"
            )
        self.stdout.write(
            "The copy takes the place of the database in use, which is set aside. Type "
            f"“{YES}” to go on: ",
            ending="",
        )
        self.stdout.flush()
        if sys.stdin.readline().strip().casefold() != YES:
            raise CommandError(f"Not restored. {restoring.UNTOUCHED}")

    def _load(self, path: Path, options: dict[str, Any]) -> None:
        if path.is_file() and sqlitefile.is_sqlite(path):
            raise CommandError(
                f"{path} is a copy of a studio that keeps its data in a file, and this one is on "
                "PostgreSQL. Move the studio with export_studio and import_studio."
            )
        if options["dry_run"]:
            is_marked, rows = reloading.look_over(path)
            self.stdout.write(f"{path} can be read to its end: {sum(rows.values()):,} rows.")
            for line in _findings(None, (), is_marked=is_marked):
                self.stdout.write(line)
            self.stdout.write("Nothing was changed.")
            return
        if not options["into"]:
            in_use = connection.settings_dict["NAME"]
            raise CommandError(
                f"Name a new database to load it into, such as --into {in_use}_restored. "
                f"{restoring.UNTOUCHED}"
            )
        with waiting(self.stderr, "Loading"):
            loaded = reloading.load(
                path, options["into"], prove=prove, accept_faults=options["accept_faults"]
            )
        self.stdout.write(f"{path} is loaded into {loaded.name}: {loaded.rows:,} rows.")
        for line in _findings(loaded.proof, loaded.brought_up, is_marked=loaded.is_marked):
            self.stdout.write(line)
        self.stdout.write(
            f"The database in use was not touched. To work with the copy, stop the studio, put "
            f"{loaded.name} for the name at the end of HALFSTUFF_DATABASE_URL, and start it again."
        )


def _findings(proof: Proof | None, brought_up: tuple[str, ...], *, is_marked: bool) -> list[str]:
    lines = []
    if not is_marked:
        lines.append(
            "No .sha256 lies beside it, so a figure or word that a failing disk changed might not "
            "be noticed."
        )
    if brought_up:
        lines.append(f"It was brought up to this release by {len(brought_up)} changes of tables.")
    if proof is not None and proof.faults:
        lines.append(f"Its ledger has {len(proof.faults)} faults; “manage.py audit” names them.")
    elif proof is not None:
        lines.append(f"Every balance in it is the sum of its movements ({proof.said}).")
        if proof.seal:
            lines.append(f"  last seal  {proof.seal}")
    return lines


def _words_of(book: restoring.Book) -> str:
    entries = "1 entry" if book.entries == 1 else f"{book.entries:,} entries"
    try:
        at = datetime.datetime.fromisoformat(book.last).replace(tzinfo=datetime.UTC)
    except ValueError:
        return entries
    here = timezone.localtime(at)
    return f"{entries}, the last of {here.day} {here:%b %Y, %H:%M}"
