"""The vat: its consistency, its charge, its top-ups and what is left in it.

1 mm over 1 m² is 1 L, so that stuff of C g/L drained to a depth of h mm leaves C × h g/m² on the
mould. Grammage here is oven-dry fibre to the square metre of the wet-formed sheet.
"""

from __future__ import annotations

import math
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from orders.calc._charging import charged
from orders.calc._consistency import (
    as_decimal,
    grammage_of,
    grams_of,
    grams_per_litre,
    litres_of,
    millimetres_of,
    quantity,
)
from orders.calc._shared import checked_share
from orders.calc.vatrows import Heel, MakeUp, PulledSheet, TopUp, VatCharge, VatPlan
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Q, Quantity

__all__ = [
    "Heel", "MakeUp", "PulledSheet", "TopUp", "VatCharge", "VatPlan",
    "carried", "charge", "consistency_for",
    "draw_for", "effective_draw", "heel", "wet_grammage",
]  # fmt: skip

ONE = Decimal(1)
NONE = Decimal(0)
NO_WATER = Q(0, "L")


def consistency_for(wet_grammage: Quantity, effective_draw: Quantity) -> Quantity:
    """Return the consistency of the vat that gives a grammage.

    Parameters
    ----------
    wet_grammage : Quantity [mass/area]
        Oven-dry fibre to the square metre of the wet-formed sheet, more than 0.
    effective_draw : Quantity [length]
        Depth of vat suspension whose fibre stays on the mould: retention × depth of the dip.

    Returns
    -------
    Quantity [mass/volume]
        In g/L.

    Raises
    ------
    RangeError
        If one of them is not more than 0.

    Notes
    -----
    C = W / (R h). The draw changes with fibre, beating, mould and person: weigh a trial sheet
    and take it from :func:`effective_draw`. Definition.

    Examples
    --------
    >>> round(consistency_for(Q(100, "g/m2"), Q("19.4", "mm")), 4)
    <Quantity(5.1546, 'gram / litre')>
    """
    grammage = grammage_of("The grammage", wet_grammage)
    return quantity(grammage / millimetres_of("The draw", effective_draw), "g/L")


def draw_for(wet_grammage: Quantity, consistency: Quantity) -> Quantity:
    """Return the effective draw that a grammage from a vat of a consistency implies.

    Parameters
    ----------
    wet_grammage : Quantity [mass/area]
        Oven-dry fibre to the square metre of the wet-formed sheet, more than 0.
    consistency : Quantity [mass/volume]
        Of the vat, more than 0.

    Returns
    -------
    Quantity [length]
        In mm.

    Raises
    ------
    RangeError
        If one of them is not more than 0.

    Notes
    -----
    R h = W / C; for a mould whose draw nobody has weighed yet. Definition.

    Examples
    --------
    >>> draw_for(Q(100, "g/m2"), Q(5, "g/L"))
    <Quantity(20, 'millimetre')>
    """
    grammage = grammage_of("The grammage", wet_grammage)
    return quantity(grammage / grams_per_litre("The consistency", consistency), "mm")


def effective_draw(fibre_mg: int, area: Size | Quantity, consistency: Quantity) -> Quantity:
    """Return the effective draw of a mould from a weighed trial sheet.

    Parameters
    ----------
    fibre_mg : int [mg]
        Oven-dry fibre in the sheet, more than 0.
    area : Size or Quantity [area]
        Opening of the mould inside the deckle, not the size of the dry sheet.
    consistency : Quantity [mass/volume]
        Of the vat when the sheet was pulled, more than 0.

    Returns
    -------
    Quantity [length]
        In mm.

    Raises
    ------
    RangeError
        If one of them is not more than 0.

    Notes
    -----
    R h = fibre / (area × consistency): retention and depth of the dip come as one number, for
    a weighed sheet can't tell them apart. Definition.

    Examples
    --------
    >>> round(effective_draw(6_237, Size(297_000, 210_000), Q("5.154639", "g/L")), 2)
    <Quantity(19.40, 'millimetre')>
    """
    if isinstance(fibre_mg, bool) or not isinstance(fibre_mg, int) or fibre_mg <= 0:
        raise RangeError(
            f"The fibre in the trial sheet must be whole mg, more than 0, got {fibre_mg}.",
            value=fibre_mg,
        )
    grammage = Fraction(fibre_mg, 1000) / _square_metres(area)
    return quantity(grammage / grams_per_litre("The consistency", consistency), "mm")


