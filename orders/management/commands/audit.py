"""Prove from the movements that every balance is right; name the rows where one is not.

What makings weighed out and what they made is proved beside it.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.db import connection

from fibres.audit import Audit
from fibres.models import Movement
from orders.audit import audit
from studio.commands import StoreCommand


class Command(StoreCommand):
    """Look, print, and fail where there is a fault."""

    help = "Prove that every balance is the sum of its movements; exit 1 where one is not."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the one option."""
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print what was found, one line a fault."""
        if Movement._meta.db_table not in connection.introspection.table_names():
            raise CommandError("There is no store in this database yet. Run manage.py migrate.")
        found = audit()
        if options["json"]:
            self.stdout.write(json.dumps(found.as_json(), ensure_ascii=False, indent=2))
        else:
            self.stdout.write(worded(found))
        if found.faults:
            number = len(found.faults)
            raise CommandError(f"{number} fault{'' if number == 1 else 's'} found.")


def worded(found: Audit) -> str:
    """Word the outcome as a person reads it."""
    if found.faults:
        return "\n".join(map(str, found.faults))
    lots = "1 lot" if found.lots == 1 else f"{found.lots:,} lots"
    moves = "1 movement" if found.movements == 1 else f"{found.movements:,} movements"
    said = f"{lots}, {moves}: every balance is the sum of its movements."
    if found.arrivals:
        came = "1 receipt" if found.arrivals == 1 else f"{found.arrivals:,} receipts"
        said += f" {came} of what was ordered: every one is a lot, and no pack is counted twice."
    if found.makings:
        made = "1 making" if found.makings == 1 else f"{found.makings:,} makings"
        said += f" {made}: what was weighed out has left the store, and sheets are as counted."
    return said
