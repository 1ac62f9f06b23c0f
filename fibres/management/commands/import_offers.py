"""Take in a supplier's list of offers: run it when a new list comes, first with --dry-run.

It writes offers and their price breaks, and closes the open offers that they replace. It never
makes a source or a fibre, and writes nothing where any row has a fault.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from fibres.calc.offerwords import PER_WORDS
from fibres.offerfiles import MOST_BYTES, read_file
from fibres.offerimport import Change, OfferFaultsError, TakenIn, take_in
from studio.commands import ProgressLine, StoreCommand
from studio.errors import StudioError
from studio.models import Studio
from studio.money import show_money
from studio.units import System, show_mass

DEEDS = {"entered": "enter", "replaced": "replace", "unchanged": "leave as it is:"}


class Command(StoreCommand):
    """Enter the offers of a CSV file or a workbook, all or none."""

    help = (
        "Take in offers from a CSV file (UTF-8; comma or semicolon) or an XLSX workbook. An open "
        "offer of the same source, fibre, form and pack on the same days is closed, and the new "
        "one entered."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Ask for the file."""
        parser.add_argument("file", help="CSV or XLSX with a line of headings")
        parser.add_argument("--sheet", default="", help="sheet of the workbook; else the first")
        parser.add_argument("--dry-run", action="store_true", help="say what it would change")
        parser.add_argument("--json", action="store_true", help="print counts as one object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read the file, take it in, and print what it changed."""
        studio = Studio.current()
        path = Path(options["file"])
        try:
            with ProgressLine(self.stderr) as line:
                found = take_in(
                    read_file(content_of(path), sheet=options["sheet"]),
                    currency=studio.currency,
                    name=path.name,
                    dry_run=options["dry_run"],
                    progress=lambda done, rows: line.show(f"{done} of {rows} rows looked over"),
                )
        except OfferFaultsError as refusal:
            for fault in refusal.faults:
                self.stderr.write(str(fault))
            raise CommandError(str(refusal)) from refusal
        except StudioError as refusal:
            raise CommandError(str(refusal)) from refusal
        if options["json"]:
            self.stdout.write(json.dumps({**found.counts, "dry_run": options["dry_run"]}))
            return
        self._print(found, studio, options)

    def _print(self, found: TakenIn, studio: Studio, options: dict[str, Any]) -> None:
        is_dry = options["dry_run"]
        opening = "Nothing is written. It would be" if is_dry else "Offers"
        self.stdout.write(f"{opening}: {found.said}.")
        if is_dry or options["verbosity"] > 1:
            for change in found.changes:
                self.stdout.write(change_in_words(change, studio.currency, studio.units))


def content_of(path: Path) -> bytes:
    """Return the bytes of a file that is not too large to be a list."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise CommandError(f"{path} is larger than {MOST_BYTES // 1_000_000} MB. Split it.")
        return path.read_bytes()
    except OSError as fault:
        raise CommandError(f"{path} cannot be read: {fault.strerror}.") from fault


def change_in_words(change: Change, currency: str, system: System) -> str:
    """Word what becomes of one row."""
    offer = change.row.offer
    pack = show_mass(offer.pack_mg, system=system)
    price = show_money(offer.minor_per_kg, currency)
    return (
        f"  Row {change.row.number}: {DEEDS[change.deed]} {offer}, {pack} at {price} a kilogram "
        f"{PER_WORDS[offer.price_per]}"
    )
