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
from fibres.calc.chain import Noted
from fibres.models import Movement, Seal
from orders.audit import audit
from studio.commands import StoreCommand
from studio.errors import StudioError


class Command(StoreCommand):
    """Look, print, and fail where there is a fault."""

    help = "Prove that every balance is the sum of its movements; exit 1 where one is not."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take a seal that was noted, and the form of the answer."""
        parser.add_argument(
            "--seal",
            default="",
            metavar="SEAL",
            help="a seal that an earlier audit printed: prove that no movement up to it changed",
        )
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print what was found, one line a fault."""
        there = set(connection.introspection.table_names())
        if Movement._meta.db_table not in there:
            raise CommandError("There is no store in this database yet. Run manage.py serve once.")
        if Seal._meta.db_table not in there:
            raise CommandError("The database is of an older release. Run manage.py upgrade.")
        noted = _noted(options["seal"])
        found = audit(noted=noted)
        if options["json"]:
            self.stdout.write(json.dumps(found.as_json(), ensure_ascii=False, indent=2))
        else:
            self.stdout.write(worded(found, noted))
        if found.faults:
            number = len(found.faults)
            raise CommandError(f"{number} fault{'' if number == 1 else 's'} found.")


def _noted(text: str) -> Noted | None:
    """Read the seal that was given, if any was."""
    try:
        return Noted.read(text) if text.strip() else None
    except StudioError as fault:
        raise CommandError(f"--seal: {fault}") from fault


def worded(found: Audit, noted: Noted | None = None) -> str:
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
    if noted:
        said += f" No movement up to seal {noted} was changed since it was noted."
    if found.sealed:
        said += f" The last seal is {found.seal}. Note it down: audit --seal proves this state."
    return said
