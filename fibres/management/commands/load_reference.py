"""Add the fibres and scrap classes of this release that the studio does not have yet."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from fibres import reference
from studio.commands import StoreCommand


class Command(StoreCommand):
    """Add, or say what would be added."""

    help = "Add the fibres of this release that are missing; change none that is there."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the one option."""
        parser.add_argument(
            "--dry-run", action="store_true", help="name what would be added and write nothing"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Say how many fibres were added."""
        if options["dry_run"]:
            missing = reference.missing_fibres()
            for fibre in missing:
                self.stdout.write(fibre.name)
            self.stdout.write(f"{counted(len(missing))} would be added. Nothing was written.")
            return
        self.stdout.write(f"{counted(reference.load_fibres())} added.")


def counted(number: int) -> str:
    """Word a number of fibres."""
    return "1 fibre" if number == 1 else f"{number} fibres"
