"""The mass of scrap paper with and without a scale, and what it is worth as fibre."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

from fibres.calc._checks import positive, share_above_zero, share_below_one
from fibres.calc.estimates import Estimate, Steps, Worth, estimate_of
from fibres.calc.moisture import oven_dry_mg, usable_mg
from studio.sizes import Size
from studio.units import (
    Q,
    Quantity,
    System,
    show_grammage,
    show_length,
    show_mass,
    show_number,
    show_size,
    takes,
    to_mg,
)
from studio.working import Line

# A neat pile of 80 g/m² copy paper is about 10 cm to the thousand sheets: from memory.
PILE_THICKNESS_UM = 100
PILE_GRAMMAGE = 80
# Midpoint of the 2500 to 3000 loose sheets that an archive box holds.
SHEETS_PER_BOX = 2750
SHEETS_PER_REAM = 500
# Square micrometres times g/m² to milligrams: 10^12 µm² to the m², 1000 mg to the gram.
UM2_GRAMMAGE_PER_MG = 10**9


def _sheet_mg(size: Size, grammage: Quantity) -> Fraction:
    """Return the exact mass of one sheet in milligrams."""
    per_m2 = positive("Grammage", grammage.to("g/m2").magnitude, "g/m²")
    return Fraction(size.area_um2) * Fraction(per_m2) / UM2_GRAMMAGE_PER_MG


def _counted(size: Size, grammage: Quantity, *counts: Line) -> Steps:
    """Return the steps of paper that was counted: one sheet, then how many."""

    def steps(system: System) -> tuple[Line, ...]:
        one = show_mass(_as_grams(_sheet_mg(size, grammage)), system=system)
        return (
            Line("Size of a sheet", show_size(size, system=system)),
            Line("Grammage", show_grammage(grammage)),
            Line("One sheet", one, "size × grammage"),
            *counts,
        )

    return steps


def _as_grams(exact_mg: Fraction) -> Quantity:
    return Q(Decimal(exact_mg.numerator) / exact_mg.denominator / 1000, "g")


def _thin(thickness_um: int, system: System) -> str:
    """Word a thickness; an inch needs a place more than a millimetre."""
    return show_length(thickness_um, system=system, places=4 if system == "US" else 3)


def _about(count: Fraction) -> str:
    return f"about {show_number(round(count))}"


@takes(as_is_mass="[mass]")
def from_weight(as_is_mass: Quantity) -> Estimate:
    """Return the estimate of scrap that was weighed.

    Parameters
    ----------
    as_is_mass : Quantity [mass]
        As read from the scale, without its container, above 0.

    Returns
    -------
    Estimate [mg]
        Its low and high ends are the mass itself.

    Raises
    ------
    RangeError
        If the mass is not above 0.

    Notes
    -----
    The scale's own error is not counted. Source: definition.

    Examples
    --------
    >>> from_weight(Q(8, "kg")).high_mg
    8000000
    """
    positive("The mass", as_is_mass.to("kg").magnitude, "kg")
    return estimate_of(Fraction(to_mg(as_is_mass)), "weighed")


@takes(grammage="[grammage]")
def from_sheets(count: int, *, size: Size, grammage: Quantity) -> Estimate:
    """Return the as-is mass of counted sheets.

    Parameters
    ----------
    count : int [sheets]
        How many, above 0.
    size : Size [um]
        Dimensions of one sheet.
    grammage : Quantity [mass/area]
        Conditioned grammage, as printed on the pack.

    Returns
    -------
    Estimate [mg]
        Within ± 3 %, for the grammage of a paper is seldom the printed one.

    Raises
    ------
    RangeError
        If ``count`` or ``grammage`` is not above 0.

    Notes
    -----
    ``count × width × height × grammage``; the answer includes the moisture of the paper.
    Source: [ISO536], grammage, wording from memory.

    Examples
    --------
    >>> from studio.sizes import size_named
    >>> from_sheets(500, size=size_named("A4"), grammage=Q(80, "g/m2")).as_is_mg
    2494800
    """
    sheets = Fraction(positive("The count", count, "sheets"))
    steps = _counted(size, grammage, Line("Sheets", show_number(count), "counted"))
    return estimate_of(sheets * _sheet_mg(size, grammage), "counted", steps)


@takes(grammage="[grammage]")
def from_reams(
    reams: int | Decimal,
    *,
    size: Size,
    grammage: Quantity,
    sheets_per_ream: int = SHEETS_PER_REAM,
) -> Estimate:
    """Return the as-is mass of whole or opened reams.

    Parameters
    ----------
    reams : int or Decimal [reams]
        How many, above 0; 2.5 for two and a half.
    size : Size [um]
        Dimensions of one sheet.
    grammage : Quantity [mass/area]
        Conditioned grammage, as printed on the pack.
    sheets_per_ream : int [sheets], optional
        500 today; 472, 480, 504 and 516 have all been reams.

    Returns
    -------
    Estimate [mg]
        Within ± 3 %.

    Raises
    ------
    RangeError
        If a count or the grammage is not above 0.

    Notes
    -----
    As :func:`from_sheets`. Source: [REAM], units of paper quantity.

    Examples
    --------
    >>> from studio.sizes import size_named
    >>> from_reams(2, size=size_named("A4"), grammage=Q(80, "g/m2")).as_is_mg
    4989600
    """
    per_ream = positive("Sheets per ream", sheets_per_ream, "sheets")
    sheets = Fraction(positive("The count", reams, "reams")) * Fraction(per_ream)
    steps = _counted(
        size,
        grammage,
        Line("Sheets", show_number(sheets_per_ream), "to the ream"),
        Line("Reams", show_number(reams), "counted"),
    )
    return estimate_of(sheets * _sheet_mg(size, grammage), "reams", steps)


@takes(height="[length]", grammage="[grammage]", thickness="[length]")
def from_pile(
    height: Quantity, *, size: Size, grammage: Quantity, thickness: Quantity | None = None
) -> Estimate:
    """Return the as-is mass of a neat pile from its height.

    Parameters
    ----------
    height : Quantity [length]
        Of the pile pressed flat by hand, above 0.
    size : Size [um]
        Dimensions of one sheet.
    grammage : Quantity [mass/area]
        Conditioned grammage.
    thickness : Quantity [length], optional
        Of one sheet; without it 0.10 mm at 80 g/m² and in proportion at other grammages.

    Returns
    -------
    Estimate [mg]
        Within ± 10 %.

    Raises
    ------
    RangeError
        If height, thickness or grammage is not above 0.

    Notes
    -----
    ``height / thickness`` sheets, not rounded to whole ones. Holds for uncoated paper; a coated
    one is thinner for its grammage. Source: [MEMORY], 0.10 mm a sheet of copy paper.

    Examples
    --------
    >>> from studio.sizes import size_named
    >>> from_pile(Q(10, "cm"), size=size_named("A4"), grammage=Q(80, "g/m2")).as_is_mg
    4989600
    """
    tall = Fraction(positive("The height", height.to("um").magnitude, "µm"))
    one = _sheet_mg(size, grammage)
    if thickness is None:
        per_m2 = Fraction(grammage.to("g/m2").magnitude)
        thick = PILE_THICKNESS_UM * per_m2 / PILE_GRAMMAGE
    else:
        thick = Fraction(positive("The thickness", thickness.to("um").magnitude, "µm"))
    sheets = tall / thick

    def steps(system: System) -> tuple[Line, ...]:
        usual = f"{_thin(PILE_THICKNESS_UM, system)} at {show_grammage(PILE_GRAMMAGE)}"
        because = f"{usual}, in proportion" if thickness is None else "measured"
        return (
            *_counted(size, grammage)(system),
            Line("Height of the pile", show_length(height, system=system)),
            Line("Thickness of a sheet", _thin(round(thick), system), because),
            Line("Sheets", _about(sheets), "height ÷ thickness"),
        )

    return estimate_of(sheets * one, "pile", steps)


@takes(grammage="[grammage]")
def from_boxes(
    boxes: int | Decimal,
    *,
    sheets_per_box: int = SHEETS_PER_BOX,
    size: Size,
    grammage: Quantity,
) -> Estimate:
    """Return the as-is mass of boxes of loose sheets.

    Parameters
    ----------
    boxes : int or Decimal [boxes]
        How many, above 0; 0.5 for one half full.
    sheets_per_box : int [sheets], optional
        2750, the middle of the 2500 to 3000 of an archive box.
    size : Size [um]
        Dimensions of one sheet.
    grammage : Quantity [mass/area]
        Conditioned grammage.

    Returns
    -------
    Estimate [mg]
        Within ± 20 %.

    Raises
    ------
    RangeError
        If a count or the grammage is not above 0.

    Notes
    -----
    A label on a donor's box says nothing of what is in it. Source: [PRACTICE], common practice,
    no source.

    Examples
    --------
    >>> from studio.sizes import size_named
    >>> from_boxes(1, size=size_named("A4"), grammage=Q(80, "g/m2")).as_is_mg
    13721400
    """
    per_box = positive("Sheets per box", sheets_per_box, "sheets")
    sheets = Fraction(positive("The count", boxes, "boxes")) * Fraction(per_box)
    steps = _counted(
        size,
        grammage,
        Line("Sheets", show_number(sheets_per_box), "to the box"),
        Line("Boxes", show_number(boxes), "counted"),
    )
    return estimate_of(sheets * _sheet_mg(size, grammage), "boxes", steps)


@takes(as_is_mass="[mass]")
def from_guess(as_is_mass: Quantity) -> Estimate:
    """Return the estimate of scrap whose mass was guessed.

    Parameters
    ----------
    as_is_mass : Quantity [mass]
        As guessed, above 0.

    Returns
    -------
    Estimate [mg]
        Within ± 40 %.

    Raises
    ------
    RangeError
        If the mass is not above 0.

    Notes
    -----
    A later weighing replaces it. Source: [PRACTICE], common practice, no source.

    Examples
    --------
    >>> from_guess(Q(3, "kg")).low_mg
    1800000
    """
    positive("The mass", as_is_mass.to("kg").magnitude, "kg")
    return estimate_of(Fraction(to_mg(as_is_mass)), "guess")


def worth_of(estimate: Estimate, *, moisture: Decimal, usable_share: Decimal) -> Worth:
    """Return what scrap comes to as oven-dry and as usable fibre.

    Parameters
    ----------
    estimate : Estimate [mg]
        As-is mass with its low and high ends.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    usable_share : Decimal [-]
        Share of the oven-dry mass that reaches the vat, above 0 up to 1.

    Returns
    -------
    Worth [mg]
        Low ends rounded down and high ends up; usable mass always down.

    Raises
    ------
    RangeError
        If a share is outside its limits.

    Notes
    -----
    The band is that of the mass alone; moisture and usable share are taken as given.
    Source: [ISO287] for the oven-dry mass, definition for the usable one.

    Examples
    --------
    >>> worth = worth_of(
    ...     from_weight(Q(8, "kg")), moisture=Decimal("0.05"), usable_share=Decimal("0.8")
    ... )
    >>> worth.oven_dry_mg, worth.usable_mg
    (7600000, 6080000)
    """
    dry_share = 1 - Fraction(share_below_one("Moisture", moisture))
    share_above_zero("Usable share", usable_share)
    dry_mg = oven_dry_mg(estimate.as_is_mg, moisture)
    dry_low_mg = math.floor(estimate.low_mg * dry_share)
    dry_high_mg = math.ceil(estimate.high_mg * dry_share)
    ends = (usable_mg(dry_low_mg, usable_share), usable_mg(dry_high_mg, usable_share))
    return Worth(
        oven_dry_mg=dry_mg,
        oven_dry_low_mg=dry_low_mg,
        oven_dry_high_mg=dry_high_mg,
        usable_mg=usable_mg(dry_mg, usable_share),
        usable_low_mg=ends[0],
        usable_high_mg=ends[1],
        estimate=estimate,
        moisture=moisture,
        usable_share=usable_share,
    )
