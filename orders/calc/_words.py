"""The words that both directions of :mod:`orders.calc.chain` put beside their figures."""

from __future__ import annotations

from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

from orders.calc._shared import as_quantity
from orders.calc.spec import SheetSpec
from studio.units import (
    System,
    show_grammage,
    show_length,
    show_mass,
    show_number,
    show_share,
    show_size,
)
from studio.working import Line

if TYPE_CHECKING:
    from orders.calc.chain import FibreNeed, SheetCount


def mass_words(grams: Fraction, *, system: System) -> str:
    """Return an exact mass in grams as a person reads it."""
    return show_mass(as_quantity(grams * 1000), system=system)


def sheet_lines(result: SheetCount | FibreNeed, system: System) -> tuple[Line, ...]:
    """Return the lines that say what one sheet and one pull hold."""
    spec, mass = result.spec, partial(mass_words, system=system)
    size = show_size(spec.size, system=system)
    sheet = Line(
        "Fibre in one finished sheet",
        mass(result.fibre_per_sheet_g),
        f"oven-dry; {show_grammage(spec.grammage)} × {size} less "
        f"{show_share(spec.sheet_moisture)} water and {show_share(spec.non_fibre_share)} "
        "not fibre",
    )
    if spec.layout is None:
        return (sheet, Line("Sheets per pull", "1", "as pulled, deckle edges kept"))
    across, down = (show_share(share) for share in spec.shrinkage)
    return (
        sheet,
        Line(
            "Dry pull",
            show_size(spec.pull, system=system),
            f"mould {show_size(spec.mould, system=system)} less {across} × {down} shrinkage",
        ),
        Line(
            "Sheets per pull",
            show_number(result.sheets_per_pull),
            f"{spec.layout.method}; {show_length(spec.trim_um, system=system)} off each side "
            "first",
        ),
        Line(
            "Fibre in one pull",
            mass(result.fibre_per_pull_g),
            f"oven-dry, over the whole dry pull; {show_share(spec.layout.trim_share)} of it is "
            "cut away and goes to broke",
        ),
    )


def good_share_words(spec: SheetSpec) -> str:
    """Return the words for the good share in a product."""
    if spec.learned is None:
        why = f"{show_share(spec.broke)} broke and {show_share(spec.retree)} retree off"
    else:
        a, b = (show_number(round(parameter, 2)) for parameter in spec.learned)
        why = f"learned {a}:{b}"
    return f"{show_share(spec.good_share)} good ({why})"
