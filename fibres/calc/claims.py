"""What a delivery that came wetter than agreed is worth: the claim for water not bargained for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from fibres.calc._checks import share_above_zero, share_below_one, whole_mg, whole_minor
from fibres.calc.moisture import AIR_DRYNESS
from studio.money import show_money
from studio.units import System, show_mass, show_share
from studio.working import Line


@dataclass(frozen=True, slots=True)
class Claim:
    """A delivery against what was agreed; all of it is 0 where it came no wetter.

    ``as_is_mg`` was weighed, ``invoiced_as_is_mg`` is what the price is for. ``invoiced_mg`` and
    ``delivered_mg`` are air-dry masses, ``payable_mg`` is the mass as agreed that is to be paid
    for, ``claim_minor`` what is to come off the price of the goods.
    """

    as_is_mg: int
    invoiced_as_is_mg: int
    agreed: Decimal
    found: Decimal
    dryness: Decimal
    goods_minor: int
    invoiced_mg: int
    delivered_mg: int
    payable_mg: int
    claim_minor: int

    @property
    def is_due(self) -> bool:
        """Whether it came wetter than agreed."""
        return self.found > self.agreed

    @property
    def short_mg(self) -> int:
        """Air-dry mass that was invoiced and did not come."""
        return max(0, self.invoiced_mg - self.delivered_mg) if self.is_due else 0

    def lines(self, currency: str, *, system: System = "metric") -> tuple[Line, ...]:
        """Return the working as a person reads it."""
        mass, dry = (lambda mg: show_mass(mg, system=system)), show_share(self.dryness)
        because = f"as is × (1 − moisture) ÷ {dry}"
        return (
            Line("Weighed, as is", mass(self.as_is_mg)),
            *self._packs(mass),
            Line("Moisture agreed", _exact(self.agreed)),
            Line("Moisture found", _exact(self.found)),
            Line("Air-dry mass invoiced", mass(self.invoiced_mg), f"{because}, as agreed"),
            Line("Air-dry mass delivered", mass(self.delivered_mg), f"{because}, as found"),
            Line("Air-dry mass short", mass(self.short_mg), kind="line"),
            Line("To pay for, as is", mass(self.payable_mg), "what would hold this fibre"),
            Line("Price of the goods", show_money(self.goods_minor, currency)),
            Line(
                "To claim",
                show_money(self.claim_minor, currency),
                "price × mass short ÷ mass invoiced",
                kind="answer",
            ),
        )

    def _packs(self, mass: Callable[[int], str]) -> tuple[Line, ...]:
        """Return the mass that the price is for, where the scales show another."""
        if self.invoiced_as_is_mg == self.as_is_mg:
            return ()
        return (Line("Invoiced, as is", mass(self.invoiced_as_is_mg), "what the price is for"),)


def saleable_mg(
    as_is_mg: int,
    moisture: Decimal,
    *,
    dryness: Decimal = AIR_DRYNESS,
    allowance: Decimal = Decimal(0),
) -> int:
    """Return the air-dry milligrams that a mass of pulp is invoiced by.

    Parameters
    ----------
    as_is_mg : int [mg]
        Mass as weighed, water included.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    dryness : Decimal [-], optional
        Oven-dry share that the trade calls air-dry; some mechanical pulp is sold at 0.88.
    allowance : Decimal [-], optional
        Share of the mass as weighed that a mill leaves out for what is lost on the way.

    Returns
    -------
    int [mg]
        Rounded half-even once.

    Raises
    ------
    RangeError
        If a share is outside its limits, or the mass is negative or not whole.

    Notes
    -----
    A dry lot is invoiced at more than was weighed. Source: [ISO801], terms seen in previews,
    formula from a trade page; the allowance is one mill's habit [AIRDRY].

    Examples
    --------
    >>> saleable_mg(250_000_000, Decimal("0.09"))
    252777778
    """
    as_is = whole_mg("The as-is mass", as_is_mg)
    kept = 1 - Fraction(share_below_one("Allowance", allowance))
    dry_share = 1 - Fraction(share_below_one("Moisture", moisture))
    return round(as_is * kept * dry_share / Fraction(share_above_zero("Dryness", dryness)))


def claim_for_water(
    as_is_mg: int,
    *,
    agreed: Decimal,
    found: Decimal,
    goods_minor: int,
    invoiced_as_is_mg: int | None = None,
    dryness: Decimal = AIR_DRYNESS,
) -> Claim:
    """Return what can be claimed for water above the moisture agreed.

    Parameters
    ----------
    as_is_mg : int [mg]
        Mass as weighed when it came, water included.
    agreed : Decimal [-]
        Moisture agreed, as a share of the as-is mass, from 0 up to 1.
    found : Decimal [-]
        Moisture found in a weighed sample of the delivery, from 0 up to 1.
    goods_minor : int [minor]
        Price of these goods, whatever mass it was reckoned by, without freight.
    invoiced_as_is_mg : int [mg], optional
        Mass with its water as agreed that this price is for; the mass as weighed unless given.
    dryness : Decimal [-], optional
        Oven-dry share that the trade calls air-dry.

    Returns
    -------
    Claim
        With its working; the claim is 0 where the delivery came no wetter than agreed.

    Raises
    ------
    RangeError
        If a share is outside its limits, or the mass or the price is negative or not whole.

    Notes
    -----
    ``claim = goods × (1 − air-dry mass delivered ÷ air-dry mass invoiced)``; the dryness cancels
    out. Packs that weigh more than they were sold as may so hold all their fibre in spite of the
    water. A delivery no wetter than agreed is claimed nothing for here, and one that holds more
    is a gain of the buyer. What the contract says comes first.
    Source: [CLAIM], the rule seen, the figure derived; air-dry mass by [ISO801].

    Examples
    --------
    >>> wet = claim_for_water(
    ...     1_000_000_000, agreed=Decimal("0.10"), found=Decimal("0.14"), goods_minor=90_000
    ... )
    >>> wet.payable_mg, wet.claim_minor
    (955555556, 4000)
    """
    paid = Fraction(whole_minor("The price", goods_minor))
    dry_agreed = 1 - Fraction(share_below_one("Moisture agreed", agreed))
    dry_found = 1 - Fraction(share_below_one("Moisture found", found))
    sold = as_is_mg if invoiced_as_is_mg is None else invoiced_as_is_mg
    fibre_sold = whole_mg("The mass invoiced", sold) * dry_agreed
    fibre_came = whole_mg("The as-is mass", as_is_mg) * dry_found
    is_less = found > agreed and fibre_came < fibre_sold
    due = fibre_came / fibre_sold if is_less else Fraction(1)
    return Claim(
        as_is_mg=as_is_mg,
        invoiced_as_is_mg=sold,
        agreed=agreed,
        found=found,
        dryness=dryness,
        goods_minor=goods_minor,
        invoiced_mg=saleable_mg(sold, agreed, dryness=dryness),
        delivered_mg=saleable_mg(as_is_mg, found, dryness=dryness),
        payable_mg=round(sold * due),
        claim_minor=round(paid * (1 - due)),
    )


def _exact(share: Decimal) -> str:
    """Word a share to the hundredth of a percent: a claim may hang on it."""
    return show_share(share, places=2)
