"""Write store, promises and offers as JSON, to try a plan with or to send along with a question.

Run it whenever a plan is to be looked at away from the studio; it only reads. Prices are
in it, and who asks them; client names are not.
"""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from orders import snapshot
from orders.calc import plan
from studio.commands import StoreCommand


class Command(StoreCommand):
    """Print the snapshot."""

    help = "Write lots, promises and offers as JSON (manage.py snapshot > plan.json)."

    def add_arguments(self, parser: CommandParser) -> None:
        """Offer to count what is quoted as well."""
        parser.add_argument(
            "--with-quoted", action="store_true", help="count what is quoted as if it were agreed"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read once, print once."""
        found = snapshot.read(
            timezone.localdate(), with_quoted=options["with_quoted"], with_sourcing=True
        )
        self.stdout.write(json.dumps(plan.to_json(found), ensure_ascii=False, indent=1))
        for ref, why in found.left_out:
            self.stderr.write(f"{ref} is left out: {why}")
