"""How thick stuff is: by volume, by mass, in kitchen measures; and what thins it to a vat."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from fibres.calc.scrap import from_sheets
from orders.calc._consistency import (
    as_decimal,
    grams_of,
    grams_per_litre,
    litres_of,
    millimetres_of,
    quantity,
)
from orders.calc._shared import checked_share
from orders.calc.vatrows import MakeUp
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Q, Quantity

# Water at 20 °C, kg to the litre: from memory.
WATER_KG_PER_L = Fraction(998, 1000)
# 20 lb bond, the letter paper of an office, and its usual moisture.
LETTER = Size(215_900, 279_400)
LETTER_GRAMMAGE = Q("75.19", "g/m2")
LETTER_MOISTURE = Decimal("0.06")
CUPS = Q(4, "cup")


@dataclass(frozen=True, slots=True)
class Suspension:
    """Fibre in water: how much of each, and how thick that is by volume and by mass."""

    oven_dry_g: Decimal
    as_is_g: Decimal
    water_l: Decimal
    g_per_l: Decimal
    share: Decimal


def consistency_of(oven_dry: Quantity, volume: Quantity) -> Quantity:
    """Return the consistency of fibre in a volume of suspension.

    Parameters
    ----------
    oven_dry : Quantity [mass]
        Oven-dry fibre, 0 or more.
    volume : Quantity [volume]
        Of the suspension, more than 0.

    Returns
    -------
    Quantity [mass/volume]
        In g/L.

    Raises
    ------
    RangeError
        If one of them is outside its limits.

    Notes
    -----
    Definition; tested with [ISO5263] and [BEATER].

    Examples
    --------
    >>> consistency_of(Q(30, "g"), Q(2, "L"))
    <Quantity(15, 'gram / litre')>
    """
    grams = grams_of("The fibre", oven_dry, zero=True)
    return quantity(grams / litres_of("The volume", volume), "g/L")


def from_share(share: Decimal) -> Quantity:
    """Return a consistency given in percent as grams to the litre.

    Parameters
    ----------
    share : Decimal [-]
        Oven-dry fibre as a share of the suspension, more than 0 and less than 1.

    Returns
    -------
    Quantity [mass/volume]
        In g/L.

    Raises
    ------
    RangeError
        If the share is outside its limits.

    Notes
    -----
    A litre of suspension is taken to weigh 1 kg, which is right to about 1 % below 5 %.
    Definition.

    Examples
    --------
    >>> from_share(Decimal("0.02"))
    <Quantity(20, 'gram / litre')>
    """
    return quantity(checked_share("The consistency", share, zero=False, one=False) * 1000, "g/L")


def as_share(consistency: Quantity) -> Decimal:
    """Return a consistency in grams to the litre as a share of the suspension.

    Parameters
    ----------
    consistency : Quantity [mass/volume]
        0 or more.

    Returns
    -------
    Decimal [-]
        Share of the mass.

    Raises
    ------
    RangeError
        If the consistency is below 0.

    Notes
    -----
    A litre of suspension is taken to weigh 1 kg, as in :func:`from_share`. Definition.

    Examples
    --------
    >>> as_share(Q(5, "g/L"))
    Decimal('0.005')
    """
    return as_decimal(grams_per_litre("The consistency", consistency, zero=True) / 1000)


def suspension(as_is: Quantity, *, moisture: Decimal, water: Quantity) -> Suspension:
    """Return what scrap or fibre stirred into water comes to.

    Parameters
    ----------
    as_is : Quantity [mass]
        Scrap or fibre as weighed, more than 0.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), at least 0 and less than 1.
    water : Quantity [volume]
        Water it is stirred into, more than 0.

    Returns
    -------
    Suspension [g/L]
        ``g_per_l`` on the water poured in, ``share`` of the mass of both.

    Raises
    ------
    RangeError
        If something is outside its limits.

    Notes
    -----
    share = oven-dry / (as-is + water at 0.998 kg/L). Tested with [T227] and, for one letter
    sheet of scrap to four cups, [PRACTICE].

    Examples
    --------
    >>> stirred = suspension(Q("4.536", "g"), moisture=Decimal("0.05"), water=Q(4, "cup"))
    >>> round(stirred.share, 4), round(stirred.g_per_l, 2)
    (Decimal('0.0045'), Decimal('4.55'))
    """
    grams = grams_of("The mass as weighed", as_is)
    dry = grams * (1 - checked_share("Moisture", moisture, one=False))
    litres = litres_of("The water", water)
    return Suspension(
        oven_dry_g=as_decimal(dry),
        as_is_g=as_decimal(grams),
        water_l=as_decimal(litres),
        g_per_l=as_decimal(dry / litres),
        share=as_decimal(dry / (grams + litres * WATER_KG_PER_L * 1000)),
    )


def letter_sheets_per_four_cups(consistency: Quantity) -> Decimal:
    """Return a consistency in the kitchen's measure.

    Parameters
    ----------
    consistency : Quantity [mass/volume]
        0 or more.

    Returns
    -------
    Decimal [sheets]
        Letter sheets of 20 lb bond scrap at 6 % moisture to four US cups of water.

    Raises
    ------
    RangeError
        If the consistency is below 0.

    Notes
    -----
    One sheet to four cups is common practice, no source [PRACTICE]; a sheet weighs 4.5 g
    [LETTER_ARTICLE].

    Examples
    --------
    >>> round(letter_sheets_per_four_cups(Q("4.505", "g/L")), 2)
    Decimal('1.00')
    """
    strength = grams_per_litre("The consistency", consistency, zero=True)
    as_is = Fraction(from_sheets(1, size=LETTER, grammage=LETTER_GRAMMAGE).as_is_mg, 1000)
    dry = as_is * (1 - Fraction(LETTER_MOISTURE))
    return as_decimal(strength * litres_of("Four cups", CUPS) / dry)


def make_up(volume: Quantity, *, consistency: Quantity, thick: Quantity) -> MakeUp:
    """Return the thick stuff and the water that make a volume at a consistency.

    Parameters
    ----------
    volume : Quantity [volume]
        Suspension wanted, more than 0.
    consistency : Quantity [mass/volume]
        Wanted, more than 0.
    thick : Quantity [mass/volume]
        Of the stuff at hand, at least that wanted.

    Returns
    -------
    MakeUp [L]
        Both, and the fibre in it.

    Raises
    ------
    RangeError
        If the stuff at hand is thinner than what is wanted, or something is not more than 0.

    Notes
    -----
    thick litres = volume × consistency / thick. Definition; mass balance as in [DERIVED].

    Examples
    --------
    >>> made = make_up(Q(60, "L"), consistency=Q(5, "g/L"), thick=Q("15.7", "g/L"))
    >>> round(made.thick_l, 3), round(made.water_l, 3)
    (Decimal('19.108'), Decimal('40.892'))
    """
    litres = litres_of("The volume", volume)
    wanted = grams_per_litre("The consistency", consistency)
    strength = grams_per_litre("The stuff at hand", thick)
    if strength < wanted:
        raise RangeError(
            "The stuff at hand is thinner than what is wanted. Make it up thicker.",
            field="thick",
            value=thick,
        )
    fibre = litres * wanted
    return MakeUp(
        as_decimal(fibre / strength), as_decimal(litres - fibre / strength), as_decimal(fibre)
    )


def volume_of(plan: Size, depth: Quantity) -> Quantity:
    """Return what a vat of straight sides holds.

    Parameters
    ----------
    plan : Size [µm]
        Inside, across and along.
    depth : Quantity [length]
        Working depth, more than 0.

    Returns
    -------
    Quantity [volume]
        In litres.

    Raises
    ------
    RangeError
        If the depth is not more than 0.

    Notes
    -----
    Area × depth. Definition.

    Examples
    --------
    >>> volume_of(Size(600_000, 500_000), Q(200, "mm"))
    <Quantity(60, 'litre')>
    """
    depth_mm = millimetres_of("The depth", depth)
    return quantity(Fraction(plan.area_um2, 10**12) * depth_mm, "L")


def plan_area(volume: Quantity, depth: Quantity) -> Quantity:
    """Return the area of a vat that holds a volume at a depth.

    Parameters
    ----------
    volume : Quantity [volume]
        More than 0.
    depth : Quantity [length]
        More than 0.

    Returns
    -------
    Quantity [area]
        In m².

    Raises
    ------
    RangeError
        If one of them is not more than 0.

    Notes
    -----
    Volume / depth. Five loads of four US cups about two inches deep imply 144.4 in²: common
    practice, no source [PRACTICE].

    Examples
    --------
    >>> round(plan_area(Q(20, "cup"), Q(2, "in")).to("in ** 2"), 1)
    <Quantity(144.4, 'inch ** 2')>
    """
    litres = litres_of("The volume", volume)
    return quantity(litres / millimetres_of("The depth", depth), "m2")
