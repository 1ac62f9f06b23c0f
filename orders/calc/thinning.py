"""How a vat thins as sheets are pulled, and what tops it up again."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from orders.calc._charging import too_many
from orders.calc._consistency import as_decimal, grams_of, grams_per_litre, litres_of, quantity
from orders.calc._shared import checked_share
from orders.calc._thinning import Draining
from orders.calc.vatrows import TopUp
from studio.errors import RangeError
from studio.units import Q, Quantity, show_number

NOTHING = Q(0, "L")


def draining(volume: Quantity, *, taken: Quantity, carry: Quantity = NOTHING) -> Draining:
    """Return a vat as the formulas of thinning take it.

    Parameters
    ----------
    volume : Quantity [volume]
        Suspension in the vat before the first pull, more than 0.
    taken : Quantity [volume]
        Suspension whose fibre one pull takes out of the vat, more than 0.
    carry : Quantity [volume], optional
        Water that one pull carries away in the couched sheet, 0 or more.

    Returns
    -------
    Draining [L]
        Exact litres.

    Raises
    ------
    RangeError
        If a volume is outside its limits, or one pull would take as much as the vat holds.

    Notes
    -----
    What drains through the mould falls back into the vat. Definition.

    Examples
    --------
    >>> draining(Q(60, "L"), taken=Q("1.2", "L")).most is None
    True
    """
    vat = Draining(
        litres_of("The volume of the vat", volume),
        litres_of("What one pull takes", taken),
        litres_of("What one pull carries away", carry, zero=True),
    )
    if vat.most == 0:
        raise RangeError(
            f"One pull takes the fibre of {show_number(vat.taken, places=2)} L and the vat holds "
            f"{show_number(vat.volume, places=2)} L. Take a larger vat or a smaller mould.",
            field="volume",
            value=volume,
        )
    return vat


def fibre_left(
    fibre: Quantity, *, volume: Quantity, taken: Quantity, carry: Quantity = NOTHING, pulls: int
) -> Quantity:
    """Return the fibre left in a vat after pulls without a top-up.

    Parameters
    ----------
    fibre : Quantity [mass]
        Oven-dry fibre in the vat before the first pull.
    volume : Quantity [volume]
        Suspension in the vat before the first pull.
    taken : Quantity [volume]
        Suspension whose fibre one pull takes out of the vat.
    carry : Quantity [volume], optional
        Water that one pull carries away.
    pulls : int [pulls]
        How many, 0 or more.

    Returns
    -------
    Quantity [mass]
        Oven-dry, in grams.

    Raises
    ------
    RangeError
        If a quantity is outside its limits, or so many pulls leave too little in the vat.

    Notes
    -----
    F × ∏ (1 − taken / (volume − i × carry)) for i = 0 … pulls − 1, and F × (1 − taken / volume)
    to the power of pulls where no water is carried away. Assumes a vat that is stirred before
    every pull. Definition.

    Examples
    --------
    >>> round(fibre_left(Q(300, "g"), volume=Q(60, "L"), taken=Q(2, "L"), pulls=10), 2)
    <Quantity(213.74, 'gram')>
    """
    vat = draining(volume, taken=taken, carry=carry)
    held = grams_of("The fibre", fibre)
    _refuse_beyond(vat, pulls)
    return quantity(held * Fraction(vat.fibre_share(pulls)), "g")


def pulls_until(
    drop: Decimal, *, volume: Quantity, taken: Quantity, carry: Quantity = NOTHING
) -> int | None:
    """Return after how many pulls a vat is thinned by no more than a share.

    Parameters
    ----------
    drop : Decimal [-]
        Share of the consistency that may be lost, more than 0 and less than 1.
    volume : Quantity [volume]
        Suspension in the vat before the first pull.
    taken : Quantity [volume]
        Suspension whose fibre one pull takes out of the vat.
    carry : Quantity [volume], optional
        Water that one pull carries away.

    Returns
    -------
    int or None [pulls]
        The next sheet still keeps within the share, for the first sheet sees the full charge:
        one sheet more than this number does. None where the vat doesn't thin, because a pull
        takes no more of the fibre than of the water.

    Raises
    ------
    RangeError
        If a quantity is outside its limits.

    Notes
    -----
    n* = (V / w) (1 − (1 − x)^(w / (k − w))), without carry ln(1 − x) / ln(1 − k / V), is only
    where the search begins; the whole number is decided by the exact product, so that a tie
    counts as within. Common practice gives 10, 5, 3 and 2 pulls for 1, 2, 3 and 5 % taken and
    10 % lost. [PRACTICE].

    Examples
    --------
    >>> pulls_until(Decimal("0.1"), volume=Q(100, "L"), taken=Q(2, "L"))
    5
    """
    share = checked_share("The drop", drop, zero=False, one=False)
    return draining(volume, taken=taken, carry=carry).until(share)


def top_up(
    fibre: Quantity, *, level: Quantity = NOTHING, thick: Quantity, after: int = 0
) -> TopUp:
    """Return the thick stuff that replaces fibre, and the water that keeps the level.

    Parameters
    ----------
    fibre : Quantity [mass]
        Oven-dry fibre that the vat lacks, 0 or more.
    level : Quantity [volume], optional
        Suspension that the vat lacks, 0 or more.
    thick : Quantity [mass/volume]
        Consistency of the stuff it is topped up with, more than 0.
    after : int [pulls], optional
        Pulls before it, to be named in a schedule.

    Returns
    -------
    TopUp [L]
        Scoop and clear water; water below 0 is what has to be drawn off.

    Raises
    ------
    RangeError
        If a quantity is outside its limits.

    Notes
    -----
    scoop = fibre / thick; water = level − scoop. Draw off through a sieve: fibre that is poured
    away with the water has to be replaced too. Definition.

    Examples
    --------
    >>> scoop = top_up(Q("7.33", "g"), level=Q("0.03", "L"), thick=Q(20, "g/L"))
    >>> scoop.thick_l, scoop.draw_off_l
    (Decimal('0.3665'), Decimal('0.3365'))
    """
    grams = grams_of("The fibre", fibre, zero=True)
    litres = grams / grams_per_litre("The stuff to top up with", thick)
    missing = litres_of("What the level has fallen by", level, zero=True)
    return TopUp(after, as_decimal(grams), as_decimal(litres), as_decimal(missing - litres))


def top_up_rising(
    fibre: Quantity, *, volume: Quantity, consistency: Quantity, thick: Quantity
) -> TopUp:
    """Return the thick stuff that restores the consistency where nothing is drawn off.

    Parameters
    ----------
    fibre : Quantity [mass]
        Oven-dry fibre in the vat now, 0 or more.
    volume : Quantity [volume]
        Suspension in the vat now, more than 0.
    consistency : Quantity [mass/volume]
        Consistency wanted.
    thick : Quantity [mass/volume]
        Consistency of the stuff it is topped up with, more than that wanted.

    Returns
    -------
    TopUp [L]
        The scoop, and no water: the level rises by the scoop.

    Raises
    ------
    RangeError
        If the stuff is no thicker than the vat is to be, or the vat is thick enough already.

    Notes
    -----
    (consistency × volume − fibre) / (thick − consistency). Definition.

    Examples
    --------
    >>> top_up_rising(Q(290, "g"), volume=Q(60, "L"), consistency=Q(5, "g/L"),
    ...     thick=Q(25, "g/L")).thick_l
    Decimal('0.5')
    """
    held = grams_of("The fibre", fibre, zero=True)
    litres = litres_of("The volume of the vat", volume)
    wanted = grams_per_litre("The consistency", consistency)
    strength = grams_per_litre("The stuff to top up with", thick)
    if strength <= wanted:
        raise RangeError(
            "The stuff to top up with must be thicker than the vat, or it can't restore it.",
            field="thick",
            value=thick,
        )
    short = wanted * litres - held
    if short < 0:
        raise RangeError(
            "The vat is thick enough already. Add water, not stuff.", field="fibre", value=fibre
        )
    scoop = short / (strength - wanted)
    return TopUp(0, as_decimal(scoop * strength), as_decimal(scoop), Decimal(0))


def _refuse_beyond(vat: Draining, pulls: int) -> None:
    """Refuse a number of pulls that is none, or that leaves too little in the vat."""
    if isinstance(pulls, bool) or not isinstance(pulls, int) or pulls < 0:
        raise RangeError(f"Pulls must be a whole number of 0 or more, got {pulls}.", value=pulls)
    if vat.most is not None and pulls > vat.most:
        raise RangeError(too_many(vat.most, pulls), field="pulls", value=pulls)
