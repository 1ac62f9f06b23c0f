"""What every command of the house shares: bad input is one clear line, and exit 1."""

from __future__ import annotations

import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError, ProgrammingError, connection

from studio import database
from studio.models import Studio

DEMO_FILE = "demo.sqlite3"
NOT_SET_UP = (
    "There is no studio in the database yet. Start it once with “manage.py serve”, or answer "
    "from the demo with --demo after “manage.py demo --no-serve”."
)


class HouseCommand(BaseCommand):
    """A command whose options are refused in one line, without the list of all of them."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Let the parser raise, so that the line is worded in one place."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.called_from_command_line = False
        return parser

    def run_from_argv(self, argv: list[str]) -> None:
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
        """Run on the database asked for; what it cannot do is one line."""
        if options.get("demo"):
            path = settings.DATA_DIR / DEMO_FILE
            if not path.is_file():
                message = "There is no demo yet. Make it with “manage.py demo --no-serve”."
                raise CommandError(message)
            database.use_file(path)
        try:
            return super().execute(*args, **options)
        except (OperationalError, ProgrammingError) as fault:
            raise CommandError(_why(fault)) from None


def _why(fault: Exception) -> str:
    try:
        is_set_up = Studio._meta.db_table in connection.introspection.table_names()
    except OperationalError:
        is_set_up = True
    if not is_set_up:
        return NOT_SET_UP
    return f"The database could not be used, and nothing was entered: {fault}."
