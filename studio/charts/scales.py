"""From figures to places on a drawing: round ticks, and a scale that ends where it should."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

ROUND_STEPS = (Fraction(1), Fraction(2), Fraction(5), Fraction(10))
TENTH = Decimal("0.1")


def ticks(low: Decimal | Fraction, high: Decimal | Fraction, count: int) -> list[Decimal]:
    """Return round figures about ``count`` steps apart, from ``low`` to at least ``high``.

    >>> ticks(Decimal(0), Decimal("14.62"), 2)
    [Decimal('0'), Decimal('10'), Decimal('20')]
    """
    start, span = Fraction(low), Fraction(high) - Fraction(low)
    if span <= 0:
        span = Fraction(1)
    step = _round_step(span / count)
    first, last = -(-start // step), -(-(start + span) // step)
    return [_decimal(step * number) for number in range(int(first), int(last) + 1)]


def _round_step(least: Fraction) -> Fraction:
    """Return the smallest 1, 2 or 5 with noughts that is not below ``least``."""
    power = Fraction(1)
    while power > least:
        power /= 10
    while power * 10 < least:
        power *= 10
    return next(power * step for step in ROUND_STEPS if power * step >= least)


def _decimal(number: Fraction) -> Decimal:
    return Decimal(number.numerator) / Decimal(number.denominator)


@dataclass(frozen=True, slots=True)
class Scale:
    """From figures between ``low`` and ``high`` to places between ``start`` and ``end``."""

    low: Decimal
    high: Decimal
    start: int
    end: int

    def __call__(self, figure: Decimal | int) -> Decimal:
        """Return the place of a figure, to a tenth."""
        share = Fraction(Decimal(figure) - self.low) / Fraction(self.high - self.low)
        place = _decimal(self.start + share * (self.end - self.start))
        return place.quantize(TENTH, rounding=ROUND_HALF_EVEN)
