"""What a page says of its own figures: the formula, the figures that went in, and the source.

A page returns these from ``explain``; the frame of every page shows them under one heading, so
that a reader finds the working of any figure in the same place. The sentences of a subject live
beside it (``fibres/explained``, ``orders/explained``), because several pages show the same sum.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from studio.money import by_mass, show_money
from studio.units import System, show_mass
from studio.working import Line

COMMON = "Common practice, no source."
OURS = "Our own way of counting."
DEFINITION = "Definition."


def set_on(page: str) -> str:
    """Return the source of a figure that the owner gave."""
    return f"The owner’s figure, set on {page}."


@dataclass(frozen=True, slots=True)
class Explained:
    """One figure of a page, taken apart.

    ``formula`` is in the words that the page uses, ``lines`` are the figures of this very page
    that went in and what came out, ``source`` names a standard, a handbook, common practice or
    the owner who gave the figure.
    """

    title: str
    formula: str
    source: str
    lines: tuple[Line, ...] = ()


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads a page: in which units and currency, and whether money may be seen."""

    system: System = "metric"
    currency: str = "GBP"
    sees_money: bool = False

    @property
    def unit(self) -> str:
        """The unit that a price by mass is for."""
        return "lb" if self.system == "US" else "kg"

    def mass(self, mass_mg: int) -> str:
        """Word a mass."""
        return show_mass(mass_mg, system=self.system)

    def change(self, mass_mg: int) -> str:
        """Word a difference of masses with its sign."""
        return f"{'+' if mass_mg > 0 else ''}{self.mass(mass_mg)}"

    def money(self, minor: int | Decimal) -> str:
        """Word an amount."""
        return show_money(minor, self.currency)

    def price(self, minor_per_kg: int | Decimal | Fraction) -> str:
        """Word a price by mass: "£9.40 a kg"."""
        if isinstance(minor_per_kg, Fraction):
            minor_per_kg = Decimal(minor_per_kg.numerator) / minor_per_kg.denominator
        minor, unit = by_mass(minor_per_kg, self.system)
        # The amount and what it is for stay on one line.
        return f"{self.money(minor)}\u00a0a\u00a0{unit}"


def first_of(table: Any) -> Any:
    """Return the first row that a table shows, as it was read for it; None where it has none."""
    row = None if table is None else next(iter(table.paginated_rows), None)
    return None if row is None else row.record


def rows_of(table: Any) -> list[Any]:
    """Return the rows that a table shows, as they were read for it."""
    return [] if table is None else [row.record for row in table.paginated_rows]


def as_sent(shown: Mapping[str, Any]) -> tuple[Line, ...]:
    """Return subtotals and answers of what a form came to when its page was made, if it did."""
    result = shown.get("result")
    lines: Iterable[Line] = result.get("lines", ()) if isinstance(result, Mapping) else ()
    return tuple(line for line in lines if line.kind)
