"""What every command of the house shares: bad input is one clear line, and exit 1."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from threading import Event, Thread
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError, ProgrammingError, connection
from django.db.models import QuerySet

from studio import database, outages, refs
from studio.errors import ReadingError, StudioError
from studio.models import Studio
from studio.working import Line

DEMO_FILE = "demo.sqlite3"
NOT_SET_UP = (
    "There is no studio in the database yet. Start it once with “manage.py serve”, or answer "
    "from the demo with --demo after “manage.py demo --no-serve”."
)


# What a shell reports where a program ends because nobody reads its output any more.
NOBODY_READS = 141
# Nothing is told about what takes less than this.
PATIENCE_S = 1.0


class HouseCommand(BaseCommand):
    """A command whose options are refused in one line, without the list of all of them.

    Where nobody reads its output to the end, as before “| head”, it ends without a word.
    """

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Let the parser raise, so that the line is worded in one place."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.called_from_command_line = False
        return parser

    def execute(self, *args: Any, **options: Any) -> Any:
        """Run; what the database cannot do is one line."""
        try:
            return super().execute(*args, **options)
        except (OperationalError, ProgrammingError) as fault:
            raise CommandError(_why(fault)) from None

    def run_from_argv(self, argv: list[str]) -> None:
        """Run the command, and see that all it printed is read or given up."""
        try:
            try:
                self._run(argv)
            finally:
                # What is still held back would break only while Python closes down.
                sys.stdout.flush()
        except BrokenPipeError:
            _give_up_unread()
            sys.exit(NOBODY_READS)

    def _run(self, argv: list[str]) -> None:
        """Run the command; a fault of the options ends like any other fault."""
        try:
            super().run_from_argv(argv)
        except CommandError as fault:
            said = str(fault).removeprefix("Error: ").removesuffix(".")
            self.stderr.write(
                f"CommandError: {said}. “manage.py {argv[1]} --help” lists the options."
            )
            sys.exit(1)


class StoreCommand(HouseCommand):
    """A command that reads or writes the studio's database, or the demo's."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Add the choice of the demo's database."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.add_argument(
            "--demo", action="store_true", help="use the demo's database, not the studio's own"
        )
        return parser

    def execute(self, *args: Any, **options: Any) -> Any:
        """Run on the database asked for."""
        if options.get("demo"):
            path = settings.DATA_DIR / DEMO_FILE
            if not path.is_file():
                message = "There is no demo yet. Make it with “manage.py demo --no-serve”."
                raise CommandError(message)
            database.use_file(path)
        return super().execute(*args, **options)


class ProgressLine:
    """One line on a terminal, written anew, for what takes longer than a second."""

    def __init__(self, out: Any) -> None:
        self.out = out
        self.is_seen = out.isatty()
        self.is_shown = False
        self._began = time.monotonic()

    def __enter__(self) -> ProgressLine:
        """Start with nothing shown."""
        return self

    def __exit__(self, *fault: object) -> None:
        """Leave no line behind, whatever happened."""
        self.clear()

    @property
    def seconds(self) -> float:
        """Time since it was made."""
        return time.monotonic() - self._began

    def show(self, words: str, *, seconds: float | None = None) -> None:
        """Say how far it is; seconds are those since the work began, if not its own."""
        if self.is_seen and (self.seconds if seconds is None else seconds) >= PATIENCE_S:
            self.is_shown = True
            self._write(f"\r{words}")

    def clear(self) -> None:
        """Take the line away."""
        if self.is_shown:
            self.is_shown = False
            self._write("\r\033[K")

    def _write(self, text: str) -> None:
        self.out.write(text, style_func=str, ending="")
        self.out.flush()


@contextmanager
def waiting(out: Any, words: str = "Working it out") -> Iterator[None]:
    """Show on a terminal how long a piece of work takes that says nothing itself."""
    with ProgressLine(out) as line:
        if not line.is_seen:
            yield
            return
        ended = Event()
        # A daemon, so that it never keeps a command alive that somebody breaks off.
        teller = Thread(target=_tell, args=(line, words, ended), daemon=True)
        teller.start()
        try:
            yield
        finally:
            ended.set()
            teller.join()


def _tell(line: ProgressLine, words: str, ended: Event) -> None:
    while not ended.wait(PATIENCE_S):
        line.show(f"{words}, {line.seconds:.0f} s")


def row_called(rows: QuerySet[Any], ref: str, *, noun: str, option: str = "") -> Any:
    """Return the row of a reference, however it is typed, or name those that there are."""
    found = refs.row_called(rows, ref)
    if found is None:
        known = rows.order_by("ref").values_list("ref", flat=True)
        said = refs.not_called(noun, ref, known)
        raise CommandError(f"--{option}: {said}" if option and not ref.strip() else said)
    return found


@contextmanager
def naming(option: str = "") -> Iterator[None]:
    """Turn a refusal of an option into one line that names it."""
    try:
        yield
    except ReadingError as error:
        # Its text begins with the option already.
        raise CommandError(str(error)) from error
    except StudioError as error:
        named = error.field or option
        raise CommandError(f"--{named}: {error}" if named else str(error)) from error


def in_columns(lines: Sequence[Line]) -> list[str]:
    """Return a working in columns; the reason stands beside each figure."""
    label = max(len(line.label) for line in lines)
    value = max(len(line.value) for line in lines)
    return [
        f"  {line.label:<{label}}  {line.value:>{value}}  {line.because}".rstrip()
        for line in lines
    ]


def _give_up_unread() -> None:
    """Turn what is still held back to nowhere, so that closing down cannot break on it again."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except BrokenPipeError:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno())
            os.close(nowhere)


def _why(fault: Exception) -> str:
    kind = outages.outage_of(fault).kind
    where, said = connection.settings_dict["NAME"], outages.in_one_line(fault)
    if kind == outages.FULL:
        return (
            f"The disk of {where} is full, so nothing was entered: {said}. Nothing that was "
            "saved before is lost. Make room there and try again."
        )
    if kind == outages.READ_ONLY:
        return (
            f"Nothing can be saved in {where}: {said}. Nothing was entered. Give this account "
            "the right to write there, or set HALFSTUFF_DATA to another folder."
        )
    try:
        is_set_up = Studio._meta.db_table in connection.introspection.table_names()
    except OperationalError:
        is_set_up = True
    if not is_set_up:
        return NOT_SET_UP
    return f"The database could not be used, and nothing was entered: {said}."
