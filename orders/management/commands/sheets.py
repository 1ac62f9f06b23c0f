"""How many good sheets a mass of fibre makes, or how much fibre good sheets take.

For a quick question at the bench: everything is given on the line, no database is opened and
nothing is written.
"""

import json
import re
from decimal import Decimal
from typing import Any

from django.core.management.base import CommandError, CommandParser

from orders.calc._shared import checked_share
from orders.calc.chain import FibreNeed, SheetCount, fibre_for_sheets, sheets_from_fibre
from orders.calc.culls import Learned
from orders.calc.moulds import Shrinkage
from orders.calc.spec import SheetSpec
from studio.commands import HouseCommand, in_columns, naming
from studio.reading import Kind, read_quantity, shown
from studio.units import Q, show_grammage, show_number, show_size, to_um

# Option, kind, default, help; without a default the option is needed.
OPTIONS: tuple[tuple[str, Kind, str | None, str], ...] = (
    ("mass", "mass", None, "fibre at hand as weighed, its water included, such as '10 kg'"),
    ("moisture", "share", None, "water in it, wet basis, such as 8%%"),
    ("yield", "share", None, "usable fibre left after preparation, such as 96%%"),
    ("size", "size", None, "finished size: A4, '210 x 297 mm', '8.5 x 11 in'"),
    ("grammage", "grammage", None, "such as '120 g/m2' or '32 lb bond'"),
    ("sheet-moisture", "share", "6%", "water in the conditioned sheet"),
    ("non-fibre", "share", "0%", "filler, pigment and size in the dry sheet"),
    ("retention", "share", "96%", "fibre of the vat that stays on the mould"),
    ("broke", "share", "8%", "faulty sheets, repulped"),
    ("retree", "share", "4%", "slightly faulty sheets, not delivered as good"),
    ("assurance", "share", "95%", "chance of enough good sheets to be safe with"),
)
CUT_OPTIONS: tuple[tuple[str, str], ...] = (
    ("mould", "opening of the mould; without it one deckle-edged sheet per pull"),
    ("shrinkage", "width x height while drying, such as '4%% x 2.5%%'; needs --mould"),
    ("trim", "cut off each side of the dry pull, such as '5 mm'; needs --mould"),
    ("learned", "beta parameters a:b of the good share, instead of --broke and --retree"),
    ("want", "good sheets wanted: says what they take and whether the mass covers it"),
)
# Shares that can't be 0 %, or can't be 100 %.
NOT_ZERO = ("yield", "retention", "assurance")
NOT_ONE = ("moisture", "sheet-moisture", "non-fibre", "assurance")
SHARE = r"[^xX×]+"
SHRINKAGE = re.compile(rf"({SHARE})(?:[xX×]({SHARE}))?")


class Command(HouseCommand):
    """Parse, reckon, print."""

    help = "Good sheets from a mass of fibre, or with --want the fibre that sheets take."
    # No database and no pages are needed, so none of their checks either.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        """Add every quantity as text with its unit."""
        for name, _, default, help_text in OPTIONS:
            shown_default = "" if default is None else f" (default {default.replace('%', '%%')})"
            parser.add_argument(f"--{name}", default=default, help=help_text + shown_default)
        for name, help_text in CUT_OPTIONS:
            parser.add_argument(f"--{name}", help=help_text)
        parser.add_argument("--json", action="store_true", help="print one object of numbers")

    def handle(self, *args: object, **options: Any) -> None:
        """Print the answer first and then its working, or one object of numbers."""
        count, need = _answer(options)
        if options["json"]:
            figures = count.as_json() | (need.as_json() if need else {})
            self.stdout.write(json.dumps(figures, indent=2))
            return
        self.stdout.write(_need_headline(need) if need else _count_headline(count))
        for line in in_columns(need.working if need else count.working):
            self.stdout.write(line)


