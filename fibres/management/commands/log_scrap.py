"""Log a gift of scrap from the terminal: run it where the paper is weighed or counted.

It writes one lot with its first movement, and a donor of that name where there is none. It
never touches another lot, and with ``--dry-run`` it writes nothing.
"""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from fibres import gifts, services
from fibres.calc.estimates import Estimate, Worth
from fibres.gifts import NEEDED, Measure
from fibres.models import Fibre, Lot
from studio import cautions
from studio.commands import StoreCommand
from studio.entries import acting
from studio.errors import ReadingError, StudioError
from studio.fields import DayField
from studio.models import Studio
from studio.reading import read_quantity
from studio.units import mg_to_g

Measured = Lot.Measured
# Option, way of measuring, what it reads, in the order of the help.
WAYS = (
    ("mass", Measured.WEIGHED, "mass", 'as weighed, such as "8 kg" or "5 lb 4 oz"'),
    ("guess", Measured.GUESS, "mass", "a mass that was guessed"),
    ("sheets", Measured.COUNTED, "count", "sheets counted"),
    ("reams", Measured.REAMS, "number", "reams of 500"),
    ("pile", Measured.PILE, "length", 'height of a neat pile, such as "12 cm"'),
    ("boxes", Measured.BOXES, "number", "boxes of loose sheets"),
)


class Command(StoreCommand):
    """Enter a gift of scrap as a lot of its own."""

    help = "Log a gift of scrap: what it comes to as fibre, and the lot it is kept as."

    def add_arguments(self, parser: CommandParser) -> None:
        """Offer one option for each way of measuring."""
        parser.add_argument("--donor", default="", help="who gave it; empty: an anonymous drop")
        parser.add_argument(
            "--class", dest="fibre", default="", help="class of scrap, by its name"
        )
        for option, _, _, words in WAYS:
            parser.add_argument(f"--{option}", help=words)
        parser.add_argument("--size", help='of a sheet: A4, "8.5 x 11 in"')
        parser.add_argument("--grammage", help='of the paper: "80 g/m2", "20 lb bond"')
        parser.add_argument("--moisture", help="as weighed, such as 6%%; else the usual one")
        parser.add_argument("--received", help="day it came, such as 2026-11-25; else today")
        parser.add_argument(
            "--confidential", action="store_true", help="it may show private papers"
        )
        parser.add_argument("--remarks", default="")
        parser.add_argument("--dry-run", action="store_true", help="work it out, write nothing")
        parser.add_argument("--json", action="store_true", help="print one object with units")

    def handle(self, *args: Any, **options: Any) -> None:
        """Work the gift out, enter it, and print the sum."""
        try:
            self._log(options)
        except StudioError as fault:
            raise CommandError(str(fault)) from fault
        except ValidationError as fault:
            raise CommandError(" ".join(fault.messages)) from fault

    def _log(self, options: dict[str, Any]) -> None:
        fibre = scrap_class(options["fibre"])
        estimate = gifts.estimate(measure_of(options))
        weighed = options["moisture"] is not None
        moisture = read_moisture(options["moisture"]) if weighed else fibre.usual_moisture
        received_on = read_day(options["received"])
        worth = gifts.worth(estimate, fibre, moisture)
        known = Lot.MoistureKnown
        # A dry run is the same act taken back, so that it refuses whatever the act would.
        with acting():
            ref = services.log_scrap(
                estimate,
                donor=options["donor"],
                fibre=fibre,
                moisture=moisture,
                moisture_known=known.WEIGHED if weighed else known.ASSUMED,
                received_on=received_on,
                is_confidential=options["confidential"],
                remarks=options["remarks"],
                by=None,
            ).ref
            if options["dry_run"]:
                transaction.set_rollback(True)
                ref = ""
        if options["json"]:
            self.stdout.write(json.dumps(as_json(ref, fibre, estimate, worth, moisture)))
            return
        because = "weighed" if weighed else "usual for this class"
        self._print(ref, fibre, estimate, worth, moisture, because)

    def _print(
        self,
        ref: str,
        fibre: Fibre,
        estimate: Estimate,
        worth: Worth,
        moisture: Decimal,
        because: str,
    ) -> None:
        system = Studio.current().units
        lines = gifts.sum_lines(
            estimate,
            worth,
            fibre,
            moisture=moisture,
            moisture_because=because,
            system=system,
        )
        opening = f"Lot {ref} is in store" if ref else "Nothing is written"
        self.stdout.write(f"{opening}: {fibre.name}.")
        for line in lines:
            because = f"  ({line.because})" if line.because else ""
            self.stdout.write(f"  {line.label:<26}{line.value:>12}{because}")
        band = gifts.band_words(estimate, worth, system)
        if band:
            self.stdout.write(band)
        if fibre.cautions:
            self.stdout.write(f"Caution. {fibre.cautions} {cautions.TAIL}")


