"""What size a mould's sheet dries to, and which mould a wanted size needs."""

from __future__ import annotations

import math
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from orders.calc._shared import checked_share
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import show_length

Shrinkage = tuple[Decimal, Decimal]


def dry_size(mould: Size, *, shrinkage: Shrinkage) -> Size:
    """Return the size of the dry pull from the opening of a mould.

    Parameters
    ----------
    mould : Size [µm]
        Opening of the mould inside the deckle.
    shrinkage : tuple of two Decimals [-]
        Share lost along the width and along the height of the mould, each from 0 up to 1.

    Returns
    -------
    Size [µm]
        Each side rounded down to a whole micrometre.

    Raises
    ------
    RangeError
        If a shrinkage is outside 0 up to 1.

    Notes
    -----
    Shrinkage belongs to the furnish, its beating and the way of drying; a sheet dried under
    restraint hardly shrinks. Definition; tested with [FPL131].

    Examples
    --------
    >>> dry_size(Size(330_000, 450_000), shrinkage=(Decimal("0.03"), Decimal("0.02")))
    Size(width_um=320100, height_um=441000)
    """
    across, down = _kept(shrinkage)
    return Size(math.floor(mould.width_um * across), math.floor(mould.height_um * down))


def mould_for(size: Size, *, shrinkage: Shrinkage) -> Size:
    """Return the smallest opening whose pull dries to at least a size.

    Parameters
    ----------
    size : Size [µm]
        Dry size wanted, the way it lies on the mould.
    shrinkage : tuple of two Decimals [-]
        Share lost along the width and along the height, each from 0 up to 1.

    Returns
    -------
    Size [µm]
        Each side rounded up to a whole micrometre.

    Raises
    ------
    RangeError
        If a shrinkage is outside 0 up to 1.

    Notes
    -----
    The converse of :func:`dry_size`; adds nothing for trimming. Definition; tested with
    [FPL131].

    Examples
    --------
    >>> mould_for(Size(130_000, 180_000), shrinkage=(Decimal("0.208"), Decimal("0.25")))
    Size(width_um=164142, height_um=240000)
    """
    across, down = _kept(shrinkage)
    return Size(math.ceil(size.width_um / across), math.ceil(size.height_um / down))


def choose_mould(
    moulds: Iterable[Size], *, size: Size, shrinkage: Shrinkage, tolerance_um: int = 1_000
) -> Size | None:
    """Return the smallest mould whose dry pull covers a wanted size, either way up.

    Parameters
    ----------
    moulds : iterable of Size [µm]
        Openings at hand.
    size : Size [µm]
        Dry size wanted.
    shrinkage : tuple of two Decimals [-]
        Share lost along the width and along the height of the mould, each from 0 up to 1.
    tolerance_um : int [µm]
        By how much each side of the dry pull may fall short, 0 or more.

    Returns
    -------
    Size or None
        The first of the smallest by area; None if none is large enough.

    Raises
    ------
    RangeError
        If a shrinkage or the tolerance is outside what it can be.

    Notes
    -----
    The default of 1 mm is common practice, no source; it lies inside the ±1.5 mm that the
    trade allows on small cut sizes. Definition.

    Examples
    --------
    >>> moulds = [Size(178_000, 254_000), Size(165_000, 240_000), Size(152_000, 203_000)]
    >>> choose_mould(moulds, size=Size(130_000, 180_000),
    ...              shrinkage=(Decimal("0.208"), Decimal("0.25")))
    Size(width_um=165000, height_um=240000)
    """
    if tolerance_um < 0:
        raise RangeError(
            f"The tolerance must be 0 or more, got {show_length(tolerance_um)}.",
            value=tolerance_um,
        )

    def covers(mould: Size, wanted: Size) -> bool:
        dry = dry_size(mould, shrinkage=shrinkage)
        return (
            dry.width_um + tolerance_um >= wanted.width_um
            and dry.height_um + tolerance_um >= wanted.height_um
        )

    fitting = (mould for mould in moulds if covers(mould, size) or covers(mould, size.turned()))
    return min(fitting, key=lambda mould: mould.area_um2, default=None)


def _kept(shrinkage: Shrinkage) -> tuple[Fraction, Fraction]:
    across, down = shrinkage
    return (
        1 - checked_share("Shrinkage of the width", across, one=False),
        1 - checked_share("Shrinkage of the height", down, one=False),
    )
