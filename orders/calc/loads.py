"""How fibre is split into beater and blender loads, and the water in each."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from orders.calc._consistency import as_decimal, grams_per_litre, litres_of, quantity
from studio.errors import RangeError
from studio.units import Quantity, show_mass

__all__ = ["Loads", "blender_loads", "loads_for"]


@dataclass(frozen=True, slots=True)
class Loads:
    """Loads of one machine; all hold ``each_mg`` of oven-dry fibre but the last, ``last_mg``.

    ``left_over_mg`` is what the smallest sensible load makes beyond what is wanted.
    """

    oven_dry_mg: int
    count: int
    each_mg: int
    last_mg: int
    litres_each: Decimal
    litres_last: Decimal
    left_over_mg: int

    @property
    def loaded_mg(self) -> int:
        """Return the fibre in all loads: what is wanted, and what is left over."""
        return self.oven_dry_mg + self.left_over_mg

    @property
    def litres(self) -> Decimal:
        """Return the stuff of all loads."""
        return self.litres_each * max(self.count - 1, 0) + self.litres_last

    @property
    def consistency(self) -> Quantity | None:
        """Return the consistency of a load in g/L; None where there is no load."""
        if not self.count:
            return None
        return quantity(Fraction(self.each_mg, 1000) / Fraction(self.litres_each), "g/L")


def loads_for(oven_dry_mg: int, *, least_mg: int, most_mg: int, consistency: Quantity) -> Loads:
    """Return the beater loads that fibre makes.

    Parameters
    ----------
    oven_dry_mg : int [mg]
        Oven-dry fibre to beat, 0 or more.
    least_mg : int [mg]
        Smallest load that the beater works on, 0 up to ``most_mg``.
    most_mg : int [mg]
        Largest load it takes, more than 0.
    consistency : Quantity [mass/volume]
        Of the stuff in the beater, more than 0.

    Returns
    -------
    Loads [mg]
        As few as there can be, all alike but for whole milligrams; a load below the smallest
        one is made up to it, and what that makes too much is left over.

    Raises
    ------
    RangeError
        If a mass is not whole or the limits are the wrong way round.

    Notes
    -----
    Loads are rounded up; a sensible load is at least about half of what the beater takes.
    [PRACTICE].

    Examples
    --------
    >>> from studio.units import Q
    >>> loads = loads_for(447_368, least_mg=340_000, most_mg=900_000, consistency=Q(20, "g/L"))
    >>> loads.count, loads.each_mg, loads.litres_each
    (1, 447368, Decimal('22.3684'))
    >>> loads_for(147_368, least_mg=340_000, most_mg=900_000,
    ...     consistency=Q(20, "g/L")).left_over_mg
    192632
    """
    need, least, most = _masses(oven_dry_mg, least_mg, most_mg)
    strength = grams_per_litre("The consistency", consistency)
    count, each, last = _split(need, least, most)
    return Loads(
        oven_dry_mg=need,
        count=count,
        each_mg=each,
        last_mg=last,
        litres_each=as_decimal(each / strength / 1000),
        litres_last=as_decimal(last / strength / 1000),
        left_over_mg=max(count - 1, 0) * each + last - need,
    )


def blender_loads(oven_dry_mg: int, *, load_mg: int, water: Quantity) -> Loads:
    """Return the blender loads that fibre makes.

    Parameters
    ----------
    oven_dry_mg : int [mg]
        Oven-dry fibre to blend, 0 or more.
    load_mg : int [mg]
        Most that goes into the jar at a time, more than 0.
    water : Quantity [volume]
        Water to each load, however small; more than 0.

    Returns
    -------
    Loads [mg]
        As few as there can be, all alike but for whole milligrams; nothing is left over.

    Raises
    ------
    RangeError
        If a mass is not whole, or the load or the water is not more than 0.

    Notes
    -----
    Common practice, no source: one letter sheet of scrap to four US cups of water, and five
    such loads to a small vat. [PRACTICE].

    Examples
    --------
    >>> from studio.units import Q
    >>> loads = blender_loads(21_320, load_mg=4_264, water=Q(4, "cup"))
    >>> loads.count, round(loads.litres, 3)
    (5, Decimal('4.732'))
    """
    need, _, most = _masses(oven_dry_mg, 0, load_mg)
    litres = as_decimal(litres_of("The water of a load", water))
    count, each, last = _split(need, 0, most)
    return Loads(need, count, each, last, litres, litres if count else Decimal(0), 0)


def _split(need: int, least: int, most: int) -> tuple[int, int, int]:
    """Return how many loads, what each holds, and what the last one does."""
    count = -(-need // most)
    if not count:
        return 0, 0, 0
    each = max(-(-need // count), least)
    return count, each, max(need - (count - 1) * each, least)


def _masses(*masses_mg: int) -> tuple[int, int, int]:
    """Return what is wanted, the smallest load and the largest, or refuse them."""
    for mass in masses_mg:
        if isinstance(mass, bool) or not isinstance(mass, int) or mass < 0:
            raise RangeError(f"A load must be whole mg of 0 or more, got {mass}.", value=mass)
    need, least, most = masses_mg
    if not most:
        raise RangeError("The largest load must be more than 0 mg, got 0.", value=most)
    if least > most:
        raise RangeError(
            f"The smallest load, {show_mass(least)}, must not be above the largest, "
            f"{show_mass(most)}.",
            value=least,
        )
    return need, least, most
