"""Say whether the store covers what is promised: everything, or one commission.

Run it before promising and before a making day; it only reads. With --snapshot it answers for a
file instead of the database. Exit code 0 means answered, also where the answer is short; with
--strict a shortage exits 2.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from orders import planfile, services, wording
from orders.calc.cover import Answer, Cover, allocate
from orders.models import Commission
from studio.commands import StoreCommand
from studio.errors import SnapshotError, StudioError
from studio.models import Studio
from studio.units import System, show_mass, show_number

REFS_NAMED = 12


class Command(StoreCommand):
    """Print how the promises stand."""

    help = "Does the store cover what is promised?"
    system: System = "metric"

    def add_arguments(self, parser: CommandParser) -> None:
        """Take a reference, a file, and how to answer."""
        parser.add_argument("ref", nargs="?", default="", help="one commission, such as C-101")
        parser.add_argument("--with-quoted", action="store_true", help="count what is quoted too")
        parser.add_argument("--snapshot", metavar="FILE", help="answer for a file, not the store")
        parser.add_argument("--json", action="store_true", help="print one JSON object")
        parser.add_argument(
            "--strict", action="store_true", help="exit 2 where something is short"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Read, ask, print."""
        try:
            cover = self._cover(options)
        except SnapshotError as refusal:
            faults = "\n".join(f"{path}: {sentence}" for path, sentence in refusal.faults)
            count = len(refusal.faults)
            raise CommandError(
                f"{options['snapshot']} cannot be planned on, {count} "
                f"fault{'' if count == 1 else 's'}:\n{faults}"
            ) from None
        except StudioError as refusal:
            raise CommandError(str(refusal)) from None
        asked = self._asked(cover, options["ref"])
        self.system = Studio.current().units if not options["snapshot"] else "metric"
        if options["json"]:
            plain = cover.as_json()
            plain["commissions"] = [
                row for row in plain["commissions"] if row["ref"] in {a.ref for a in asked}
            ]
            self.stdout.write(json.dumps(plain, ensure_ascii=False))
        else:
            self._print(cover, asked, whole=not options["ref"])
        if options["strict"] and self._is_short(cover, asked, options["ref"]):
            sys.exit(2)

    def _cover(self, options: dict[str, Any]) -> Cover:
        if options["snapshot"]:
            if options["with_quoted"]:
                raise StudioError(
                    "--with-quoted counts what is in the database; a file says itself what is "
                    "promised. Leave one of them out."
                )
            return allocate(planfile.read_plan(options["snapshot"]))
        today = timezone.localdate()
        extra = None
        if options["ref"]:
            rows = Commission.objects.select_related("sheet__mould", "sheet__furnish")
            extra = rows.filter(ref=options["ref"], state__in=Commission.OPEN).first()
        return services.cover(
            today, with_quoted=options["with_quoted"], extra=extra, with_money=True
        )

    def _asked(self, cover: Cover, ref: str) -> list[Answer]:
        if not ref:
            return list(cover.commissions)
        found = cover.of(ref)
        if found is not None:
            return [found]
        reason = dict(cover.left_out).get(ref)
        if reason:
            raise CommandError(f"{ref} cannot be reckoned: {reason}")
        known = [answer.ref for answer in cover.commissions]
        named = ", ".join(known[:REFS_NAMED]) or "none yet"
        more = f" and {len(known) - REFS_NAMED} more" if len(known) > REFS_NAMED else ""
        raise CommandError(f"No open commission is called {ref[:40]!r}. Promised: {named}{more}.")

    def _is_short(self, cover: Cover, asked: list[Answer], ref: str) -> bool:
        if not ref:
            return not cover.all_covered
        return any(answer.short for answer in asked)

    def _print(self, cover: Cover, asked: list[Answer], *, whole: bool) -> None:
        if whole:
            self.stdout.write(wording.lede(cover, self.system))
        for answer in asked:
            mark = wording.mark_of(answer, cover.today)[1]
            due = wording.day(answer.due, cover.today)
            self.stdout.write("")
            self.stdout.write(
                f"{answer.ref}: {mark}. {show_number(answer.wanted)} good sheets, due {due}."
            )
            self.stdout.write(f"  {wording.finding(answer, cover.today, self.system)}")
            for pick in answer.picks:
                as_is, dry = (
                    show_mass(mass, system=self.system)
                    for mass in (pick.as_is_mg, pick.oven_dry_mg)
                )
                self.stdout.write(
                    f"  Weigh out {as_is} as is of {pick.lot}, {pick.fibre} ({dry} oven-dry)."
                )
        for ref, why in cover.left_out:
            self.stdout.write("")
            self.stdout.write(f"{ref}: cannot be reckoned. {why}")