def scrap_class(name: str) -> Fibre:
    """Return the class of that name, or say which there are."""
    classes = list(Fibre.objects.filter(is_scrap=True, closed_on=None))
    wanted = " ".join(name.split()).casefold()
    found = next((one for one in classes if one.name.casefold() == wanted), None)
    if found is None and wanted:
        # What is refused is refused by part of its name too: nobody should have to guess it.
        refused = (one for one in classes if one.is_refused and wanted in one.name.casefold())
        found = next(refused, None)
    if found is None:
        offered = [one.name for one in classes if not one.is_refused]
        if not offered:
            raise StudioError("No class of scrap is entered yet. Run load_reference first.")
        given = f"“{name[:40]}” is no class of scrap." if wanted else "Give --class."
        raise StudioError(f"{given} Known are: {'; '.join(offered)}.", field="class")
    if found.is_refused:
        raise StudioError(gifts.refusal_of(found), field="class")
    return found


def measure_of(options: dict[str, Any]) -> Measure:
    """Return how the gift was measured; exactly one way may be given."""
    given = [way for way in WAYS if options[way[0]] is not None]
    if len(given) != 1:
        ways = ", ".join(f"--{way[0]}" for way in WAYS)
        got = ", ".join(f"--{way[0]}" for way in given) or "none"
        raise StudioError(f"Give one of {ways}, got {got}.")
    option, method, kind, _ = given[0]
    figures = {NEEDED[method][0]: read_quantity(options[option], kind, field=f"--{option}")}
    for name in NEEDED[method][1:]:
        if options[name] is None:
            raise StudioError(f"--{option} needs --{name} too.", field=name)
        figures[name] = read_quantity(options[name], name, field=f"--{name}")
    return Measure(method, **figures)


def read_moisture(text: str) -> Decimal:
    """Return a moisture that leaves some fibre."""
    moisture = read_quantity(text, "share", field="--moisture")
    if moisture >= 1:
        raise ReadingError("--moisture: give less than 100 %: the rest is fibre.")
    return moisture


def read_day(text: str | None) -> date:
    """Return the day that was given, or today."""
    if text is None:
        return timezone.localdate()
    try:
        return DayField().clean(text)
    except ValidationError as fault:
        raise ReadingError(f"--received: {' '.join(fault.messages)}") from fault


def as_json(
    ref: str, fibre: Fibre, estimate: Estimate, worth: Worth, moisture: Decimal
) -> dict[str, Any]:
    """Return the answer as plain numbers with their units in the keys; ref is None if not kept."""
    masses = {
        "as_is": estimate.as_is_mg,
        "as_is_low": estimate.low_mg,
        "as_is_high": estimate.high_mg,
        "oven_dry": worth.oven_dry_mg,
        "usable": worth.usable_mg,
        "usable_low": worth.usable_low_mg,
        "usable_high": worth.usable_high_mg,
    }
    return {
        "ref": ref or None,
        "class": fibre.name,
        "measured": str(estimate.method),
        "moisture_percent": float(moisture * 100),
        **{f"{name}_g": float(mg_to_g(mass)) for name, mass in masses.items()},
    }
