"""Say whether the store covers what is promised: everything, or one commission.

Run it before promising and before a making day; it only reads. With --snapshot it answers for a
file instead of the database. With --sheet it says how many more of that sheet could be promised
by a day. Exit code 0 means answered, also where the answer is short; with --strict a shortage
exits 2.
"""

from __future__ import annotations

import json
import sys
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandParser
from django.utils import timezone

from fibres.models import Fibre
from orders import asking, coverasked, planfile, sheetsinhand, snapshot, wording
from orders.calc.cover import Answer, Cover, allocate
from orders.calc.plan import Snapshot
from orders.calc.remedies import ways_out
from orders.models import Commission, Sheet
from studio import refs
from studio.commands import StoreCommand, waiting
from studio.errors import StudioError
from studio.forms import DayField
from studio.models import Studio
from studio.units import System, show_mass, show_number


class Command(StoreCommand):
    """Print how the promises stand."""

    help = "Does the store cover what is promised?"
    system: System = "metric"
    is_file = False
    asked: asking.Asked

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a reference, a file, and how to answer."""
        parser.add_argument("ref", nargs="?", help="one commission, such as C-101")
        parser.add_argument("--with-quoted", action="store_true", help="count what is quoted too")
        parser.add_argument("--snapshot", metavar="FILE", help="answer for a file, not the store")
        parser.add_argument(
            "--sheet", metavar="NAME", help="say how many more of this sheet could be promised"
        )
        parser.add_argument(
            "--by", metavar="DAY", help="by which day, such as 2026-12-24; else in four weeks"
        )
        parser.add_argument("--json", action="store_true", help="print one JSON object")
        parser.add_argument(
            "--strict", action="store_true", help="exit 2 where something is short"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, ask, print."""
        with planfile.refusals_told(options["snapshot"]), waiting(self.stderr):
            shot = self._read(options)
            cover = allocate(shot)
            self.is_file = bool(options["snapshot"])
            made = () if self.is_file or not options["ref"] else sheetsinhand.all_made()
            asked = coverasked.answers_to(cover, options["ref"], made=made)
        self.system = "metric" if self.is_file else Studio.current().units
        if options["json"]:
            plain = coverasked.as_json(cover, asked)
            self.stdout.write(json.dumps(plain, ensure_ascii=False))
        elif options["sheet"]:
            self._print_more(cover)
        else:
            self._print(shot, cover, asked, whole=not options["ref"])
        if options["strict"] and self._is_short(cover, asked, options["ref"]):
            sys.exit(2)

    def _read(self, options: dict[str, Any]) -> Snapshot:
        _refuse_together(options)
        if options["snapshot"]:
            return planfile.read_plan(options["snapshot"])
        today = timezone.localdate()
        if options["sheet"]:
            self.asked = asking.ask(
                _sheet_named(options["sheet"]),
                _day(options["by"]) if options["by"] else asking.usual_day(today),
                today,
                with_quoted=options["with_quoted"],
            )
            return self.asked.snapshot
        extra = None
        if options["ref"]:
            rows = Commission.objects.select_related("sheet__mould", "sheet__furnish")
            extra = refs.row_called(rows.filter(state__in=Commission.OPEN), options["ref"])
        return snapshot.read(
            today,
            with_quoted=options["with_quoted"],
            extra=extra,
            with_sourcing=bool(options["ref"]),
        )

    def _is_short(self, cover: Cover, asked: list[Answer], ref: str | None) -> bool:
        if ref is None:
            return not cover.all_covered
        return any(answer.short for answer in asked)

    def _print_more(self, cover: Cover) -> None:
        """Answer how many more of the sheet that was named."""
        asked, today = self.asked, cover.today
        soon = asked.is_too_soon
        sheets = cover.extra_good_sheets or 0
        more = wording.how_many_more(sheets, asked.name, asked.by, today, is_too_soon=soon)
        self.stdout.write(more)
        if soon:
            self.stdout.write(wording.too_soon(asked.ready_by, today))

    def _print(self, shot: Snapshot, cover: Cover, asked: list[Answer], *, whole: bool) -> None:
        if whole:
            made = () if self.is_file else sheetsinhand.all_made()
            self.stdout.write(wording.lede(cover, self.system, made=made))
        elif not asked:
            self.stdout.write(wording.ALL_MADE)
        for answer in asked:
            self._print_one(shot, cover, answer)
            if not whole:
                self._print_ways(shot, cover, answer)
        for ref, why in cover.left_out:
            self.stdout.write("")
            self.stdout.write(f"{ref}: cannot be reckoned. {why}")
        if shot.question is not None and cover.extra_good_sheets is not None:
            more = wording.how_many_more(
                cover.extra_good_sheets, "the sheet in question", shot.question.due, cover.today
            )
            self.stdout.write(f"\n{more}")

    def _print_one(self, shot: Snapshot, cover: Cover, answer: Answer) -> None:
        mark = wording.mark_of(answer, cover.today)[1]
        due = wording.day(answer.due, cover.today)
        self.stdout.write("")
        self.stdout.write(
            f"{answer.ref}: {mark}. {show_number(answer.wanted)} good sheets, due {due}."
        )
        self.stdout.write(f"  {wording.finding(answer, cover.today, self.system)}")
        for sentence in wording.standing(shot, cover, answer, self.system):
            self.stdout.write(f"  {sentence}")
        for pick in answer.picks:
            as_is, dry = (
                show_mass(mass, system=self.system) for mass in (pick.as_is_mg, pick.oven_dry_mg)
            )
            self.stdout.write(
                f"  Weigh out {as_is} as is of {pick.lot}, {pick.fibre} ({dry} oven-dry)."
            )

    def _print_ways(self, shot: Snapshot, cover: Cover, answer: Answer) -> None:
        """Say what would mend a shortage, one thing a line."""
        reader = wording.Reader(
            today=cover.today,
            system=self.system,
            currency=shot.currency,
            usual_moisture=self._usual_moisture(),
        )
        with waiting(self.stderr):
            found = ways_out(shot, cover, answer.ref)
        ways = wording.ways_out(found, answer, reader)
        if ways:
            self.stdout.write("  What would mend it:")
        for way in ways:
            self.stdout.write(f"  - {' '.join(filter(None, (way.deed, way.why)))}")

    def _usual_moisture(self) -> dict[str, Decimal]:
        """Return it by fibre; a file does not hold it."""
        if self.is_file:
            return {}
        return dict(Fibre.objects.values_list("name", "usual_moisture"))


