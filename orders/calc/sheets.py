"""What one sheet and one pull of it hold in fibre, and the usable fibre that sheets need.

Masses are oven-dry fibre. Floors and ceilings are decided on exact fractions; whole milligrams
are rounded up where they are needed and down where they are at hand.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

from orders.calc import culls
from orders.calc._shared import as_quantity
from orders.calc.spec import SheetSpec
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Quantity, takes


@takes(grammage="[grammage]")
def fibre_in_sheet(
    grammage: Quantity,
    *,
    size: Size,
    sheet_moisture: Decimal = Decimal("0.06"),
    non_fibre_share: Decimal = Decimal(0),
) -> Quantity:
    """Return the oven-dry fibre in one finished sheet.

    Parameters
    ----------
    grammage : Quantity [mass/area]
        Of the sheet as conditioned, its water and filler included.
    size : Size [µm]
        Dry size of the sheet.
    sheet_moisture : Decimal [-]
        Water as a share of the conditioned sheet, from 0 up to 1.
    non_fibre_share : Decimal [-]
        Filler, pigment and size as a share of the oven-dry sheet, from 0 up to 1.

    Returns
    -------
    Quantity [mass]
        In grams.

    Raises
    ------
    RangeError
        If a share is outside 0 up to 1.

    Notes
    -----
    Grammage is measured on conditioned paper [ISO536], fibre is counted oven-dry, so the water
    comes off first. Definition.

    Examples
    --------
    >>> from studio.units import Q
    >>> round(fibre_in_sheet(Q(120, "g/m2"), size=Size(210_000, 297_000)), 3)
    <Quantity(7.035, 'gram')>
    """
    spec = SheetSpec(
        size,
        grammage.to("g/m2").magnitude,
        sheet_moisture=sheet_moisture,
        non_fibre_share=non_fibre_share,
    )
    return as_quantity(spec.fibre_per_sheet_mg)


def fibre_in_pull(spec: SheetSpec) -> Quantity:
    """Return the oven-dry fibre in one dry pull.

    Parameters
    ----------
    spec : SheetSpec
        The sheet; its grammage holds over the whole dry pull.

    Returns
    -------
    Quantity [mass]
        In grams.

    Raises
    ------
    RangeError
        If a shrinkage is outside 0 up to 1.

    Notes
    -----
    Over the whole dry pull and not only the finished sheets: what is trimmed off was pulled
    all the same and goes to broke. For a sheet as pulled it is the fibre in the sheet.
    Definition.

    Examples
    --------
    >>> spec = SheetSpec(Size(85_000, 55_000), Decimal(250), sheet_moisture=Decimal("0.07"),
    ...     mould=Size(330_000, 450_000), shrinkage=(Decimal("0.03"), Decimal("0.02")))
    >>> round(fibre_in_pull(spec), 4)
    <Quantity(32.8207, 'gram')>
    """
    return as_quantity(spec.fibre_per_pull_mg)


def sheets_per_pull(spec: SheetSpec) -> int:
    """Return the finished sheets that one pull gives.

    Parameters
    ----------
    spec : SheetSpec
        The sheet; without a mould it is as pulled.

    Returns
    -------
    int [sheets]
        1 as pulled; 0 if not one fits in the trimmed pull.

    Raises
    ------
    RangeError
        If a shrinkage, a side or the trim is outside what it can be.

    Notes
    -----
    By :func:`orders.calc.layout.best_cut`. Definition.

    Examples
    --------
    >>> sheets_per_pull(SheetSpec(Size(210_000, 297_000), Decimal(120)))
    1
    """
    return 1 if spec.layout is None else spec.layout.pieces


def pulls_possible(usable_mg: int | Fraction, *, spec: SheetSpec) -> int:
    """Return the pulls that usable fibre gives.

    Parameters
    ----------
    usable_mg : int or Fraction [mg]
        Usable fibre: oven-dry, after the losses of preparation; 0 or more.
    spec : SheetSpec
        The sheet to pull.

    Returns
    -------
    int [pulls]
        Rounded down from the exact quotient.

    Raises
    ------
    RangeError
        If ``usable_mg`` is below 0.

    Notes
    -----
    floor(usable × retention / fibre per pull). Does not keep a heel back. Definition.

    Examples
    --------
    >>> pulls_possible(9_021_000, spec=SheetSpec(
    ...     Size(762_000, 558_800), Decimal(120), retention=Decimal(1)))
    187
    """
    if usable_mg < 0:
        raise RangeError(f"Usable fibre must be 0 mg or more, got {usable_mg}.", value=usable_mg)
    return math.floor(usable_mg / spec.drawn_per_pull_mg)


def need_mg(spec: SheetSpec, wanted: int) -> int:
    """Return the usable fibre that good sheets take on average.

    Parameters
    ----------
    spec : SheetSpec
        The sheet to make.
    wanted : int [sheets]
        Good sheets, 0 or more.

    Returns
    -------
    int [mg]
        Rounded up once, after the pulls are multiplied out.

    Raises
    ------
    RangeError
        If not one sheet fits in a pull, or none would ever be good.

    Notes
    -----
    Pulls on average × fibre per pull / retention. Definition.

    Examples
    --------
    >>> need_mg(SheetSpec(Size(210_000, 297_000), Decimal(120)), 400)
    3334457
    """
    return math.ceil(average_pulls(spec, wanted) * spec.drawn_per_pull_mg)


def safe_need_mg(spec: SheetSpec, wanted: int) -> int:
    """Return the usable fibre that gives good sheets with the assurance.

    Parameters
    ----------
    spec : SheetSpec
        The sheet to make, with its assurance.
    wanted : int [sheets]
        Good sheets, 0 or more.

    Returns
    -------
    int [mg]
        Rounded up once; at least :func:`need_mg`, so that fibre that is safely enough is never
        too little on average.

    Raises
    ------
    RangeError
        If not one sheet fits in a pull, or none would ever be good.

    Notes
    -----
    Safe pulls × fibre per pull / retention. Safe pulls: [BOOST].

    Examples
    --------
    >>> safe_need_mg(SheetSpec(Size(210_000, 297_000), Decimal(120)), 400)
    3429727
    """
    pulls = max(average_pulls(spec, wanted), safe_pulls(spec, wanted))
    return math.ceil(pulls * spec.drawn_per_pull_mg)


def pull_mg(spec: SheetSpec) -> int:
    """Return the usable fibre that one pull takes out of the store.

    Parameters
    ----------
    spec : SheetSpec
        The sheet to pull.

    Returns
    -------
    int [mg]
        Rounded up.

    Raises
    ------
    RangeError
        If a shrinkage is outside 0 up to 1.

    Notes
    -----
    Fibre per pull / retention. Rounded up for each pull, so that many pulls counted by it come
    to a little more than :func:`need_mg`. Definition.

    Examples
    --------
    >>> pull_mg(SheetSpec(Size(210_000, 297_000), Decimal(120)))
    7329
    """
    return math.ceil(spec.drawn_per_pull_mg)


def average_pulls(spec: SheetSpec, wanted: int) -> int:
    """Return the pulls that give good sheets on average.

    Parameters
    ----------
    spec : SheetSpec
        The sheet to make.
    wanted : int [sheets]
        Good sheets, 0 or more.

    Returns
    -------
    int [pulls]
        See :func:`orders.calc.culls.pulls_average`.

    Raises
    ------
    RangeError
        If not one sheet fits in a pull, or none would ever be good.

    Notes
    -----
    Definition.

    Examples
    --------
    >>> average_pulls(SheetSpec(Size(210_000, 297_000), Decimal(120)), 400)
    455
    """
    return culls.pulls_average(
        wanted, good_share=spec.good_share, sheets_per_pull=spec.at_least_one_per_pull()
    )


def safe_pulls(spec: SheetSpec, wanted: int) -> int:
    """Return the fewest pulls that give good sheets with the assurance.

    Parameters
    ----------
    spec : SheetSpec
        The sheet to make, with its assurance.
    wanted : int [sheets]
        Good sheets, 0 or more.

    Returns
    -------
    int [pulls]
        See :func:`orders.calc.culls.pulls_safe`.

    Raises
    ------
    RangeError
        If not one sheet fits in a pull, or none would ever be good.

    Notes
    -----
    Source: [BOOST].

    Examples
    --------
    >>> safe_pulls(SheetSpec(Size(210_000, 297_000), Decimal(120)), 400)
    468
    """
    return culls.pulls_safe(
        wanted,
        good_share=spec.good_share,
        sheets_per_pull=spec.at_least_one_per_pull(),
        assurance=spec.assurance,
        learned=spec.learned,
    )