def _answer(options: dict[str, Any]) -> tuple[SheetCount, FibreNeed | None]:
    with naming():
        wanted = _optional(options, "want", "count")
        given = {
            name: _read(options, name, kind) for name, kind, _, _ in OPTIONS if name != "mass"
        }
        # What so many sheets take can be asked with nothing at hand.
        nothing = wanted is not None and options["mass"] is None
        given["mass"] = Q(0, "kg") if nothing else _read(options, "mass", "mass")
        spec = _spec(given, options)
    fibre = {
        "as_is_mass": given["mass"],
        "moisture": given["moisture"],
        "preparation_yield": given["yield"],
        "spec": spec,
    }
    with naming("mass"):
        count = sheets_from_fibre(**fibre)
    with naming("want"):
        return count, None if wanted is None else fibre_for_sheets(wanted, **fibre)


def _spec(given: dict[str, Any], options: dict[str, Any]) -> SheetSpec:
    mould = _optional(options, "mould", "size")
    for name in ("shrinkage", "trim"):
        if options[name] is not None and mould is None:
            raise CommandError(
                f"--{name} needs --mould, such as --mould '520 x 391 mm'; without a mould the "
                "sheet is as pulled."
            )
    trim = _optional(options, "trim", "length", allow_zero=True)
    return SheetSpec(
        size=given["size"],
        grammage=given["grammage"].to("g/m2").magnitude,
        sheet_moisture=given["sheet-moisture"],
        non_fibre_share=given["non-fibre"],
        retention=given["retention"],
        broke=given["broke"],
        retree=given["retree"],
        assurance=given["assurance"],
        mould=mould,
        shrinkage=_shrinkage(options["shrinkage"]),
        trim_um=0 if trim is None else to_um(trim),
        learned=_learned(options["learned"]),
    )


def _read(options: dict[str, Any], name: str, kind: Kind) -> Any:
    text = options[name.replace("-", "_")]
    if text is None:
        example = next(help_text for option, _, _, help_text in OPTIONS if option == name)
        raise CommandError(f"--{name} is needed: {example.replace('%%', '%')}.")
    value = read_quantity(text, kind, field=f"--{name}")
    if kind == "share":
        checked_share(f"--{name}", value, zero=name not in NOT_ZERO, one=name not in NOT_ONE)
    return value


def _optional(options: dict[str, Any], name: str, kind: Kind, *, allow_zero: bool = False) -> Any:
    if options[name] is None:
        return None
    return read_quantity(options[name], kind, field=f"--{name}", allow_zero=allow_zero)


def _shrinkage(text: str | None) -> Shrinkage:
    if text is None:
        return Decimal(0), Decimal(0)
    both = SHRINKAGE.fullmatch(text)
    if both is None:
        raise CommandError(
            f"--shrinkage: {shown(text)} can't be read. Write width x height, such as 4% x 2.5%."
        )
    across, down = (
        read_quantity(share, "share", field="--shrinkage")
        for share in (both[1], both[2] or both[1])
    )
    for share in (across, down):
        checked_share("--shrinkage", share, one=False)
    return across, down


def _learned(text: str | None) -> Learned | None:
    if text is None:
        return None
    good, colon, faulty = text.partition(":")
    if not colon:
        raise CommandError(f"--learned: {shown(text)} can't be read. Write a:b, such as 45:5.")
    return (
        read_quantity(good, "number", field="--learned"),
        read_quantity(faulty, "number", field="--learned"),
    )


def _count_headline(count: SheetCount) -> str:
    return (
        f"About {show_number(count.good_sheets)} good sheets of {_sheet(count.spec)}; "
        f"promise no more than {show_number(count.good_sheets_safe)}."
    )


def _need_headline(need: FibreNeed) -> str:
    return f"{show_number(need.wanted)} good sheets of {_sheet(need.spec)}: {need.state}."


def _sheet(spec: SheetSpec) -> str:
    return f"{show_size(spec.size)} at {show_grammage(spec.grammage)}"
