"""How a vat is charged, how it thins as sheets are pulled, and what tops it up.

Run it before charging a vat. With every quantity on the line no database is opened; with
--commission they come from the store, and what is on the line besides goes before it. Nothing is
written.
"""

import json
from decimal import Decimal
from typing import Any

from django.core.management.base import CommandError, CommandParser

from orders import vatting
from orders.calc._consistency import as_decimal
from orders.calc._shared import checked_share
from orders.calc.consistencies import from_share, letter_sheets_per_four_cups
from orders.calc.vat import VatCharge, charge
from orders.models import Commission
from studio.commands import StoreCommand, in_columns, naming, row_called
from studio.models import Studio
from studio.reading import Kind, read_quantity
from studio.units import Q, Quantity, System, show_number, show_volume
from studio.working import Line

# Option, kind, default where nothing is said, help; without a default the option is needed.
OPTIONS: tuple[tuple[str, Kind, str | None, str], ...] = (
    ("volume", "volume", None, "suspension in the full vat, such as '60 L'"),
    ("mould", "size", None, "opening inside the deckle, such as '297 x 210 mm'"),
    ("draw", "length", None, "depth of the dip, such as '20 mm'"),
    ("wet-grammage", "grammage", None, "oven-dry fibre per wet-formed m², such as '100 g/m2'"),
    ("pulls", "count", None, "sheets to pull, such as 10"),
    ("retention", "share", "100%", "fibre of the dip that stays on the mould"),
    ("carry", "volume", "0 L", "water that one sheet carries away, such as '0.1 L'"),
    ("tolerance", "share", "10%", "how far a sheet may fall short of its grammage"),
    ("lost", "share", "0%", "of the fibre that leaves the vat, what becomes no sheet"),
)
# Shares that can't be 0 %, or can't be 100 %.
NOT_ZERO = ("retention", "tolerance")
NOT_ONE = ("tolerance", "lost")


class Command(StoreCommand):
    """Parse, reckon, print."""

    help = "How a vat is charged, how it thins, and what tops it up."
    # Without --commission no database and no pages are needed, so none of their checks either.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Add every quantity as text with its unit."""
        parser.add_argument(
            "--commission", metavar="REF", help="take them from the store, for one commission"
        )
        for name, _, default, help_text in OPTIONS:
            usual = f" (default {default.replace('%', '%%')})" if default else ""
            parser.add_argument(f"--{name}", help=help_text + usual)
        parser.add_argument(
            "--thick", help="what tops it up, such as '40 g/L' or 4%%; without it nothing does"
        )
        parser.add_argument("--json", action="store_true", help="print one object of numbers")

    def handle(self, *args: object, **options: Any) -> None:
        """Print the answer first and then its working, or one object of numbers."""
        system: System = "metric"
        notes: tuple[str, ...] = ()
        with naming():
            given = _given(options)
        if options["commission"] is not None:
            known = _known(options["commission"])
            _refuse_shared_retention(options)
            given, notes = known.given | given, known.notes(given)
            system = Studio.current().units
        vat = _charged(given)
        if options["json"]:
            self.stdout.write(json.dumps(vat.as_json(), indent=2))
            return
        self.stdout.write(_headline(vat, system))
        for note in notes:
            self.stdout.write(f"  {note}")
        for line in in_columns((*vat.lines(system), _kitchen(vat))):
            self.stdout.write(line)


def _given(options: dict[str, Any]) -> dict[str, Any]:
    """Return what stands on the line, and what is usual unless the store says it."""
    from_store = options["commission"] is not None
    given = {}
    for name, kind, default, _ in OPTIONS:
        key = name.replace("-", "_")
        text = options[key] if options[key] is not None or from_store else default
        if text is not None:
            given[key] = _read(name, kind, text)
    if options["thick"] is not None:
        given["thick"] = _thick(options["thick"])
    return given


def _read(name: str, kind: Kind, text: str) -> Any:
    value = read_quantity(text, kind, field=f"--{name}", allow_zero=name == "carry")
    if kind == "share":
        checked_share(f"--{name}", value, zero=name not in NOT_ZERO, one=name not in NOT_ONE)
    return value


def _thick(text: str) -> Quantity:
    """Return a consistency typed in g/L, or in percent."""
    if text.rstrip().endswith("%"):
        share = read_quantity(text, "share", field="--thick")
        checked_share("--thick", share, zero=False, one=False)
        return from_share(Decimal(share))
    return read_quantity(text, "consistency", field="--thick")


def _known(ref: str) -> vatting.Known:
    rows = Commission.objects.select_related("sheet__mould", "sheet__furnish")
    commission = row_called(rows, ref, noun="commission", option="commission")
    with naming():
        return vatting.known_for(commission)


def _refuse_shared_retention(options: dict[str, Any]) -> None:
    if options["retention"] is not None and options["draw"] is None:
        raise CommandError(
            "--retention needs --draw: the draw of a mould that was weighed holds it already."
        )


def _charged(given: dict[str, Any]) -> VatCharge:
    for name, _, default, help_text in OPTIONS:
        if default is None and name.replace("-", "_") not in given:
            raise CommandError(f"--{name} is needed: {help_text}.")
    with naming():
        return charge(**given)


def _headline(vat: VatCharge, system: System) -> str:
    volume = show_volume(Q(as_decimal(vat.plan.volume_l), "L"), system=system)
    fibre = next(line for line in vat.lines(system) if line.kind == "answer").value
    every = vat.recharge_every
    if vat.plan.thick_g_per_l is None:
        within = vat.pulls_within_tolerance
        kept = "All sheets" if within is None else f"The first {show_number(within)}"
        return f"Charge {volume} with {fibre} of fibre. {kept} keep within the tolerance."
    if not vat.schedule or every is None or vat.scoop is None:
        return f"Charge {volume} with {fibre} of fibre. It needs no top-up."
    scoop = show_volume(Q(vat.scoop.thick_l, "L"), system=system)
    pulls = "pull" if every == 1 else f"{show_number(every)} pulls"
    return f"Charge {volume} with {fibre} of fibre; top up with {scoop} after every {pulls}."


def _kitchen(vat: VatCharge) -> Line:
    return Line(
        "In kitchen measure",
        f"{show_number(letter_sheets_per_four_cups(vat.consistency), places=2)} letter sheets",
        "of scrap to four US cups of water; common practice, no source",
    )
