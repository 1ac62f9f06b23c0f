"""How a number is written wherever it is shown: minus, thousands, decimals."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext
from fractions import Fraction

NO_BREAK_SPACE = "\u00a0"
NARROW_SPACE = "\u202f"
MINUS = "\u2212"


def show_number(number: int | Decimal | Fraction, *, places: int | None = None) -> str:
    r"""Return a number with a true minus and, from 10 000, a narrow space between thousands.

    ``places`` keeps that many decimals; without it a Decimal shows what it holds, no exponent.

    >>> show_number(Decimal("-7.040"), places=2), show_number(1250), show_number(12500)
    ('−7.04', '1250', '12\u202f500')
    """
    if places is None:
        number = number if isinstance(number, int | Decimal) else rounded(number, 6)
        digits = stripped(Decimal(number))
    else:
        digits = f"{rounded(number, places):f}"
    whole, point, decimals = digits.lstrip("-").partition(".")
    grouped = f"{int(whole):,}".replace(",", NARROW_SPACE) if len(whole) > 4 else whole
    nothing = not (whole + decimals).strip("0")
    return (MINUS if digits.startswith("-") and not nothing else "") + grouped + point + decimals


def show_count(number: int | Decimal | Fraction, noun: str, plural: str = "") -> str:
    r"""Return a number with what it counts, one or many.

    >>> show_count(1, "pull"), show_count(12500, "good sheet")
    ('1 pull', '12\u202f500 good sheets')
    """
    return f"{show_number(number)} {noun if number == 1 else plural or f'{noun}s'}"


def rounded(number: int | Decimal | Fraction, places: int) -> Decimal:
    """Round half-even, from the exact value when it is a fraction."""
    if isinstance(number, Fraction):
        return Decimal(round(number * 10**places)).scaleb(-places)
    with localcontext(Context(prec=60)):
        return Decimal(number).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)


def stripped(number: Decimal) -> str:
    """Return a number without an exponent and without zeros at its end."""
    digits = f"{number:f}"
    return digits.rstrip("0").rstrip(".") if "." in digits else digits
