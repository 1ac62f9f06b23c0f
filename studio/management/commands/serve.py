"""Serve the studio's own pages on this machine."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError

from studio import serving
from studio.commands import HouseCommand
from studio.copies import upgrading
from studio.errors import StudioError


class Command(HouseCommand):
    """Take the port, migrate, serve."""

    help = "Bring the database up to date and serve the studio's pages on this machine."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take where to serve."""
        parser.add_argument("--port", default=str(serving.USUAL_PORT), help="8000 unless given")
        parser.add_argument(
            "--host",
            default=serving.LOOPBACK,
            help="address to serve on; other machines reach names set in HALFSTUFF_HOSTS only",
        )
        parser.add_argument(
            "--without-copy",
            action="store_true",
            help="make no copy of the database before a new release changes it",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Take the port, copy and migrate where a new release asks for it, serve until stopped."""
        try:
            taken = serving.listen(options["port"], host=options["host"])
        except StudioError as fault:
            raise CommandError(str(fault)) from None
        with taken:
            try:
                upgrading.bring_up_to_date(say=self._say, with_copy=not options["without_copy"])
            except StudioError as fault:
                raise CommandError(str(fault)) from None
            if not settings.HTTPS and not serving.is_here(taken):
                self._say(serving.IN_THE_CLEAR)
            serving.serve(taken, say=self._say)

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
