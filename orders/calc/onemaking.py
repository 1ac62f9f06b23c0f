"""What one finished making shows of a figure, exactly; :mod:`orders.calc.learned` takes many."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from orders.calc._shared import checked_share
from studio.errors import RangeError

Figure = Decimal | Fraction | int


def share_that_stays(formed_mg: Figure, *, usable_mg: Figure, heel_mg: Figure) -> Fraction:
    """Return the share of the fibre worked at the vat that stayed in the sheets.

    Parameters
    ----------
    formed_mg : int, Decimal or Fraction [mg]
        Oven-dry fibre in all pulls: pulls times the fibre of a pull that was weighed.
    usable_mg : int, Decimal or Fraction [mg]
        Oven-dry fibre issued times its preparation yield.
    heel_mg : int, Decimal or Fraction [mg]
        Oven-dry fibre left in the vat at the end.

    Returns
    -------
    Fraction [-]
        May come out above 1 where a figure that it rests on is wrong.

    Raises
    ------
    RangeError
        If nothing was formed, or no more fibre went in than was left in the vat.

    Notes
    -----
    formed / (usable − heel). Mass alone shows only yield times retention: this one holds the
    yield to be right. Source: definition.

    Examples
    --------
    >>> share_that_stays(900, usable_mg=1000, heel_mg=62)
    Fraction(450, 469)
    """
    worked = Fraction(usable_mg) - Fraction(_at_least_zero("The heel", heel_mg))
    _above_zero("What was formed", formed_mg)
    _above_zero("What went into the vat less the heel", worked)
    return Fraction(formed_mg) / worked


def preparation_yield(
    issued_mg: Figure, *, formed_mg: Figure, heel_mg: Figure, retention: Decimal
) -> Fraction:
    """Return the share of a fibre that was left after preparation.

    Parameters
    ----------
    issued_mg : int, Decimal or Fraction [mg]
        Oven-dry fibre weighed out, all of one kind.
    formed_mg : int, Decimal or Fraction [mg]
        Oven-dry fibre in all pulls.
    heel_mg : int, Decimal or Fraction [mg]
        Oven-dry fibre left in the vat at the end.
    retention : Decimal [-]
        Share of the fibre worked that stays in the sheets, above 0 up to 1.

    Returns
    -------
    Fraction [-]
        May come out above 1 where a figure that it rests on is wrong.

    Raises
    ------
    RangeError
        If nothing was issued or formed, or the retention is outside its limits.

    Notes
    -----
    (formed / retention + heel) / issued: the other side of :func:`share_that_stays`, which
    holds the retention to be right. Source: definition.

    Examples
    --------
    >>> preparation_yield(1000, formed_mg=893, heel_mg=10, retention=Decimal("0.95"))
    Fraction(19, 20)
    """
    stays = checked_share("Retention", retention, zero=False)
    _above_zero("What was issued", issued_mg)
    _above_zero("What was formed", formed_mg)
    heel = Fraction(_at_least_zero("The heel", heel_mg))
    return (Fraction(formed_mg) / stays + heel) / Fraction(issued_mg)


def shrinkage(opening_um: int, dry_um: int) -> Fraction:
    """Return how far a sheet shrank in one direction, as a share of the mould's opening.

    Parameters
    ----------
    opening_um : int [um]
        Opening inside the deckle, more than 0.
    dry_um : int [um]
        The same side of the dry sheet, deckle edges and all, more than 0.

    Returns
    -------
    Fraction [-]
        Below 0 where the sheet came out larger than the opening.

    Raises
    ------
    RangeError
        If a length is not above 0.

    Notes
    -----
    1 − dry / opening. Source: definition.

    Examples
    --------
    >>> float(shrinkage(320_000, 304_000)), float(shrinkage(450_000, 441_000))
    (0.05, 0.02)
    """
    _above_zero("The opening", opening_um)
    _above_zero("The dry side", dry_um)
    return 1 - Fraction(dry_um, opening_um)


# --- refusals ------------------------------------------------------------------------------------


def _above_zero(name: str, number: Figure) -> None:
    if number <= 0:
        raise RangeError(f"{name} must be more than 0, got {number}.", value=number)


def _at_least_zero(name: str, number: Figure) -> Figure:
    if number < 0:
        raise RangeError(f"{name} must be 0 or more, got {number}.", value=number)
    return number
