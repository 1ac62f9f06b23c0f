"""An estimate of the mass of scrap: the mass, how it was found, and how far off it may be."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from studio.errors import RangeError
from studio.units import show_mass, show_share
from studio.working import Line

Method = Literal["weighed", "counted", "reams", "pile", "boxes", "guess"]

# How far an estimate by each method may be off, either way: common practice, no source.
BANDS: dict[str, Decimal] = {
    "weighed": Decimal(0),
    "counted": Decimal("0.03"),
    "reams": Decimal("0.03"),
    "pile": Decimal("0.10"),
    "boxes": Decimal("0.20"),
    "guess": Decimal("0.40"),
}


@dataclass(frozen=True, slots=True)
class Estimate:
    """The as-is mass of a gift or a pile, between a low and a high end."""

    as_is_mg: int
    low_mg: int
    high_mg: int
    method: Method
    band: Decimal
    working: tuple[Line, ...]


def estimate_of(exact_mg: Fraction, method: Method, lines: tuple[Line, ...]) -> Estimate:
    """Return the estimate by a method from the exact mass.

    Parameters
    ----------
    exact_mg : Fraction [mg]
        As-is mass before rounding.
    method : str [-]
        How it was found; it decides the band.
    lines : tuple of Line [-]
        The sum so far, one line per step; the lines that every method shares are added.

    Returns
    -------
    Estimate [mg]
        The mass rounded half-even, its low end down and its high end up.

    Raises
    ------
    RangeError
        If the mass comes to less than 1 mg.

    Notes
    -----
    Source: definition; the bands are common practice, no source [PRACTICE].

    Examples
    --------
    >>> estimate_of(Fraction(1000), "pile", ()).low_mg
    900
    """
    band = BANDS[method]
    as_is_mg = round(exact_mg)
    if as_is_mg == 0:
        raise RangeError("The mass must be 1 mg or more, got less.", value=exact_mg)
    low_mg = math.floor(exact_mg * (1 - Fraction(band)))
    high_mg = math.ceil(exact_mg * (1 + Fraction(band)))
    because = f"± {show_share(band)}, {method}" if band else "weighed"
    answer = (
        Line("As-is mass", show_mass(as_is_mg), because, kind="answer"),
        Line("Low to high", f"{show_mass(low_mg)} to {show_mass(high_mg)}"),
    )
    return Estimate(as_is_mg, low_mg, high_mg, method, band, lines + answer[: 2 if band else 1])
