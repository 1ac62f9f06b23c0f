"""Say what a good sheet of a commission costs and what its price comes to.

Run it before a quotation; it only reads. Fibre set aside for the commission counts at its book
cost; where nothing is set aside the newest price of that fibre counts, and the answer says so.
"""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orders import services
from orders.calc.costing import Cost
from orders.models import Commission
from studio.commands import StoreCommand
from studio.errors import StudioError
from studio.money import show_money
from studio.reading import read_quantity
from studio.units import show_number

REFS_NAMED = 12


class Command(StoreCommand):
    """Print cost and price of a good sheet."""

    help = "What does a good sheet of a commission cost, and what is its price?"

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a reference and the numbers to cost."""
        parser.add_argument("ref", help="the commission, such as C-101")
        parser.add_argument(
            "--quantity", nargs="+", action="extend", metavar="N", default=[],
            help="numbers of good sheets; without, the commission's own",
        )  # fmt: skip
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, cost, print."""
        commission = self._commission(options["ref"])
        try:
            quantities = [
                read_quantity(str(text), "count", field="--quantity")
                for text in options["quantity"]
            ]
            _, answer = services.cover_of(commission, timezone.localdate())
            picks = answer.picks if answer else ()
            costs = services.costs_of(
                commission.sheet, quantities or [commission.good_quantity], picks=picks
            )
        except StudioError as refusal:
            raise CommandError(str(refusal)) from None
        if options["json"]:
            self.stdout.write(json.dumps(plain(commission.ref, costs), ensure_ascii=False))
            return
        self.stdout.write(f"{commission.ref} {commission.title}")
        for found in costs:
            self._print(found)

    def _commission(self, ref: str) -> Commission:
        rows = Commission.objects.select_related("sheet__mould", "sheet__furnish")
        found = rows.filter(ref=ref).first()
        if found is not None:
            return found
        known = list(rows.order_by("ref").values_list("ref", flat=True))
        named = ", ".join(known[:REFS_NAMED]) or "none yet"
        more = f" and {len(known) - REFS_NAMED} more" if len(known) > REFS_NAMED else ""
        raise CommandError(f"No commission is called {ref[:40]!r}. There are: {named}{more}.")

    def _print(self, cost: Cost) -> None:
        self.stdout.write("")
        self.stdout.write(f"At {show_number(cost.quantity)} good sheets")
        for line in cost.working:
            because = f"  ({line.because})" if line.because else ""
            self.stdout.write(f"  {line.label:<32}{line.value:>12}{because}")
        total = show_money(cost.price_total_minor, cost.currency)
        tax = show_money(cost.tax_minor, cost.currency)
        added = f", tax on it {tax}" if cost.tax_minor else ""
        self.stdout.write(f"  {'Price in all':<32}{total:>12}{added}")
        for name in cost.missing:
            self.stdout.write(f"  No price is known for {name}: it is counted as nothing.")
        for note in cost.notes:
            self.stdout.write(f"  {note}.")


def plain(ref: str, costs: list[Cost]) -> dict[str, Any]:
    """Return the first number as the object, further ones under ``others``."""
    first, *others = ({"ref": ref, **cost.as_json()} for cost in costs)
    return {**first, "others": others} if others else first
