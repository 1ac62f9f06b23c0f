"""Say what a good sheet of a commission costs and what its price comes to.

Run it before a quotation; it only reads. Fibre set aside for the commission counts at its book
cost; where nothing is set aside the newest price of that fibre counts, and the answer says so.
With --actual it says what the finished makings cost, beside what was reckoned.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orders import actuals, services
from orders.calc.costing import Cost
from orders.costings import Costing
from orders.models import Commission
from studio.commands import StoreCommand, row_called
from studio.errors import StudioError
from studio.money import show_money
from studio.reading import read_quantity
from studio.units import show_number

# The options of a cost that is reckoned, and not of one that came.
RECKONED = ("quantity", "json", "in_depth")


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
        parser.add_argument(
            "--in-depth", action="store_true",
            help="also what moves the price most, and prices at the usual numbers",
        )  # fmt: skip
        parser.add_argument(
            "--actual", action="store_true",
            help="what its finished makings cost, beside what was reckoned",
        )  # fmt: skip
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, cost, print."""
        rows = Commission.objects.select_related("sheet__mould", "sheet__furnish")
        commission = row_called(rows, options["ref"], noun="commission")
        try:
            if options["actual"]:
                self._actual(commission, as_json=options["json"])
            else:
                self._reckoned(commission, **{name: options[name] for name in RECKONED})
        except StudioError as refusal:
            raise CommandError(str(refusal)) from None

    def _reckoned(
        self, commission: Commission, *, quantity: list[str], json: bool, in_depth: bool
    ) -> None:
        quantities = [
            read_quantity(str(text), "count", field="--quantity") for text in quantity
        ] or [commission.good_quantity]
        today = timezone.localdate()
        cover, answer = services.cover_of(commission, today)
        costing = services.costing_of(
            commission, picks=answer.picks if answer else (), cover=cover
        )
        costs = [costing.cost(quantity) for quantity in quantities]
        numbers = quantities if len(quantities) > 1 else services.USUAL_QUANTITIES
        if json:
            told = plain(commission.ref, costs)
            if in_depth:
                told |= self._depth_json(costing, quantities[0], numbers)
            self._write_json(told)
            return
        self.stdout.write(f"{commission.ref} {commission.title}")
        for found in costs:
            self._print(found)
            if found.quantity == quantities[0]:
                self.stdout.write(f"  {costing.range(found.quantity).words()}")
                self.stdout.write(f"  {costing.at_todays_prices(found.quantity, today).words()}")
        if in_depth:
            self._moves(costing, quantities[0])
        if in_depth or len(quantities) > 1:
            self._ladder(costing, quantities[0], numbers)

    def _depth_json(self, costing: Costing, asked: int, numbers: Sequence[int]) -> dict[str, Any]:
        climb = costing.ladder(numbers, asked=asked)
        return {
            "range": costing.range(asked).as_json(),
            "ladder": climb.as_json(),
            "set_up_earned_from": climb.earned.sheets,
            "sensitivity": costing.sensitivity(asked).as_json(),
        }

    def _moves(self, costing: Costing, quantity: int) -> None:
        """Say what moves the price, the most first."""
        moved = costing.sensitivity(quantity)
        self.stdout.write("")
        self.stdout.write(f"  {moved.words()}")
        for swing in moved.swings:
            low, high = (
                show_money(end, moved.currency) for end in (swing.low_minor, swing.high_minor)
            )
            self.stdout.write(f"    {swing.label}: {low} to {high}  ({swing.because})")

    def _ladder(self, costing: Costing, asked: int, numbers: Sequence[int]) -> None:
        """Set the prices side by side, and say when the set-up is earned."""
        climb = costing.ladder(numbers, asked=asked)
        self.stdout.write("")
        self.stdout.write(f"  {'Good sheets':>12}{'Cost':>12}{'Set-up in it':>14}{'Price':>12}")
        for rung in climb.rungs:
            cost, setup, price = (
                show_money(one, climb.currency)
                for one in (rung.cost_minor, rung.setup_minor, rung.price_minor)
            )
            self.stdout.write(
                f"  {show_number(rung.quantity):>12}{cost:>12}{setup:>14}{price:>12}"
            )
        self.stdout.write(f"  {climb.earned.words()}")

    def _actual(self, commission: Commission, *, as_json: bool) -> None:
        found = actuals.of_commission(commission)
        if found is None:
            raise CommandError(
                f"No making of {commission.ref} is finished yet, so there is nothing to compare."
            )
        if as_json:
            told = {"ref": commission.ref, **found.as_json()}
            self._write_json(told)
            return
        self.stdout.write(f"{commission.ref} {commission.title}")
        for line in found.table_lines():
            self.stdout.write(f"  {line.label:<32}{line.value:>12}  ({line.because})")
        for sentence in found.words:
            self.stdout.write(f"  {sentence}")
        for name in found.missing:
            self.stdout.write(f"  No price is known for {name}: it is counted as nothing.")

    def _write_json(self, told: dict[str, Any]) -> None:
        self.stdout.write(json.dumps(told, ensure_ascii=False))

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
