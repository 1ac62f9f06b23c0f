"""What the scales say of a parcel, and what cannot be right in it."""

from __future__ import annotations

from orders.calc.packing import Parcel
from orders.models import Sheet
from studio.context import units_here
from studio.models import Studio
from studio.units import show_mass, show_number, show_share


def parcel_of(
    sheet: Sheet, sheets: int, conditioned_mg: int | None, parcel_mg: int | None
) -> Parcel:
    """Return a parcel of so many of a sheet as the arithmetic takes it."""
    return Parcel(
        sheets=sheets,
        size=sheet.size,
        grammage=sheet.grammage,
        conditioned_mg=conditioned_mg,
        parcel_mg=parcel_mg,
    )


def doubt(parcel: Parcel, studio: Studio) -> str:
    """Say what cannot be right, or is lighter than the studio sends; nothing where all is well."""
    said = []
    system = units_here(studio)
    if parcel.missing_sheets and parcel.wrapping_mg is not None and parcel.parcel_mg is not None:
        short = show_mass(-parcel.wrapping_mg, system=system)
        whole = show_mass(parcel.parcel_mg, system=system)
        sheets = show_mass(parcel.expected_mg, system=system)
        count = parcel.missing_sheets
        noun = "sheet" if count == 1 else "sheets"
        said.append(
            f"The parcel is {short} lighter than its sheets: it weighs {whole}, and they "
            f"{sheets}. At least {show_number(count)} {noun} less would weigh that."
        )
    if parcel.is_too_light(studio.grammage_tolerance) and parcel.off_by is not None:
        said.append(
            f"The sheet is {show_share(-parcel.off_by)} below the grammage ordered; the studio "
            f"sends what falls short by {show_share(studio.grammage_tolerance)} at most."
        )
    return " ".join(said)
