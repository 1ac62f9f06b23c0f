"""What every command of the house shares: bad input is one clear line, and exit 1."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser


class HouseCommand(BaseCommand):
    """A command whose options are refused in one line, without the list of all of them."""

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        """Let the parser raise, so that the line is worded in one place."""
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.called_from_command_line = False
        parser.epilog = parser.epilog or ""
        return parser

    def run_from_argv(self, argv: list[str]) -> None:
        """Run the command; a fault of the options ends like any other fault."""
        try:
            super().run_from_argv(argv)
        except CommandError as fault:
            said = str(fault).removeprefix("Error: ")
            self.stderr.write(
                f"CommandError: {said}. “manage.py {argv[1]} --help” lists the options."
            )
            sys.exit(1)
