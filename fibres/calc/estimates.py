"""An estimate of the mass of scrap, how far off it may be, and what it comes to as fibre."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Literal

from studio.errors import RangeError
from studio.units import System, show_mass, show_share
from studio.working import Line

Method = Literal["weighed", "counted", "reams", "pile", "boxes", "guess"]
# The lines of a sum before its answer, in the units asked for.
Steps = Callable[[System], tuple[Line, ...]]

# How far an estimate by each method may be off, either way: common practice, no source.
BANDS: dict[str, Decimal] = {
    "weighed": Decimal(0),
    "counted": Decimal("0.03"),
    "reams": Decimal("0.03"),
    "pile": Decimal("0.10"),
    "boxes": Decimal("0.20"),
    "guess": Decimal("0.40"),
}


def no_steps(system: System) -> tuple[Line, ...]:
    """Return no lines: the mass was read from a scale, or guessed."""
    return ()


@dataclass(frozen=True, slots=True)
class Estimate:
    """The as-is mass of a gift or a pile, between a low and a high end."""

    as_is_mg: int
    low_mg: int
    high_mg: int
    method: Method
    band: Decimal
    steps: Steps = field(default=no_steps, repr=False, compare=False)

    @property
    def working(self) -> tuple[Line, ...]:
        """Return the sum line by line, from what was measured to the mass."""
        return self.lines()

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the working in the units asked for."""
        mass = partial(show_mass, system=system)
        because = f"± {show_share(self.band)}, {self.method}" if self.band else "weighed"
        answer = (
            Line("As-is mass", mass(self.as_is_mg), because, kind="answer"),
            Line("Low to high", f"{mass(self.low_mg)} to {mass(self.high_mg)}"),
        )
        return self.steps(system) + answer[: 2 if self.band else 1]


@dataclass(frozen=True, slots=True)
class Worth:
    """What an estimate comes to as oven-dry and as usable fibre."""

    oven_dry_mg: int
    oven_dry_low_mg: int
    oven_dry_high_mg: int
    usable_mg: int
    usable_low_mg: int
    usable_high_mg: int
    estimate: Estimate = field(repr=False)
    moisture: Decimal
    usable_share: Decimal

    @property
    def working(self) -> tuple[Line, ...]:
        """Return the sum line by line, from the as-is mass to usable fibre."""
        return self.lines()

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the working in the units asked for."""
        estimate, mass = self.estimate, partial(show_mass, system=system)
        ends = f"{mass(self.usable_low_mg)} to {mass(self.usable_high_mg)}"
        lines = (
            Line("As-is mass", mass(estimate.as_is_mg), estimate.method),
            Line("Moisture", show_share(self.moisture), "of the as-is mass"),
            Line("Oven-dry mass", mass(self.oven_dry_mg), "as-is × (1 − moisture)", kind="line"),
            Line("Usable share", show_share(self.usable_share), "of the oven-dry mass"),
            Line(
                "Usable fibre",
                mass(self.usable_mg),
                "oven-dry × usable share, rounded down",
                kind="answer",
            ),
        )
        return (*lines, Line("Low to high", ends)) if estimate.band else lines


def estimate_of(exact_mg: Fraction, method: Method, steps: Steps = no_steps) -> Estimate:
    """Return the estimate by a method from the exact mass.

    Parameters
    ----------
    exact_mg : Fraction [mg]
        As-is mass before rounding.
    method : str [-]
        How it was found; it decides the band.
    steps : callable [-], optional
        Gives the sum so far in the units asked for, one line per step; the lines that every
        method shares are added.

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
    >>> estimate_of(Fraction(1000), "pile").low_mg
    900
    """
    band = BANDS[method]
    as_is_mg = round(exact_mg)
    if as_is_mg == 0:
        raise RangeError("The mass must be 1 mg or more, got less.", value=exact_mg)
    low_mg = math.floor(exact_mg * (1 - Fraction(band)))
    high_mg = math.ceil(exact_mg * (1 + Fraction(band)))
    return Estimate(as_is_mg, low_mg, high_mg, method, band, steps)
