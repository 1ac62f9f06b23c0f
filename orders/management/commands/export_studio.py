"""Take the whole studio out as one file: for keeping, or for moving to another machine.

It writes nothing in the database. Passwords and keys are not in the file; everything else is, so
keep it as you keep the studio itself. A file of that name is replaced only once the new one is
whole.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from studio.commands import ProgressLine, StoreCommand
from studio.files import limits, whole


class Command(StoreCommand):
    """Write every table of the studio into one file."""

    help = "Write the whole studio into one file, as CSV and JSON with a manifest."

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask where to."""
        parser.add_argument("file", help="where to write it, such as studio.zip")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write beside the file, then put the new one in its place."""
        path = Path(options["file"])
        try:
            with ProgressLine(self.stderr) as line:
                written = self._write(path, line)
        except OSError as fault:
            raise CommandError(f"{path} cannot be written: {fault.strerror}.") from fault
        size = limits.megabytes(path.stat().st_size)
        self.stdout.write(
            f"{path}: {len(written.rows)} tables, {written.count} rows, {size}. Passwords and "
            "keys are not in it."
        )

    def _write(self, path: Path, line: ProgressLine) -> whole.Written:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                written = whole.write_studio(
                    file, tell=lambda table, done, of: line.show(f"{done} of {of} tables: {table}")
                )
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        return written
