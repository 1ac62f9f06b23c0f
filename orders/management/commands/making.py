"""Print the making sheet of a making as text; run it before the day at the vat.

It reads the store as it stands, and writes nothing.
"""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orders.makings.sheet import sheet_of
from orders.models import Making
from studio.commands import StoreCommand, row_called
from studio.errors import StudioError
from studio.models import Studio


class Command(StoreCommand):
    """Print everything for one run at the vat."""

    help = "What does a making take: lots to weigh out, vat charge, top-ups, trial sheets?"

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a reference."""
        parser.add_argument("ref", help="the making, such as M-001")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, work out, print."""
        rows = Making.objects.select_related(
            "sheet__furnish", "sheet__mould", "commission", "mould", "vat", "dryer"
        )
        making = row_called(rows, options["ref"], noun="making")
        try:
            sheet = sheet_of(making, timezone.localdate())
        except StudioError as refusal:
            raise CommandError(str(refusal)) from None
        if options["json"]:
            self.stdout.write(json.dumps(sheet.as_json(), ensure_ascii=False))
            return
        for line in sheet.as_text(Studio.current().units):
            self.stdout.write(line)
