"""Water in fibre: oven-dry, as-is, air-dry and usable mass.

Moisture is a share of the as-is mass (wet basis) everywhere; the dry basis, which the
textile trade calls regain, is converted here and nowhere else.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

from fibres.calc import _checks as check
from studio.errors import RangeError
from studio.units import Q, Quantity, plain, takes

AIR_DRYNESS = Decimal("0.90")


@takes(as_is_mass="[mass]")
def oven_dry_mass(as_is_mass: Quantity, *, moisture: Decimal) -> Quantity:
    """Return the oven-dry mass of a lot.

    Parameters
    ----------
    as_is_mass : Quantity [mass]
        Mass as weighed, water included.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.

    Returns
    -------
    Quantity [mass]
        In the unit of ``as_is_mass``.

    Raises
    ------
    RangeError
        If ``moisture`` is outside 0 to 1 (8 for 8 % is outside) or the mass is negative.

    Notes
    -----
    What evaporates at 105 °C counts as water. Source: [ISO287], wording from memory.

    Examples
    --------
    >>> oven_dry_mass(Q(10, "kg"), moisture=Decimal("0.08"))
    <Quantity(9.20, 'kilogram')>
    """
    as_is = check.mass_not_negative("The as-is mass", as_is_mass)
    return Q(as_is * (1 - check.share_below_one("Moisture", moisture)), as_is_mass.units)


@takes(oven_dry_mass="[mass]")
def as_is_mass(oven_dry_mass: Quantity, *, moisture: Decimal) -> Quantity:
    """Return the as-is mass that holds a given oven-dry mass.

    Parameters
    ----------
    oven_dry_mass : Quantity [mass]
        Mass without water.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.

    Returns
    -------
    Quantity [mass]
        In the unit of ``oven_dry_mass``.

    Raises
    ------
    RangeError
        If ``moisture`` is outside 0 to 1 or the mass is negative.

    Notes
    -----
    Undoes :func:`oven_dry_mass`. Source: [ISO287], definition.

    Examples
    --------
    >>> as_is_mass(Q("9.2", "kg"), moisture=Decimal("0.08"))
    <Quantity(10, 'kilogram')>
    """
    oven_dry = check.mass_not_negative("The oven-dry mass", oven_dry_mass)
    return Q(oven_dry / (1 - check.share_below_one("Moisture", moisture)), oven_dry_mass.units)


def wet_basis(regain: Decimal) -> Decimal:
    """Return the wet-basis moisture of a regain, which is on the dry basis.

    Parameters
    ----------
    regain : Decimal [-]
        Water as a share of the oven-dry mass, 0 or more; drained pulp is well above 1.

    Returns
    -------
    Decimal [-]
        Water as a share of the as-is mass.

    Raises
    ------
    RangeError
        If ``regain`` is negative, not finite, or a float.

    Notes
    -----
    ``w = R / (1 + R)``. Source: [REGAIN], conversion of bases.

    Examples
    --------
    >>> wet_basis(Decimal("0.25"))
    Decimal('0.2')
    """
    water = check.not_negative("Regain", regain, "kg/kg")
    return plain(water / (1 + water))


def regain(moisture: Decimal) -> Decimal:
    """Return the regain, on the dry basis, of a wet-basis moisture.

    Parameters
    ----------
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.

    Returns
    -------
    Decimal [-]
        Water as a share of the oven-dry mass.

    Raises
    ------
    RangeError
        If ``moisture`` is outside 0 to 1.

    Notes
    -----
    ``R = w / (1 - w)``. Source: [REGAIN], conversion of bases.

    Examples
    --------
    >>> regain(Decimal("0.2"))
    Decimal('0.25')
    """
    water = check.share_below_one("Moisture", moisture)
    return plain(water / (1 - water))


@takes(wet_mass="[mass]", dry_mass="[mass]", tare_mass="[mass]")
def moisture_from_sample(
    wet_mass: Quantity, *, dry_mass: Quantity, tare_mass: Quantity | None = None
) -> Decimal:
    """Return the moisture of a lot from a sample weighed before and after drying.

    Parameters
    ----------
    wet_mass : Quantity [mass]
        Sample and dish before drying.
    dry_mass : Quantity [mass]
        Sample and dish after drying at 105 °C to constant mass.
    tare_mass : Quantity [mass], optional
        The empty dish; without it the other two are the sample alone.

    Returns
    -------
    Decimal [-]
        Water as a share of the sample as it was (wet basis).

    Raises
    ------
    RangeError
        If the dry mass exceeds the wet one, or the tare is negative or not below the dry mass.

    Notes
    -----
    A sample cooled uncovered reads low. Source: [ISO287], definition, wording from memory.

    Examples
    --------
    >>> moisture_from_sample(Q(60, "g"), dry_mass=Q(56, "g"), tare_mass=Q(10, "g"))
    Decimal('0.08')
    """
    wet = wet_mass.to("g").magnitude
    dry = dry_mass.to("g").magnitude
    tare = Decimal(0) if tare_mass is None else tare_mass.to("g").magnitude
    if dry > wet:
        raise RangeError(
            f"The dry sample must not weigh more than the wet one, got {dry} g dry and {wet} g "
            "wet. Check which is which.",
            value=dry_mass,
        )
    if not 0 <= tare < dry:
        raise RangeError(
            f"The tare must be from 0 g up to the dry mass of {dry} g, got {tare} g. Weigh the "
            "empty dish again.",
            value=tare_mass,
        )
    return (wet - dry) / (wet - tare)


@takes(oven_dry_mass="[mass]")
def saleable_mass(oven_dry_mass: Quantity, *, dryness: Decimal = AIR_DRYNESS) -> Quantity:
    """Return the air-dry mass that market pulp is invoiced by.

    Parameters
    ----------
    oven_dry_mass : Quantity [mass]
        Mass without water.
    dryness : Decimal [-], optional
        Oven-dry share that the trade calls air-dry, above 0 up to 1.

    Returns
    -------
    Quantity [mass]
        In the unit of ``oven_dry_mass``; for a dry lot more than was weighed.

    Raises
    ------
    RangeError
        If a value is outside its limits.

    Notes
    -----
    A convention of invoicing, not what fibre holds in a room. Source: [ISO801], from memory.

    Examples
    --------
    >>> saleable_mass(Q(900, "kg"))
    <Quantity(1000, 'kilogram')>
    """
    oven_dry = check.mass_not_negative("The oven-dry mass", oven_dry_mass)
    return Q(oven_dry / check.share_above_zero("Dryness", dryness), oven_dry_mass.units)


@takes(oven_dry_mass="[mass]")
def usable_mass(oven_dry_mass: Quantity, *, preparation_yield: Decimal) -> Quantity:
    """Return the oven-dry fibre left after preparation.

    Parameters
    ----------
    oven_dry_mass : Quantity [mass]
        Mass of the lot without water.
    preparation_yield : Decimal [-]
        Share left after sorting, cooking, washing and picking, above 0 up to 1.

    Returns
    -------
    Quantity [mass]
        Oven-dry, in the unit of ``oven_dry_mass``.

    Raises
    ------
    RangeError
        If ``preparation_yield`` is not above 0 and up to 1, or the mass is negative.

    Notes
    -----
    Losses at the vat are not in it. Source: definition.

    Examples
    --------
    >>> usable_mass(Q(10, "kg"), preparation_yield=Decimal("0.8"))
    <Quantity(8.0, 'kilogram')>
    """
    oven_dry = check.mass_not_negative("The oven-dry mass", oven_dry_mass)
    share = check.share_above_zero("Preparation yield", preparation_yield)
    return Q(oven_dry * share, oven_dry_mass.units)


def oven_dry_mg(as_is_mg: int, moisture: Decimal) -> int:
    """Return stored oven-dry milligrams, rounded half-even once.

    Parameters
    ----------
    as_is_mg : int [mg]
        Mass as weighed, water included.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.

    Returns
    -------
    int [mg]
        Mass without water.

    Raises
    ------
    RangeError
        If ``moisture`` is outside 0 to 1, or the mass is negative or not whole.

    Notes
    -----
    The integer twin of :func:`oven_dry_mass`. Source: [ISO287], definition.

    Examples
    --------
    >>> oven_dry_mg(10_000_000, Decimal("0.08"))
    9200000
    """
    dry_share = 1 - Fraction(check.share_below_one("Moisture", moisture))
    return round(check.whole_mg("The as-is mass", as_is_mg) * dry_share)


def as_is_mg(oven_dry_mg: int, moisture: Decimal) -> int:
    """Return the as-is milligrams to weigh out, rounded half-even once.

    Parameters
    ----------
    oven_dry_mg : int [mg]
        Mass without water.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.

    Returns
    -------
    int [mg]
        Mass with its water.

    Raises
    ------
    RangeError
        If ``moisture`` is outside 0 to 1, or the mass is negative or not whole.

    Notes
    -----
    The integer twin of :func:`as_is_mass`. Source: [ISO287], definition.

    Examples
    --------
    >>> as_is_mg(9_200_000, Decimal("0.08"))
    10000000
    """
    dry_share = 1 - Fraction(check.share_below_one("Moisture", moisture))
    return round(check.whole_mg("The oven-dry mass", oven_dry_mg) / dry_share)


def usable_mg(oven_dry_mg: int, preparation_yield: Decimal) -> int:
    """Return the usable milligrams of a lot, rounded down.

    Parameters
    ----------
    oven_dry_mg : int [mg]
        Mass of the lot without water.
    preparation_yield : Decimal [-]
        Share left after preparation, above 0 up to 1.

    Returns
    -------
    int [mg]
        Oven-dry fibre ready for the vat.

    Raises
    ------
    RangeError
        If a value is outside its limits or the mass is not whole.

    Notes
    -----
    The integer twin of :func:`usable_mass`. Source: definition.

    Examples
    --------
    >>> usable_mg(999, Decimal("0.5"))
    499
    """
    share = Fraction(check.share_above_zero("Preparation yield", preparation_yield))
    return math.floor(check.whole_mg("The oven-dry mass", oven_dry_mg) * share)


def oven_dry_mg_for(usable_mg: int, preparation_yield: Decimal) -> int:
    """Return the oven-dry milligrams to issue for a usable mass, rounded up: never too little.

    Parameters
    ----------
    usable_mg : int [mg]
        Oven-dry fibre wanted after preparation.
    preparation_yield : Decimal [-]
        Share left after preparation, above 0 up to 1.

    Returns
    -------
    int [mg]
        Oven-dry mass to take from the lot.

    Raises
    ------
    RangeError
        If a value is outside its limits or the mass is not whole.

    Notes
    -----
    :func:`usable_mg` of the answer is never less than what was wanted. Source: definition.

    Examples
    --------
    >>> oven_dry_mg_for(499, Decimal("0.8"))
    624
    """
    share = Fraction(check.share_above_zero("Preparation yield", preparation_yield))
    return math.ceil(check.whole_mg("The usable mass", usable_mg) / share)
