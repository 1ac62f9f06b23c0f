"""Bring the database up to this release of the program: run it once after a new release came.

A copy is made before anything is changed, and kept until you remove it. “serve” does the same by
itself when it starts.
"""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandError, CommandParser

from studio.commands import StoreCommand
from studio.copies import upgrading
from studio.errors import StudioError


class Command(StoreCommand):
    """Copy, change the tables, say so."""

    help = "Bring the database up to this release; a copy of it is made before."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the one option."""
        parser.add_argument(
            "--without-copy", action="store_true", help="make no copy of the database before"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Bring it up to date, and say so."""
        try:
            upgrading.bring_up_to_date(
                say=self.stdout.write, with_copy=not options["without_copy"]
            )
        except StudioError as fault:
            raise CommandError(str(fault)) from None
        self.stdout.write("The database is up to date with this release.")
