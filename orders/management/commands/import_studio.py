"""Bring a whole studio in to an empty database: run it once, on a new machine or a new folder.

It refuses a database in which anything was entered, and a file that is not whole. People come
without passwords: set them with “manage.py changepassword NAME”, or on the page People.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from orders import whole
from studio import serving
from studio.commands import ProgressLine, StoreCommand
from studio.errors import StudioError


class Command(StoreCommand):
    """Enter every table of a file that export_studio wrote."""

    help = "Bring in a whole studio that export_studio wrote, to an empty database."

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask for the file."""
        parser.add_argument("file", help="as export_studio wrote it")
        parser.add_argument(
            "--accept-faults",
            action="store_true",
            help="bring in a studio whose audit finds faults; they come along",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Bring the database up to date, and the studio in."""
        path = Path(options["file"])
        try:
            with path.open("rb") as file, ProgressLine(self.stderr) as line:
                serving.migrate()
                found = whole.bring_in(
                    file,
                    accept_faults=options["accept_faults"],
                    tell=lambda table, done, of: line.show(f"{done} of {of} tables: {table}"),
                )
        except OSError as fault:
            raise CommandError(f"{path} cannot be read: {fault.strerror}.") from fault
        except StudioError as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"{found.studio} is here: {found.count} rows. Nothing is missing.")
        if found.without_password:
            names = ", ".join(found.without_password)
            self.stdout.write(
                f"No password yet: {names}. Set each with “manage.py changepassword NAME”."
            )
