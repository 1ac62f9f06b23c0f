"""Make an invented studio in a database of its own, answer three questions, and serve it."""

from __future__ import annotations

from argparse import ArgumentParser
from contextlib import nullcontext
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection
from django.utils import timezone

from orders import answers, demo
from orders.models import Commission, Sheet
from studio import database, people, serving
from studio.commands import DEMO_FILE, HouseCommand
from studio.errors import StudioError

BESIDE = ("", "-journal", "-wal", "-shm")
COSTED = "C-001"
# The sheet that scrap is counted in: text paper of a size that everybody knows.
COUNTED_IN = "C-002"
OWNER = "demo owner"


class Command(HouseCommand):
    """Make, answer, serve."""

    help = "Make an invented studio afresh, answer the three everyday questions, and serve it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take where to serve, and whether to."""
        parser.add_argument(
            "--no-serve", action="store_true", help="print the answers and stop there"
        )
        parser.add_argument("--port", default=str(serving.USUAL_PORT), help="8000 unless given")

    def handle(self, *args: Any, **options: Any) -> None:
        """Take the port, make the demo, answer, serve."""
        try:
            held = nullcontext() if options["no_serve"] else serving.listen(options["port"])
            with held as taken:
                self._make()
                if taken is not None:
                    settings.DEMO = True
                    serving.serve(taken, say=self._say)
        except StudioError as fault:
            raise CommandError(str(fault)) from None

    def _make(self) -> None:
        path = settings.DATA_DIR / DEMO_FILE
        clear(path)
        database.use_file(path)
        serving.migrate()
        today = timezone.localdate()
        studio = demo.make(today, people.make_owner(OWNER, None))
        self._say(f"{studio.name}, an invented studio, is in {path}.")
        costed = Commission.objects.select_related("sheet").get(ref=COSTED)
        sheet = Sheet.objects.get(commissions__ref=COUNTED_IN)
        for question, lines in (
            ("Does the store cover what is promised?", answers.does_it_cover(today)),
            (f"What does a sheet of {COSTED} cost?", answers.what_it_costs(costed, today)),
            ("What scrap came in, and what does it make?", answers.what_scrap_makes(sheet)),
        ):
            self._say("\n" + question)
            for line in lines:
                self._say(f"  {line}")
        self._say("")

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def clear(path: Path) -> None:
    """Remove the demo of the last time, and nothing else."""
    if Path(str(connection.settings_dict["NAME"])).resolve() == path.resolve():
        raise StudioError(
            f"The studio's own database is {path}, and the demo would replace it. Give that file "
            "another name, or set HALFSTUFF_DATA to another folder for the demo."
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        for suffix in BESIDE:
            path.with_name(path.name + suffix).unlink(missing_ok=True)
    except OSError as fault:
        raise StudioError(
            f"The demo of last time cannot be removed: {fault.strerror}, {fault.filename}. Stop "
            "the demo that is running, or remove the file."
        ) from None
