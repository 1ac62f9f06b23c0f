"""How far the figures of a lot may be off: from how its moisture is known and its mass was found.

A spread is a standard deviation as a share of the figure itself, so that spreads of different
lots can be set side by side.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from fibres.calc._checks import not_negative, share_above_zero, share_below_one
from studio.errors import RangeError

Known = Literal["weighed", "label", "assumed"]

# Standard deviation of a moisture, as a share of the as-is mass, by how it is known: common
# practice, no source; the three figures are from memory.
MOISTURE_SPREADS: dict[str, Decimal] = {
    "weighed": Decimal("0.005"),
    "label": Decimal("0.01"),
    "assumed": Decimal("0.02"),
}
# A band ("± 20 %") is read as two standard deviations either way: common practice, no source.
SPREADS_IN_A_BAND = 2
# Beyond this a figure says nothing any more.
MOST = Decimal(1)
PLACES = Decimal("0.000001")


def lot_spread(moisture: Decimal, *, known: Known, band: Decimal) -> Decimal:
    """Return how far the oven-dry mass of a lot may be off.

    Parameters
    ----------
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    known : str [-]
        How the moisture is known: "weighed", "label" or "assumed".
    band : Decimal [-]
        How far the as-is mass may be off either way, as a share of it; 0 for a weighed lot.

    Returns
    -------
    Decimal [-]
        Standard deviation over the oven-dry mass, to six places, 1 at most.

    Raises
    ------
    RangeError
        If ``known`` is another word, or a share is outside its limits.

    Notes
    -----
    Oven-dry is as-is × (1 − moisture): a moisture off by d shifts it by d / (1 − moisture).
    Half the band, which stands for two standard deviations, is added in quadrature, as for
    errors that have nothing to do with each other. Source: [PRACTICE], common practice, no
    source, for how far a moisture is off; the rest is definition.

    Examples
    --------
    >>> lot_spread(Decimal("0.20"), known="assumed", band=Decimal("0"))
    Decimal('0.025000')
    >>> lot_spread(Decimal("0.20"), known="assumed", band=Decimal("0.12"))
    Decimal('0.065000')
    """
    dry = 1 - share_below_one("Moisture", moisture)
    if known not in MOISTURE_SPREADS:
        words = ", ".join(MOISTURE_SPREADS)
        raise RangeError(f"Moisture must be known as one of {words}, got {known!r}.", value=known)
    water = MOISTURE_SPREADS[known] / dry
    mass = not_negative("The band", band, "") / SPREADS_IN_A_BAND
    return _six_places((water * water + mass * mass).sqrt())


def yield_spread(spread: Decimal, *, preparation_yield: Decimal) -> Decimal:
    """Return how far the usable fibre of a kind may be off because its yield varies.

    Parameters
    ----------
    spread : Decimal [-]
        Standard deviation of the preparation yield, in the same share of the oven-dry mass.
    preparation_yield : Decimal [-]
        Share left after preparation, above 0 up to 1.

    Returns
    -------
    Decimal [-]
        Standard deviation over the usable mass, to six places, 1 at most.

    Raises
    ------
    RangeError
        If the yield is not above 0 and up to 1, or the spread is negative.

    Notes
    -----
    Common to all lots of the kind: it does not shrink as lots are put together. Source:
    definition.

    Examples
    --------
    >>> yield_spread(Decimal("0.02"), preparation_yield=Decimal("0.8"))
    Decimal('0.025000')
    """
    share = share_above_zero("Preparation yield", preparation_yield)
    return _six_places(not_negative("The spread", spread, "") / share)


def _six_places(spread: Decimal) -> Decimal:
    return min(spread, MOST).quantize(PLACES, rounding=ROUND_HALF_EVEN)
