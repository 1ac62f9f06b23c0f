"""What an offer says: the price of a pack, price breaks, packs for a need, goods and freight.

Packs, money and milligrams are whole numbers; a price a kilogram is turned into the price of a
pack once, and every sum after that is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from fibres.calc import _checks as check
from fibres.calc import moisture as wet
from fibres.calc.pricing import BASES, MG_PER_KG, PriceBasis
from fibres.calc.steps import price_steps
from studio.errors import RangeError

BreaksAre = Literal["all units", "incremental"]
BREAKS_ARE: tuple[BreaksAre, ...] = ("all units", "incremental")
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Terms:
    """What an order to a source costs beside the goods, and when it can be placed.

    ``season`` is the first and the last day of the year, as month-day, on which the source
    takes orders; it may run over the turn of the year. None: always.
    """

    lead_days: int = 0
    freight_minor: int = 0
    order_minimum_minor: int = 0
    free_freight_from_minor: int | None = None
    season: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Offering:
    """One fibre by the supply pack, as a source offers it.

    ``minor_per_kg`` holds from ``least_packs`` on; ``breaks`` says what more packs cost, as
    (from packs, price a kilogram), on the same basis. ``detail`` tells offers of one name apart.
    """

    name: str
    pack_mg: int
    moisture: Decimal
    minor_per_kg: int
    price_per: PriceBasis = "as-is"
    breaks: tuple[tuple[int, int], ...] = ()
    breaks_are: BreaksAre = "all units"
    least_packs: int = 1
    preparation_yield: Decimal = ONE
    terms: Terms = Terms()
    valid_from: date | None = None
    valid_to: date | None = None
    detail: str = ""

    def __post_init__(self) -> None:
        check.positive("A pack", check.whole_mg("A pack", self.pack_mg), "mg")
        check.share_below_one("Moisture", self.moisture)
        check.share_above_zero("Preparation yield", self.preparation_yield)
        check.positive("The fewest packs", self.least_packs, "packs")
        if self.price_per not in BASES or self.breaks_are not in BREAKS_ARE:
            raise RangeError(
                f"A price must be per kg {', '.join(BASES)} with breaks for "
                f"{' or '.join(BREAKS_ARE)}, got {self.price_per!r} and {self.breaks_are!r}."
            )
        for price in (self.minor_per_kg, *(price for _, price in self.breaks)):
            check.not_negative("The price", price, "per kg")
        starts = [packs for packs, _ in self.breaks]
        if starts != sorted(set(starts)):
            raise RangeError("Price breaks must go up by the number of packs, each number once.")

    @property
    def title(self) -> str:
        """Its name, with what tells it apart."""
        return f"{self.name} ({self.detail})" if self.detail else self.name

    @property
    def is_incremental(self) -> bool:
        """Whether each pack is at the price of its own step."""
        return self.breaks_are == "incremental"


def kilograms_priced(pack_mg: int, moisture: Decimal, price_per: PriceBasis) -> Fraction:
    """Return the kilograms of a pack that its price counts.

    Parameters
    ----------
    pack_mg : int [mg]
        Mass of the pack as sold.
    moisture : Decimal [-]
        Water as a share of the mass as sold (wet basis), from 0 up to 1.
    price_per : str [-]
        "as-is", "air-dry" (taken to hold 10 % water) or "oven-dry".

    Returns
    -------
    Fraction [kg]
        Exact.

    Raises
    ------
    RangeError
        If the mass is negative, the moisture outside 0 to 1, or the basis another word.

    Notes
    -----
    Air-dry: ``oven-dry / 0.90``. Source: [ISO801], wording from memory.

    Examples
    --------
    >>> kilograms_priced(5_000_000, Decimal("0.08"), "oven-dry")
    Fraction(23, 5)
    >>> kilograms_priced(250_000_000, Decimal("0.10"), "air-dry")
    Fraction(250, 1)
    """
    as_sold = Fraction(check.whole_mg("A pack", pack_mg), MG_PER_KG)
    dry = as_sold * (1 - Fraction(check.share_below_one("Moisture", moisture)))
    by_basis = {"as-is": as_sold, "air-dry": dry / Fraction(wet.AIR_DRYNESS), "oven-dry": dry}
    if price_per not in by_basis:
        raise RangeError(
            f"A price must be per kg {', '.join(BASES)}, got {price_per!r}.", value=price_per
        )
    return by_basis[price_per]


def pack_price(
    minor_per_kg: int, *, pack_mg: int, moisture: Decimal, price_per: PriceBasis = "as-is"
) -> int:
    """Return the price of one pack.

    Parameters
    ----------
    minor_per_kg : int [minor/kg]
        Price a kilogram on the basis of ``price_per``.
    pack_mg : int [mg]
        Mass of the pack as sold.
    moisture : Decimal [-]
        Water as a share of the mass as sold, from 0 up to 1.
    price_per : str [-]
        "as-is", "air-dry" or "oven-dry".

    Returns
    -------
    int [minor]
        Rounded half-even, once.

    Raises
    ------
    RangeError
        If the price is negative or the pack cannot be; see :func:`kilograms_priced`.

    Notes
    -----
    Source: definition; air-dry by [ISO801].

    Examples
    --------
    >>> pack_price(940, pack_mg=5_000_000, moisture=Decimal("0.08"))
    4700
    >>> pack_price(990, pack_mg=2_000_000, moisture=Decimal("0.05"), price_per="air-dry")
    2090
    """
    price = Fraction(check.not_negative("The price", minor_per_kg, "per kg"))
    return round(price * kilograms_priced(pack_mg, moisture, price_per))


def pack_breaks(offer: Offering) -> tuple[tuple[int, int], ...]:
    """Return the price of a pack from each number of packs on.

    Parameters
    ----------
    offer : Offering
        Pack, moisture, price a kilogram and its breaks.

    Returns
    -------
    tuple of (int [packs], int [minor])
        The first at the fewest packs sold; numbers of packs go up.

    Raises
    ------
    RangeError
        If a price or the pack cannot be.

    Notes
    -----
    A break at or below the fewest packs sold is the price that begins there. Source: definition.

    Examples
    --------
    >>> pack_breaks(
    ...     Offering("X", 2_000_000, Decimal("0.1"), 750, breaks=((4, 575),), least_packs=2)
    ... )
    ((2, 1500), (4, 1150))
    """

    def price(minor_per_kg: int) -> int:
        return pack_price(
            minor_per_kg,
            pack_mg=offer.pack_mg,
            moisture=offer.moisture,
            price_per=offer.price_per,
        )

    first = offer.minor_per_kg
    later = []
    for packs, minor_per_kg in offer.breaks:
        if packs <= offer.least_packs:
            first = minor_per_kg
        else:
            later.append((packs, price(minor_per_kg)))
    return ((offer.least_packs, price(first)), *later)


def packs_for(need_oven_dry_mg: int, offer: Offering) -> int:
    """Return the fewest packs that hold the fibre wanted and that the source sells.

    Parameters
    ----------
    need_oven_dry_mg : int [mg]
        Fibre wanted, without water.
    offer : Offering
        Pack, moisture and fewest packs sold.

    Returns
    -------
    int [packs]
        A whole number, never below the fewest sold.

    Raises
    ------
    RangeError
        If the need is negative or not whole.

    Notes
    -----
    Decided on fractions, so that a pack is never taken for fuller than it is. Source: definition.

    Examples
    --------
    >>> packs_for(4_600_001, Offering("X", 5_000_000, Decimal("0.08"), 940))
    2
    """
    need = check.whole_mg("The oven-dry mass wanted", need_oven_dry_mg)
    dry = offer.pack_mg * (1 - Fraction(offer.moisture))
    return max(offer.least_packs, -((-need * dry.denominator) // dry.numerator))


def goods_minor(packs: int, offer: Offering) -> int:
    """Return the price of a number of packs, before freight.

    Parameters
    ----------
    packs : int [packs]
        At least the fewest that the source sells.
    offer : Offering
        Prices and their breaks.

    Returns
    -------
    int [minor]
        Exact.

    Raises
    ------
    RangeError
        If fewer packs are asked for than are sold.

    Notes
    -----
    "all units": every pack at the price reached. "incremental": each pack at the price of its
    own step. Source: definition.

    Examples
    --------
    >>> offer = Offering("X", 1_000_000, Decimal("0"), 1500, breaks=((4, 1150),))
    >>> goods_minor(3, offer), goods_minor(4, offer)
    (4500, 4600)
    """
    if isinstance(packs, bool) or not isinstance(packs, int) or packs < offer.least_packs:
        raise RangeError(
            f"The packs must be {offer.least_packs} or more, got {packs}: the source sells no "
            "fewer.",
            value=packs,
        )
    return next(
        step.goods(packs)
        for step in price_steps(pack_breaks(offer), incremental=offer.is_incremental)
        if step.most is None or packs <= step.most
    )


def freight_of(goods: int, terms: Terms) -> int:
    """Return the freight of an order.

    Parameters
    ----------
    goods : int [minor]
        What the goods alone come to.
    terms : Terms
        Freight, and from what amount it is free.

    Returns
    -------
    int [minor]
        0 where the goods reach the amount from which freight is free.

    Raises
    ------
    RangeError
        If the goods come to less than nothing.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> terms = Terms(freight_minor=3500, free_freight_from_minor=50_000)
    >>> freight_of(49_999, terms), freight_of(50_000, terms)
    (3500, 0)
    """
    check.not_negative("The goods", goods, "")
    free = terms.free_freight_from_minor
    return 0 if free is not None and goods >= free else terms.freight_minor
