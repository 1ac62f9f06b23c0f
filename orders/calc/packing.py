"""What a parcel of sheets comes to: its grammage as weighed, its mass, and the price of retree."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from orders.calc.costing import Cost, price_from_cost
from studio.errors import RangeError
from studio.money import whole_minor
from studio.sizes import Size
from studio.units import System, show_grammage, show_mass, show_number, show_share
from studio.working import Line

MG_PER_G = 1000


def grammage_of(conditioned_mg: int, size: Size) -> Fraction:
    """Return the grammage of a sheet from its mass and its size, in g/m².

    Parameters
    ----------
    conditioned_mg : int [mg]
        One sheet, weighed with the moisture it holds in a room of usual air.
    size : Size
        Of the sheet, dry.

    Returns
    -------
    Fraction [g/m²]
        Mass over area, exact.

    Raises
    ------
    RangeError
        If the sheet weighs nothing.

    Notes
    -----
    As conditioned, its water included [ISO536].

    Examples
    --------
    >>> float(round(grammage_of(7_484, Size(210_000, 297_000)), 2))
    119.99
    """
    if conditioned_mg <= 0:
        raise RangeError(
            f"A sheet weighs something; got {conditioned_mg} mg.",
            field="sheet",
            value=conditioned_mg,
        )
    return Fraction(conditioned_mg * 10**12, size.area_um2 * MG_PER_G)


@dataclass(frozen=True, slots=True)
class Parcel:
    """Sheets of one kind that leave together, and what the scales said of them."""

    sheets: int
    size: Size
    # As it was ordered, conditioned.
    grammage: Decimal
    conditioned_mg: int | None = None
    parcel_mg: int | None = None

    @property
    def measured(self) -> Fraction | None:
        """Grammage of the sheet that was weighed, in g/m²."""
        return None if self.conditioned_mg is None else grammage_of(self.conditioned_mg, self.size)

    @property
    def off_by(self) -> Fraction | None:
        """How far the sheet weighed is from what was ordered, as a share of that."""
        measured = self.measured
        return None if measured is None else measured / Fraction(self.grammage) - 1

    @property
    def sheet_mg(self) -> Fraction:
        """Mass of one sheet: as weighed, else as it was ordered."""
        if self.conditioned_mg is not None:
            return Fraction(self.conditioned_mg)
        return Fraction(self.grammage) * self.size.area_um2 * MG_PER_G / 10**12

    @property
    def expected_mg(self) -> int:
        """What all sheets weigh without wrapping, rounded half-even."""
        return round(self.sheet_mg * self.sheets)

    @property
    def wrapping_mg(self) -> int | None:
        """What is left of the parcel for boards and wrapping; below 0 sheets are missing."""
        return None if self.parcel_mg is None else self.parcel_mg - self.expected_mg

    @property
    def missing_sheets(self) -> int:
        """How many sheets the parcel is too light for, at the least."""
        wrapping = self.wrapping_mg
        if wrapping is None or wrapping >= 0:
            return 0
        return -(wrapping // self.sheet_mg)

    def is_too_light(self, tolerance: Decimal) -> bool:
        """Tell whether the sheet falls short of its grammage by more than the studio allows."""
        off = self.off_by
        return off is not None and off < -Fraction(tolerance)

    def lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Set out grammage and mass line by line, for the studio."""
        return (*self._grammage_lines(system), *self._mass_lines(system))

    def told_lines(self, system: System = "metric") -> tuple[Line, ...]:
        """Set out what the client is told: a parcel lighter than its sheets is the studio's doubt.

        What the scales said is then left out; the mass of the sheets stands.
        """
        mass = self._mass_lines(system)
        return (*self._grammage_lines(system), *(mass[:1] if self.missing_sheets else mass))

    def _grammage_lines(self, system: System) -> list[Line]:
        ordered = Line("Grammage ordered", show_grammage(self.grammage), "conditioned")
        measured, off = self.measured, self.off_by
        if measured is None or off is None:
            return [ordered]
        one = _one_sheet(self.conditioned_mg or 0, system)
        # Two decimals are more than a kitchen balance gives; the line shows one.
        figure = Decimal(round(measured * 100)).scaleb(-2)
        far, none = show_share(abs(off)), show_share(0)
        than = f", {far} {'below' if off < 0 else 'above'}" if far != none else ""
        because = f"one sheet weighs {one}{than}"
        return [ordered, Line("Grammage measured", show_grammage(figure), because)]

    def _mass_lines(self, system: System) -> list[Line]:
        known = "as weighed" if self.conditioned_mg is not None else "by the grammage ordered"
        each = f"{show_number(self.sheets)} of {_one_sheet(round(self.sheet_mg), system)}"
        lines = [
            Line("Sheets weigh", show_mass(self.expected_mg, system=system), f"{each}, {known}")
        ]
        wrapping = self.wrapping_mg
        if self.parcel_mg is None or wrapping is None:
            return lines
        parcel = Line("Parcel weighs", show_mass(self.parcel_mg, system=system), kind="line")
        left = show_mass(abs(wrapping), system=system)
        rest = "Boards and wrapping" if wrapping >= 0 else "Lighter than its sheets by"
        return [*lines, parcel, Line(rest, left, "parcel less sheets", "answer")]


def _one_sheet(mass_mg: int, system: System) -> str:
    """Word what one sheet weighs, fine enough for the sum to be done again."""
    return show_mass(mass_mg, unit="oz" if system == "US" else "g", places=2)


def retree_price_minor(cost: Cost, share: Decimal) -> int:
    """Return the price of a retree sheet: a share of the price of a good one, rounded once.

    Parameters
    ----------
    cost : Cost
        What a good sheet costs, and how its price is made of that.
    share : Decimal [-]
        Price of retree as a share of the price of good sheets, from 0 to 1.

    Returns
    -------
    int [minor units]
        For one sheet.

    Raises
    ------
    RangeError
        If the price cannot be made, such as a margin of the whole price.

    Notes
    -----
    The share is taken of the price before it is rounded, so that two roundings do not add up.
    An old custom of the trade took a tenth off (common practice, no source). Definition.

    Examples
    --------
    >>> from orders.calc.costing import price_from_cost, whole_minor
    >>> good = price_from_cost(Decimal(700), by="margin", rate=Decimal("0.3"))
    >>> whole_minor(good * Decimal("0.9"))
    900
    """
    price = price_from_cost(cost.total_minor_per_sheet, by=cost.price_by, rate=cost.price_rate)
    return whole_minor(price * share)