def wet_grammage(fibre_per_pull: Quantity, area: Size | Quantity) -> Quantity:
    """Return the grammage that one pull has while it is wet.

    Parameters
    ----------
    fibre_per_pull : Quantity [mass]
        Oven-dry fibre in one pull, more than 0.
    area : Size or Quantity [area]
        Opening of the mould inside the deckle.

    Returns
    -------
    Quantity [mass/area]
        Oven-dry fibre in g/m² of the wet-formed sheet.

    Raises
    ------
    RangeError
        If one of them is not more than 0.

    Notes
    -----
    Less than the grammage of the dry sheet wherever it shrinks, holds filler or is conditioned.
    Definition.

    Examples
    --------
    >>> round(wet_grammage(Q("32.820653", "g"), Size(330_000, 450_000)), 3)
    <Quantity(221.014, 'gram / square_metre')>
    """
    return quantity(
        grams_of("The fibre in one pull", fibre_per_pull) / _square_metres(area), "g/m2"
    )


def carried(fibre_per_pull: Quantity, *, couched_solids: Decimal) -> Quantity:
    """Return the water that one couched sheet carries out of the vat.

    Parameters
    ----------
    fibre_per_pull : Quantity [mass]
        Oven-dry fibre in one pull, more than 0.
    couched_solids : Decimal [-]
        Fibre as a share of the sheet as couched, more than 0 up to 1; 0.15 to 0.20 by hand.

    Returns
    -------
    Quantity [volume]
        In litres.

    Raises
    ------
    RangeError
        If one of them is outside its limits.

    Notes
    -----
    fibre × (1 − s) / s, at 1 kg of water to the litre. Definition; the solids are from memory.

    Examples
    --------
    >>> round(carried(Q("7.035", "g"), couched_solids=Decimal("0.175")), 3)
    <Quantity(0.033, 'litre')>
    """
    solids = checked_share("The solids of a couched sheet", couched_solids, zero=False)
    grams = grams_of("The fibre in one pull", fibre_per_pull)
    return quantity(grams * (1 - solids) / solids / 1000, "L")


def charge(
    volume: Quantity,
    *,
    mould: Size,
    draw: Quantity,
    wet_grammage: Quantity,
    retention: Decimal = ONE,
    carry: Quantity = NO_WATER,
    pulls: int,
    tolerance: Decimal,
    thick: Quantity | None = None,
    lost: Decimal = NONE,
) -> VatCharge:
    """Return the charge of a vat, how it thins, and what tops it up.

    Parameters
    ----------
    volume : Quantity [volume]
        Suspension in the vat at its working depth.
    mould : Size [µm]
        Opening inside the deckle.
    draw : Quantity [length]
        Depth of the dip; or the effective draw of a weighed sheet, with a retention of 1.
    wet_grammage : Quantity [mass/area]
        Oven-dry fibre to the square metre of the wet-formed sheet.
    retention : Decimal [-], optional
        Share of the fibre of the dip that stays on the mould; the rest falls back into the vat.
    carry : Quantity [volume], optional
        Water that one pull carries away, 0 or more.
    pulls : int [pulls]
        Sheets to form, 1 or more.
    tolerance : Decimal [-]
        How far a sheet may fall short of its grammage, more than 0 and less than 1.
    thick : Quantity [mass/volume], optional
        Consistency of the stuff it is topped up with; without it the vat is left to thin.
    lost : Decimal [-], optional
        Of the fibre that leaves the vat, the share that becomes no sheet: drips and press water.

    Returns
    -------
    VatCharge
        With its schedule of top-ups, its heel and its working.

    Raises
    ------
    RangeError
        If something is outside its limits, the stuff is no thicker than the vat, or a vat that
        is never topped up can't give so many pulls.

    Notes
    -----
    C = W / (R h); charge C V; one pull takes k = R h A / (1 − lost). The vat is topped up before
    its consistency falls short by more than the tolerance; the last top-up is cut to what the
    last sheet needs, and left out where that is nothing. Definition; the interval agrees with
    common practice [PRACTICE].

    Examples
    --------
    >>> vat = charge(Q(60, "L"), mould=Size(297_000, 210_000), draw=Q(20, "mm"),
    ...     wet_grammage=Q(100, "g/m2"), retention=Decimal("0.97"), carry=Q("0.1", "L"),
    ...     pulls=10, tolerance=Decimal("0.05"), thick=Q(40, "g/L"))
    >>> vat.pulls_within_tolerance, vat.recharge_every, round(vat.fibre_charge_g, 2)
    (3, 2, Fraction(7732, 25))
    """
    return charged(
        VatPlan(
            volume_l=litres_of("The volume of the vat", volume),
            mould=mould,
            draw_mm=millimetres_of("The draw", draw),
            wet_grammage_g_m2=grammage_of("The grammage", wet_grammage),
            retention=checked_share("Retention", retention, zero=False),
            lost=checked_share("The share lost", lost, one=False),
            carry_l=litres_of("What one pull carries away", carry, zero=True),
            pulls=pulls,
            tolerance=checked_share("The tolerance", tolerance, zero=False, one=False),
            thick_g_per_l=(
                None if thick is None else grams_per_litre("The stuff to top up with", thick)
            ),
        )
    )


