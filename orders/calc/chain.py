"""The chain of losses, both ways: good sheets from fibre at hand, and fibre for sheets wanted."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial

from orders.calc import culls
from orders.calc._shared import checked_share
from orders.calc._words import good_share_words, mass_words, sheet_lines
from orders.calc.sheets import (
    SheetSpec,
    average_pulls,
    pulls_possible,
    safe_pulls,
)
from studio.errors import RangeError
from studio.units import (
    Quantity,
    System,
    show_number,
    show_share,
    takes,
)
from studio.working import Line

# Figures after the point of a gram in JSON: a microgram.
JSON_PLACES = 6


@dataclass(frozen=True, slots=True)
class SheetCount:
    """How many good sheets fibre gives; masses are exact grams of fibre without its water."""

    spec: SheetSpec
    as_is_g: Fraction
    moisture: Fraction
    preparation_yield: Fraction
    oven_dry_g: Fraction
    usable_g: Fraction
    fibre_per_sheet_g: Fraction
    fibre_per_pull_g: Fraction
    sheets_per_pull: int
    pulls_possible: int
    good_sheets: int
    good_sheets_safe: int

    @property
    def working(self) -> tuple[Line, ...]:
        """Return the sum line by line, from the mass as weighed to the good sheets."""
        return self.lines()

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the working in the units asked for."""
        spec, mass = self.spec, partial(mass_words, system=system)
        return (
            Line("As weighed", mass(self.as_is_g), "as-is, its water included"),
            Line(
                "Oven-dry",
                mass(self.oven_dry_g),
                f"as weighed less {show_share(self.moisture)} moisture",
            ),
            Line(
                "Usable",
                mass(self.usable_g),
                f"oven-dry × {show_share(self.preparation_yield)} preparation yield",
                "line",
            ),
            *sheet_lines(self, system),
            Line(
                "Pulls possible",
                show_number(self.pulls_possible),
                f"usable × {show_share(spec.retention)} retention / fibre in one pull, whole ones",
                "line",
            ),
            Line(
                "Good sheets on average",
                show_number(self.good_sheets),
                f"pulls × {self.sheets_per_pull} × {good_share_words(spec)}, rounded down",
                "answer",
            ),
            Line(
                "Good sheets to promise",
                show_number(self.good_sheets_safe),
                f"reached with a chance of at least {show_share(spec.assurance)}",
                "answer",
            ),
        )

    def as_json(self) -> dict[str, int | float]:
        """Return the answer as plain numbers, the units in the keys."""
        return _plain(
            self,
            "oven_dry_g usable_g fibre_per_sheet_g fibre_per_pull_g sheets_per_pull "
            "pulls_possible good_sheets good_sheets_safe",
        )