def _refuse_together(options: dict[str, Any]) -> None:
    """Refuse options of which one would not be heeded beside the other."""
    if options["snapshot"] and options["with_quoted"]:
        raise StudioError(
            "--with-quoted counts what is in the database; a file says itself what is "
            "promised. Leave one of them out."
        )
    if options["snapshot"] and options["sheet"]:
        raise StudioError(
            "--sheet names a sheet of the database; a file holds its own question. Leave one of "
            "them out."
        )
    if options["sheet"] and options["ref"]:
        raise StudioError("Ask for one commission or for one sheet, not for both.")
    if options["sheet"] is not None and not options["sheet"].strip():
        raise StudioError("--sheet: give the name of a sheet, such as “Text A4”.")
    if options["by"] and not options["sheet"]:
        raise StudioError("--by is the day for --sheet. Name the sheet too.")


def _sheet_named(name: str) -> Sheet:
    rows = Sheet.objects.select_related("furnish", "mould").order_by("closed_on", "name")
    found = rows.filter(name__iexact=name.strip()).first()
    if found is not None:
        return found
    known = rows.filter(closed_on__isnull=True).values_list("name", flat=True)
    raise StudioError(refs.not_called("sheet", name, known, there_are="Sheets"))


def _day(text: str) -> date:
    try:
        return DayField().clean(text)
    except ValidationError as fault:
        raise StudioError(f"--by: {' '.join(fault.messages)}") from None