def heel(
    volume_left: Quantity,
    consistency: Quantity,
    *,
    strained: Decimal = ONE,
    moisture: Decimal = Decimal("0.85"),
    keeps_days: int | None = None,
    on: date | None = None,
) -> Heel:
    """Return what is left in the vat, and the wet lot that a sieve makes of it.

    Parameters
    ----------
    volume_left : Quantity [volume]
        Suspension left, 0 or more.
    consistency : Quantity [mass/volume]
        Of what is left, 0 or more.
    strained : Decimal [-], optional
        Share of its fibre that the sieve keeps, from 0 to 1; 0.80 to 0.95 from memory.
    moisture : Decimal [-], optional
        Water in the drained lot (wet basis), at least 0 and less than 1.
    keeps_days : int [days], optional
        How long this fibre keeps while it is wet.
    on : date, optional
        The day it was strained, to reckon the last day to use it.

    Returns
    -------
    Heel [mg]
        Fibre kept is rounded down, its as-is mass half-even.

    Raises
    ------
    RangeError
        If something is outside its limits.

    Notes
    -----
    fibre = volume × consistency; as-is = kept / (1 − moisture). Definition; how long it keeps is
    the fibre's own figure.

    Examples
    --------
    >>> left = heel(Q(60, "L"), Q(5, "g/L"), strained=Decimal("0.9"), keeps_days=10,
    ...     on=date(2026, 6, 1))
    >>> left.kept_oven_dry_mg, left.as_is_mg, left.keep_until.isoformat()
    (270000, 1800000, '2026-06-11')
    """
    litres = litres_of("What is left in the vat", volume_left, zero=True)
    strength = grams_per_litre("The consistency", consistency, zero=True)
    kept_share = checked_share("The share that the sieve keeps", strained)
    dry_share = 1 - checked_share("Moisture", moisture, one=False)
    if keeps_days is not None and keeps_days < 0:
        raise RangeError(f"Days to keep must be 0 or more, got {keeps_days}.", value=keeps_days)
    fibre = litres * strength * 1000
    kept = math.floor(fibre * kept_share)
    return Heel(
        volume_l=as_decimal(litres),
        consistency_g_per_l=as_decimal(strength),
        oven_dry_mg=math.floor(fibre),
        kept_oven_dry_mg=kept,
        as_is_mg=round(kept / dry_share),
        keep_until=on + timedelta(days=keeps_days) if on and keeps_days is not None else None,
    )


def _square_metres(area: Size | Quantity) -> Fraction:
    if isinstance(area, Size):
        return Fraction(area.area_um2, 10**12)
    if not isinstance(area, Quantity) or not area.check("[area]") or area.magnitude <= 0:
        raise RangeError(f"The area must be a size or an area above 0, got {area}.", value=area)
    return Fraction(area.to("m2").magnitude)
