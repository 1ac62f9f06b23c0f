"""Say what falls short when, what to buy from whom, and by which day to order it.

Run it once a week and before promising much of one fibre. It writes nothing but a plan that the
time limit stopped, so that the page and the next run show the same. With --snapshot it answers
for a file instead of the database. Exit code 0 means answered; with --strict an order that has to
leave today, or that comes too late, exits 2.
"""

from __future__ import annotations

import json
import sys
from argparse import ArgumentTypeError
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone

from orders import planfile, reordering
from orders import reorderwording as wording
from orders.calc import buying
from orders.calc.bought import Flag, OrderToPlace, Reorder
from orders.calc.plan import Snapshot
from orders.wording import day
from studio.commands import ProgressLine, StoreCommand
from studio.errors import StudioError
from studio.models import Studio
from studio.money import show_money
from studio.units import System, show_mass, show_number

MOST_WEEKS = 104
MOST_SECONDS = 3600
USUAL_SECONDS = 60.0
DAYS_A_WEEK = 7


class Command(StoreCommand):
    """Print what to buy."""

    help = "What falls short when, and what to buy from whom by which day?"
    system: System = "metric"
    currency = "GBP"
    # The day a kept plan was found on; None where it was worked out now.
    found_on: date | None = None

    def add_arguments(self, parser: CommandParser) -> None:
        """Take how far to look ahead, a file, and how long to look for a cheaper plan."""
        parser.add_argument(
            "--weeks", type=_weeks, metavar="N", help="weeks to look ahead, 13 unless given"
        )
        parser.add_argument("--snapshot", metavar="FILE", help="answer for a file, not the store")
        parser.add_argument("--json", action="store_true", help="print one JSON object")
        parser.add_argument(
            "--time-limit",
            type=_seconds,
            metavar="S",
            help="look for a cheaper plan for S seconds, also where one is kept; 60 unless given",
        )
        parser.add_argument(
            "--strict",
            action="store_true",
            help="exit 2 where an order has to leave today or comes too late",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, plan, print."""
        with planfile.refusals_told(options["snapshot"]), ProgressLine(self.stderr) as line:
            shot, plan = self._plan(options, partial(_tell, line))
        self.currency = shot.currency
        self.system = "metric" if options["snapshot"] else Studio.current().units
        if options["json"]:
            self.stdout.write(json.dumps(plan.as_json(), ensure_ascii=False))
        else:
            self._print(plan)
        if options["strict"] and any(wording.is_overdue(flag) for flag in plan.flags):
            sys.exit(2)

    def _plan(
        self, options: dict[str, Any], progress: Callable[[float, float, float], None]
    ) -> tuple[Snapshot, Reorder]:
        limit, weeks = options["time_limit"], options["weeks"]
        if options["snapshot"]:
            shot = _with_weeks(planfile.read_plan(options["snapshot"]), weeks)
            limit = limit or USUAL_SECONDS
            return shot, buying.plan(shot, time_limit_s=limit, progress=progress)
        found = reordering.find(
            timezone.localdate(),
            weeks or reordering.USUAL_WEEKS,
            time_limit_s=limit or USUAL_SECONDS,
            anew=limit is not None,
            progress=progress,
        )
        if found.found_at is not None:
            self.found_on = timezone.localtime(found.found_at).date()
        return found.snapshot, found.plan

    def _print(self, plan: Reorder) -> None:
        weeks = -(-plan.horizon_days // DAYS_A_WEEK)
        self.stdout.write(wording.plan_lede(plan, self.currency, weeks))
        for flag in wording.flagged(plan.flags):
            self._print_flag(flag, plan)
        for order in plan.purchases:
            self._print_order(order, plan)
        if plan.purchases:
            self.stdout.write("")
            found = f" Found on {day(self.found_on, plan.today)}." if self.found_on else ""
            self.stdout.write(f"{wording.gap_words(plan)}{found}")
            self.stdout.write(wording.rule_words(plan, self.currency))
        rest = wording.at_rest(plan.flags, weeks)
        if rest:
            self.stdout.write("")
            self.stdout.write(rest)

    def _print_flag(self, flag: Flag, plan: Reorder) -> None:
        head = "".join(wording.head_of(flag, plan.today)[1:])
        self.stdout.write("")
        self.stdout.write(f"{flag.fibre}: {head}.")
        self.stdout.write(f"  {wording.caption(flag, plan.today)}")
        self.stdout.write(f"  {wording.why(flag, plan.today, self.system)}")
        self.stdout.write(f"  {wording.act(flag, plan.today)}")

    def _print_order(self, order: OrderToPlace, plan: Reorder) -> None:
        self.stdout.write("")
        self.stdout.write(f"{order.source}: {wording.order_words(order, plan.today)}.")
        for line in order.lines:
            packs = f"{show_number(line.packs)} pack{'' if line.packs == 1 else 's'}"
            mass = show_mass(line.oven_dry_mg, system=self.system)
            self._print_sum(f"{packs} of {line.fibre}, {mass} oven-dry", line.cost_minor)
        self._print_sum("Freight", order.freight_minor)
        self._print_sum("In all", order.total_minor)

    def _print_sum(self, words: str, minor: int) -> None:
        self.stdout.write(f"  {words:<52} {show_money(minor, self.currency):>12}")


def _tell(line: ProgressLine, seconds: float, best: float, bound: float) -> None:
    """Show seconds and how far the best plan may be from the cheapest."""
    gap = f", at most {(best - bound) / best:.1%} to gain" if best and bound else ""
    # The space at its end covers a digit of the line before.
    line.show(f"Looking for a cheaper plan, {seconds:.0f} s{gap} ", seconds=seconds)


def _with_weeks(shot: Snapshot, weeks: int | None) -> Snapshot:
    if shot.sourcing is None:
        raise StudioError(
            "The file says nothing about what can be bought: it has no “sourcing”. Write it with "
            "“manage.py snapshot”, which adds it.",
            field="snapshot",
        )
    if weeks is None:
        return shot
    return replace(shot, sourcing=replace(shot.sourcing, horizon_days=weeks * DAYS_A_WEEK))


def _weeks(text: str) -> int:
    if text.isascii() and text.isdigit() and len(text) <= 4 and 1 <= int(text) <= MOST_WEEKS:
        return int(text)
    message = f"Give a whole number of weeks from 1 to {MOST_WEEKS}, got “{text[:40]}”."
    raise ArgumentTypeError(message)


def _seconds(text: str) -> float:
    try:
        seconds = float(text) if len(text) <= 20 else 0.0
    except ValueError:
        seconds = 0.0
    # What is no number compares as false.
    if 0 < seconds <= MOST_SECONDS:
        return seconds
    message = f"Give seconds above 0 and up to {MOST_SECONDS}, got “{text[:40]}”."
    raise ArgumentTypeError(message)
