"""What fibre costs once its water and its losses are out of the price."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from fibres.calc._checks import not_negative, share_above_zero, share_below_one, whole_mg
from fibres.calc.moisture import AIR_DRYNESS
from studio.errors import RangeError
from studio.units import plain

PriceBasis = Literal["as-is", "air-dry", "oven-dry"]
BASES: tuple[PriceBasis, ...] = ("as-is", "air-dry", "oven-dry")
MG_PER_KG = 1_000_000


def price_per_oven_dry_kg(
    price: Decimal | int, *, basis: PriceBasis, moisture: Decimal
) -> Decimal:
    """Return what a kilogram of oven-dry fibre costs.

    Parameters
    ----------
    price : Decimal or int [minor/kg]
        As the source states it, in minor units of money for each kilogram of ``basis``.
    basis : str [-]
        What the price is per: "as-is" (as weighed), "air-dry" (invoiced mass, taken to hold
        10 % water) or "oven-dry".
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1; it bears on "as-is" only.

    Returns
    -------
    Decimal [minor/kg]
        Not rounded; money is rounded once, at the end.

    Raises
    ------
    RangeError
        If ``basis`` is another word, ``moisture`` is outside 0 to 1, or ``price`` is negative.

    Notes
    -----
    Without freight, which belongs to a whole purchase. Source: [ISO801], air-dry as 90 % dry,
    wording from memory.

    Examples
    --------
    >>> price_per_oven_dry_kg(990, basis="as-is", moisture=Decimal("0.12"))
    Decimal('1125')
    >>> price_per_oven_dry_kg(990, basis="air-dry", moisture=Decimal("0.12"))
    Decimal('1100')
    """
    amount = not_negative("The price", price, "per kg")
    water = share_below_one("Moisture", moisture)
    if basis == "as-is":
        return plain(amount / (1 - water))
    if basis == "air-dry":
        return plain(amount / AIR_DRYNESS)
    if basis == "oven-dry":
        return amount
    raise RangeError(
        f"A price must be per kg {', '.join(BASES[:-1])} or {BASES[-1]}, got {basis!r}.",
        value=basis,
    )


def price_per_usable_kg(
    price: Decimal | int, *, basis: PriceBasis, moisture: Decimal, preparation_yield: Decimal
) -> Decimal:
    """Return what a kilogram of fibre ready for the vat costs.

    Parameters
    ----------
    price : Decimal or int [minor/kg]
        As the source states it, in minor units of money for each kilogram of ``basis``.
    basis : str [-]
        What the price is per: "as-is", "air-dry" or "oven-dry".
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    preparation_yield : Decimal [-]
        Share of the oven-dry mass left after preparation, above 0 up to 1.

    Returns
    -------
    Decimal [minor/kg]
        Not rounded.

    Raises
    ------
    RangeError
        If a share is outside its limits, ``basis`` is another word, or ``price`` is negative.

    Notes
    -----
    Labour and chemicals of the preparation are not in it. Source: definition.

    Examples
    --------
    >>> price_per_usable_kg(
    ...     990, basis="oven-dry", moisture=Decimal("0"), preparation_yield=Decimal("0.5")
    ... )
    Decimal('1980')
    """
    dry = price_per_oven_dry_kg(price, basis=basis, moisture=moisture)
    return plain(dry / share_above_zero("Preparation yield", preparation_yield))


def cost_of(oven_dry_mg: int, minor_per_kg: Decimal | int) -> Decimal:
    """Return the cost of a mass of fibre.

    Parameters
    ----------
    oven_dry_mg : int [mg]
        Mass without water.
    minor_per_kg : Decimal or int [minor/kg]
        Price of an oven-dry kilogram in minor units of money.

    Returns
    -------
    Decimal [minor]
        Not rounded.

    Raises
    ------
    RangeError
        If the mass is negative or not whole, or the price is negative.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> cost_of(250_000, Decimal("1200"))
    Decimal('300')
    """
    rate = not_negative("The price", minor_per_kg, "per kg")
    return whole_mg("The oven-dry mass", oven_dry_mg) * rate / MG_PER_KG


def paid_per_kg(paid_minor: int | None, mass_mg: int) -> Decimal | None:
    """Return what a kilogram cost, from what was paid for all of it.

    Parameters
    ----------
    paid_minor : int or None [minor]
        Paid for the whole lot with its share of freight; None where no price is known.
    mass_mg : int [mg]
        Oven-dry or usable mass that came for it.

    Returns
    -------
    Decimal or None [minor/kg]
        Not rounded; None where the price is not known or nothing came.

    Raises
    ------
    RangeError
        If the price is negative, or the mass is negative or not whole.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> paid_per_kg(2500, 2_000_000)
    Decimal('1250')
    """
    mass = whole_mg("The mass", mass_mg)
    if paid_minor is None or not mass:
        return None
    return not_negative("The price", paid_minor, "") * MG_PER_KG / mass
