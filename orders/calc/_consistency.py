"""What the arithmetic of the vat shares: exact litres and grams per litre, and their words."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Context, Decimal, localcontext
from fractions import Fraction

from studio.errors import RangeError, StudioError
from studio.units import (
    NO_BREAK_SPACE,
    Q,
    Quantity,
    System,
    plain,
    show_mass,
    show_number,
    show_volume,
)

# Enough that what is left after a million pulls is right to more than thirty figures.
FIGURES = 50
UM3_PER_LITRE = 10**15
CONSISTENCY = "[mass] / [length] ** 3"


def as_decimal(number: Fraction | Decimal | int) -> Decimal:
    """Return a number to fifty figures."""
    with localcontext(Context(prec=FIGURES)):
        exact = Fraction(number)
        return plain(Decimal(exact.numerator) / Decimal(exact.denominator))


def quantity(number: Fraction | Decimal | int, unit: str) -> Quantity:
    """Return an exact number as a quantity, to 28 figures."""
    exact = Fraction(number)
    return Q(Decimal(exact.numerator) / Decimal(exact.denominator), unit)


def _exactly(dimension: str, unit: str, example: str) -> Callable[..., Fraction]:
    def read(name: str, value: object, *, zero: bool = False) -> Fraction:
        if not isinstance(value, Quantity) or not value.check(dimension):
            raise StudioError(f"{name} must be {example}, got {value!r}.", value=value)
        number = Fraction(value.to(unit).magnitude)
        if number < 0 or (number == 0 and not zero):
            least = "0 or more" if zero else "more than 0"
            raise RangeError(f"{name} must be {least}, got {value:~}.", value=value)
        return number

    return read


litres_of = _exactly("[volume]", "L", "a volume such as 60 L")
grams_of = _exactly("[mass]", "g", "a mass such as 300 g")
millimetres_of = _exactly("[length]", "mm", "a length such as 20 mm")
grammage_of = _exactly("[grammage]", "g/m2", "a grammage such as 100 g/m²")
grams_per_litre = _exactly(CONSISTENCY, "g/L", "a consistency such as 5 g/L")


def show_consistency(g_per_l: Fraction | Decimal, *, places: int = 2) -> str:
    r"""Return a consistency in grams to the litre, and in percent.

    >>> show_consistency(Fraction("5.154639"))
    '5.15\xa0g/L (0.515\xa0%)'
    """
    share = show_number(Fraction(g_per_l) / 10, places=places + 1)
    return (
        f"{show_number(Fraction(g_per_l), places=places)}{NO_BREAK_SPACE}g/L "
        f"({share}{NO_BREAK_SPACE}%)"
    )


def volume_words(litres: Fraction | Decimal, system: System = "metric") -> str:
    """Return litres as a person reads them."""
    return show_volume(quantity(litres, "L"), system=system)


def grams_words(grams: Fraction | Decimal, system: System = "metric") -> str:
    """Return grams as a person reads them."""
    return show_mass(quantity(grams, "g"), system=system)
