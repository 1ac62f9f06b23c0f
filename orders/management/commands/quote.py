"""Print a quote: as it was issued, or, while it is a draft, as it would be issued now.

It only reads. What was issued keeps its prices, words and names, whatever changed since.
"""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orders import quoting
from orders.calc.quotation import Quotation
from orders.models import Quote
from studio.commands import StoreCommand, in_columns, row_called
from studio.errors import StudioError


class Command(StoreCommand):
    """Print one quote."""

    help = "What does a quote say?"

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a reference."""
        parser.add_argument("ref", help="the quote, such as Q-001")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read and print."""
        quote = row_called(quoting.quotes(), options["ref"], noun="quote")
        try:
            found = quoting.shown(quote, timezone.localdate())
        except StudioError as refusal:
            raise CommandError(str(refusal)) from None
        if options["json"]:
            self.stdout.write(json.dumps(plain(quote, found), ensure_ascii=False))
            return
        self._print(quote, found)

    def _print(self, quote: Quote, found: Quotation) -> None:
        terms, words = found.terms, found.words
        self.stdout.write(f"{quote.ref} {terms.title}: {quote.state_mark[1]}")
        self.stdout.write(f"{terms.studio} for {terms.client}, {found.day}")
        if said := found.accepted_words(quote.accepted_quantity):
            self.stdout.write(said)
        if terms.replaces:
            self.stdout.write(f"In place of {terms.replaces}")
        self.stdout.write("")
        self.stdout.write(terms.sheet_name)
        for sentence in (words.sheet, words.furnish):
            self.stdout.write(f"  {sentence}")
        self.stdout.write("")
        for line in in_columns(found.lines()):
            self.stdout.write(line)
        self.stdout.write("")
        said = (
            words.tax, words.includes, words.carriage, words.tolerance, words.count,
            words.recycled, words.permanence, words.sending, words.validity, words.deposit,
            terms.remarks,
        )  # fmt: skip
        for sentence in filter(None, said):
            self.stdout.write(sentence)
        for name in found.missing:
            self.stdout.write(f"No price is known for {name}: it is counted as nothing.")


def plain(quote: Quote, found: Quotation) -> dict[str, Any]:
    """Return the quote with its state; amounts are whole minor units, shares text."""
    return {
        "state": quote.state,
        "lapsed": quote.is_lapsed,
        "accepted_quantity": quote.accepted_quantity,
        **found.to_json(),
    }
