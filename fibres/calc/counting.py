"""What a lot on the scale says of its water, where all its fibre is still there."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from fibres.calc import _checks as check
from studio.errors import RangeError
from studio.units import show_mass

MILLIONTH = 1_000_000


def moisture_by_fibre(as_is_mg: int, *, oven_dry_mg: int) -> Decimal:
    """Return the moisture of a lot that only dried or drew water since its fibre was known.

    Parameters
    ----------
    as_is_mg : int [mg]
        Mass as weighed now, water included.
    oven_dry_mg : int [mg]
        Fibre in the lot, as known before; none of it came or went.

    Returns
    -------
    Decimal [-]
        Water as a share of the as-is mass (wet basis), to a millionth, rounded half-even.

    Raises
    ------
    RangeError
        If the lot weighs less than its fibre, holds no fibre, or is all but water.

    Notes
    -----
    ``w = 1 - dry / as-is``. Says nothing of fibre that was lost too. Source: [ISO287], definition.

    Examples
    --------
    >>> moisture_by_fibre(9_500_000, oven_dry_mg=9_000_000)
    Decimal('0.052632')
    """
    as_is = check.whole_mg("The as-is mass", as_is_mg)
    oven_dry = check.whole_mg("The oven-dry mass", oven_dry_mg)
    if not oven_dry:
        raise RangeError("Without fibre there is nothing that dries or draws water.")
    if as_is < oven_dry:
        raise RangeError(
            f"It weighs {show_mass(as_is)} with its water and was to hold {show_mass(oven_dry)} "
            "of fibre alone, so more than water is missing.",
            value=as_is_mg,
        )
    millionths = round(MILLIONTH * (1 - Fraction(oven_dry, as_is)))
    if millionths >= MILLIONTH:
        raise RangeError(
            f"In {show_mass(as_is)} there would be water alone. Weigh it again.", value=as_is_mg
        )
    return Decimal(millionths).scaleb(-6)