@dataclass(frozen=True, slots=True)
class FibreNeed:
    """What sheets wanted take on average, set against the fibre at hand."""

    spec: SheetSpec
    wanted: int
    moisture: Fraction
    preparation_yield: Fraction
    oven_dry_on_hand_g: Fraction
    sheets_per_pull: int
    fibre_per_sheet_g: Fraction
    fibre_per_pull_g: Fraction
    pulls_average: int
    pulls_safe: int
    vat_fibre_g: Fraction
    oven_dry_needed_g: Fraction
    oven_dry_needed_safe_g: Fraction
    as_is_needed_g: Fraction

    @property
    def covered(self) -> bool:
        """Return whether the fibre at hand is enough on average."""
        return self.oven_dry_on_hand_g >= self.oven_dry_needed_g

    @property
    def short_oven_dry_g(self) -> Fraction:
        """Return what is missing, 0 if nothing is."""
        return max(Fraction(0), self.oven_dry_needed_g - self.oven_dry_on_hand_g)

    @property
    def state(self) -> str:
        """Return how the wish stands in the words used for commissions."""
        if not self.covered:
            return "short"
        safe = self.oven_dry_on_hand_g >= self.oven_dry_needed_safe_g
        return "covered" if safe else "just covered"

    @property
    def working(self) -> tuple[Line, ...]:
        """Return the sum line by line, from the good sheets wanted to the mass to weigh out."""
        return self.lines()

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Return the working in the units asked for."""
        spec, mass = self.spec, partial(mass_words, system=system)
        return (
            Line("Good sheets wanted", show_number(self.wanted), "as asked"),
            *sheet_lines(self, system),
            Line(
                "Pulls on average",
                show_number(self.pulls_average),
                f"wanted / {self.sheets_per_pull} / {good_share_words(spec)}, rounded up",
                "line",
            ),
            Line(
                "Pulls to be safe",
                show_number(self.pulls_safe),
                f"the fewest with a chance of at least {show_share(spec.assurance)}",
            ),
            Line(
                "Into the vat",
                mass(self.vat_fibre_g),
                "oven-dry; pulls on average × fibre in one pull / "
                f"{show_share(spec.retention)} retention",
            ),
            Line(
                "Oven-dry needed",
                mass(self.oven_dry_needed_g),
                f"into the vat / {show_share(self.preparation_yield)} preparation yield",
                "line",
            ),
            Line(
                "As-is needed",
                mass(self.as_is_needed_g),
                f"to weigh out at {show_share(self.moisture)} moisture",
                "answer",
            ),
            Line(self.state.capitalize(), *self._against_store(mass), "answer"),
        )

    def _against_store(self, mass: Callable[[Fraction], str]) -> tuple[str, str]:
        on_hand = f"{mass(self.oven_dry_on_hand_g)} oven-dry on hand"
        if not self.covered:
            return f"{mass(self.short_oven_dry_g)} missing", f"oven-dry; {on_hand}"
        safe = f"{mass(self.oven_dry_needed_safe_g)} for the safe pulls"
        left = self.oven_dry_on_hand_g - self.oven_dry_needed_g
        return f"{mass(left)} left", f"oven-dry; {on_hand}, {safe}"

    def as_json(self) -> dict[str, int | float | bool]:
        """Return the answer as plain numbers, the units in the keys."""
        return _plain(
            self,
            "pulls_average pulls_safe vat_fibre_g oven_dry_needed_g as_is_needed_g covered "
            "short_oven_dry_g",
        )


@takes(as_is_mass="[mass]")
def sheets_from_fibre(
    as_is_mass: Quantity,
    *,
    moisture: Decimal,
    preparation_yield: Decimal,
    spec: SheetSpec,
) -> SheetCount:
    """Return how many good sheets fibre at hand gives.

    Parameters
    ----------
    as_is_mass : Quantity [mass]
        As weighed, water included; 0 or more.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    preparation_yield : Decimal [-]
        Usable fibre as a share of the oven-dry mass, more than 0 up to 1.
    spec : SheetSpec
        The sheet with its losses.

    Returns
    -------
    SheetCount
        Figures, their working, and plain numbers by ``as_json()``.

    Raises
    ------
    RangeError
        If a share or the mass is outside what it can be, or not one sheet fits in a pull.

    Notes
    -----
    oven-dry = as-is × (1 − moisture) [ISO287]; pulls = floor(usable × retention / fibre per
    pull); good = floor(pulls × sheets per pull × good share); safe by [BOOST]. Does not keep a
    heel back.

    Examples
    --------
    >>> from studio.sizes import Size
    >>> from studio.units import Q
    >>> spec = SheetSpec(Size(210_000, 297_000), Decimal(120))
    >>> count = sheets_from_fibre(Q(10, "kg"), moisture=Decimal("0.08"),
    ...                           preparation_yield=Decimal("0.96"), spec=spec)
    >>> count.pulls_possible, count.good_sheets
    (1205, 1060)
    """
    as_is, oven_dry = _on_hand(as_is_mass, moisture)
    kept = checked_share("Preparation yield", preparation_yield, zero=False)
    pulls = pulls_possible(oven_dry * kept * 1000, spec=spec)
    pieces = spec.at_least_one_per_pull()
    return SheetCount(
        spec=spec,
        as_is_g=as_is,
        moisture=Fraction(moisture),
        preparation_yield=kept,
        oven_dry_g=oven_dry,
        usable_g=oven_dry * kept,
        fibre_per_sheet_g=spec.fibre_per_sheet_mg / 1000,
        fibre_per_pull_g=spec.fibre_per_pull_mg / 1000,
        sheets_per_pull=pieces,
        pulls_possible=pulls,
        good_sheets=math.floor(pulls * pieces * spec.good_share),
        good_sheets_safe=culls.good_sheets_safe(
            pulls,
            good_share=spec.good_share,
            sheets_per_pull=pieces,
            assurance=spec.assurance,
            learned=spec.learned,
        ),
    )


@takes(as_is_mass="[mass]")
def fibre_for_sheets(
    wanted: int,
    *,
    as_is_mass: Quantity,
    moisture: Decimal,
    preparation_yield: Decimal,
    spec: SheetSpec,
) -> FibreNeed:
    """Return the fibre that good sheets take, and whether the fibre at hand is enough.

    Parameters
    ----------
    wanted : int [sheets]
        Good sheets, 0 or more.
    as_is_mass : Quantity [mass]
        Fibre at hand as weighed, water included; 0 or more.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    preparation_yield : Decimal [-]
        Usable fibre as a share of the oven-dry mass, more than 0 up to 1.
    spec : SheetSpec
        The sheet with its losses.

    Returns
    -------
    FibreNeed
        Figures, their working, and plain numbers by ``as_json()``. A shortage is an answer.

    Raises
    ------
    RangeError
        If a number is outside what it can be, not one sheet fits in a pull, or none would ever
        be good.

    Notes
    -----
    into the vat = pulls on average × fibre per pull / retention; oven-dry = that /
    preparation yield; as-is = that / (1 − moisture) [ISO287]; safe pulls by [BOOST]. Does not
    count a heel.

    Examples
    --------
    >>> from studio.sizes import Size
    >>> from studio.units import Q
    >>> spec = SheetSpec(Size(210_000, 297_000), Decimal(120))
    >>> need = fibre_for_sheets(400, as_is_mass=Q(3, "kg"), moisture=Decimal("0.08"),
    ...                         preparation_yield=Decimal("0.98"), spec=spec)
    >>> need.pulls_average, need.state, round(float(need.short_oven_dry_g), 1)
    (455, 'short', 642.5)
    """
    _, on_hand = _on_hand(as_is_mass, moisture)
    kept = checked_share("Preparation yield", preparation_yield, zero=False)
    pulls, safe = average_pulls(spec, wanted), safe_pulls(spec, wanted)
    per_pull = spec.drawn_per_pull_mg / 1000
    oven_dry = pulls * per_pull / kept
    return FibreNeed(
        spec=spec,
        wanted=wanted,
        moisture=Fraction(moisture),
        preparation_yield=kept,
        oven_dry_on_hand_g=on_hand,
        sheets_per_pull=spec.at_least_one_per_pull(),
        fibre_per_sheet_g=spec.fibre_per_sheet_mg / 1000,
        fibre_per_pull_g=spec.fibre_per_pull_mg / 1000,
        pulls_average=pulls,
        pulls_safe=safe,
        vat_fibre_g=pulls * per_pull,
        oven_dry_needed_g=oven_dry,
        oven_dry_needed_safe_g=safe * per_pull / kept,
        as_is_needed_g=oven_dry / (1 - Fraction(moisture)),
    )


def _on_hand(as_is_mass: Quantity, moisture: Decimal) -> tuple[Fraction, Fraction]:
    """Return the as-is and the oven-dry mass in exact grams."""
    as_is = Fraction(as_is_mass.to("g").magnitude)
    if as_is < 0:
        raise RangeError(f"The as-is mass must be 0 or more, got {as_is_mass}.", value=as_is_mass)
    return as_is, as_is * (1 - checked_share("Moisture", moisture, one=False))


def _plain(result: object, keys: str) -> dict[str, int | float | bool]:
    figures = {key: getattr(result, key) for key in keys.split()}
    return {
        key: float(round(figure, JSON_PLACES)) if isinstance(figure, Fraction) else figure
        for key, figure in figures.items()
    }
