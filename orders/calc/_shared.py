"""What the calculations of orders share: the refusal of shares, and exact masses as quantities."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from studio.errors import RangeError
from studio.units import Q, Quantity


def checked_share(name: str, share: object, *, zero: bool = True, one: bool = True) -> Fraction:
    """Return a share exactly; ``zero`` and ``one`` say whether these ends are allowed.

    >>> checked_share("Moisture", Decimal("0.08"), one=False)
    Fraction(2, 25)
    """
    if (
        isinstance(share, bool)
        or not isinstance(share, Decimal | Fraction | int)
        or (isinstance(share, Decimal) and not share.is_finite())
        or not 0 <= share <= 1
        or (share == 0 and not zero)
        or (share == 1 and not one)
    ):
        allowed = {
            (True, True): "from 0 to 1",
            (True, False): "at least 0 and less than 1",
            (False, True): "more than 0 and at most 1",
            (False, False): "more than 0 and less than 1",
        }
        raise RangeError(
            f"{name} must be {allowed[zero, one]}, got {share}; 8 % is 0.08.",
            value=share,
        )
    return Fraction(share)


def as_quantity(mass_mg: Fraction) -> Quantity:
    """Return an exact mass in milligrams as a quantity in grams, to 28 figures."""
    return Q(Decimal(mass_mg.numerator) / Decimal(mass_mg.denominator * 1000), "g")
