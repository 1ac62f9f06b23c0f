"""How much fibre a sheet, a pull and a number of good sheets take."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from orders.calc.spec import SheetSpec
from orders.explained import sources
from orders.explained.choosing import named
from studio.explaining import COMMON, DEFINITION, Explained
from studio.units import System, show_grammage, show_number, show_sheet_mass, show_size
from studio.working import Line


def fibre_in_one(lines: Sequence[Line] = ()) -> Explained:
    """Say what one finished sheet holds; ``lines`` is the sum of the page."""
    return Explained(
        "Fibre in one finished sheet",
        "fibre in one finished sheet = grammage × size × (1 − moisture of the sheet) × (1 − not "
        "fibre), oven-dry.",
        sources.GRAMMAGE,
        named(lines, "Fibre in one finished sheet", "Fibre in one pull"),
    )


def fibre_of(sheet: Any, moisture: Decimal, system: System) -> Explained:
    """Say the same of a kept sheet, the first of a list; ``moisture`` is the studio's own."""
    own = moisture if sheet.sheet_moisture is None else sheet.sheet_moisture
    spec = SheetSpec(
        sheet.size, sheet.grammage, sheet_moisture=own, non_fibre_share=sheet.non_fibre_share
    )
    return Explained(
        "Fibre in one finished sheet",
        fibre_in_one().formula,
        sources.GRAMMAGE,
        (
            Line("Grammage", show_grammage(sheet.grammage), f"of {sheet.name}, the first here"),
            Line("Size", show_size(sheet.size, system=system)),
            Line(
                "Fibre in one",
                show_sheet_mass(round(spec.fibre_per_sheet_mg), system),
                "oven-dry",
                "answer",
            ),
        ),
    )


def pulls(lines: Sequence[Line] = ()) -> Explained:
    """Say how many pulls good sheets take."""
    return Explained(
        "Pulls",
        "pulls on average = good sheets ÷ sheets per pull ÷ good share, rounded up. Pulls to be "
        "safe = the fewest that give the good sheets with the assurance. Good share = 1 − broke − "
        "retree, or as makings taught it.",
        f"{sources.NEGATIVE_BINOMIAL} Broke and retree are the owner’s figures, set on the page "
        "of the sheet; the assurance is set on the Studio page.",
        named(lines, "Pulls on average", "Pulls to be safe"),
    )


def into_the_vat(lines: Sequence[Line] = ()) -> Explained:
    """Say how much fibre goes into the vat for them."""
    return Explained(
        "Into the vat",
        "into the vat = pulls on average × fibre in one pull ÷ what stays on the mould.",
        f"{DEFINITION} What stays on the mould is the owner’s figure, set on the page of "
        "the sheet.",
        named(lines, "Into the vat"),
    )


def mould(lines: Sequence[Line] = ()) -> Explained:
    """Say which mould gives the size."""
    return Explained(
        "Mould",
        "dry size = opening of the mould × (1 − shrinkage), across and along. A mould within a "
        "millimetre of the one that is wanted is that mould.",
        f"{DEFINITION} The millimetre: {COMMON[0].lower()}{COMMON[1:]}",
        tuple(line for line in lines if line.label.startswith("Dry size")),
    )


def how_many_more() -> Explained:
    """Say how the question is answered how many more could be promised."""
    return Explained(
        "How many more",
        "how many more = the most pulls that can be made of what is in store and free by the day "
        "it is formed, with every promise kept as it stands, × sheets per pull × good share, "
        "rounded down.",
        "Our own way of counting, at the average count of culls.",
    )


def open_for(name: str = "", count: int = 0, all_of_them: int | None = None) -> Explained:
    """Say what is counted as open, by the first of a list; ``name`` is the client or the sheet."""
    lines = [Line(f"{name}, open", show_number(count))]
    if all_of_them is not None:
        lines.append(Line(f"{name}, in all", show_number(all_of_them)))
    return Explained(
        "Open commissions",
        "open = enquiries, quoted, agreed and being made; not what is sent, closed or withdrawn.",
        sources.COUNTED,
        tuple(lines) if name else (),
    )
