"""What the fibre of a furnish costs: that set aside at its book cost, the rest at the newest."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import OuterRef, Subquery
from django.db.models.functions import Coalesce

from fibres import queries
from fibres.calc.pricing import price_per_oven_dry_kg
from fibres.models import Fibre, FurnishPart, Lot, Offer
from orders import bookcosts
from orders.bookcosts import Masses, StoreBook
from orders.calc.bookcost import FIRST_IN_FIRST_OUT
from orders.calc.costing import FibrePrice
from orders.calc.cover import Pick, split
from orders.calc.plan import Part
from studio.units import System, show_mass

MG_PER_KG = 1_000_000
NO_PRICE = "no price known, counted as nothing: enter what a lot of it cost"


@dataclass(frozen=True, slots=True)
class LotPrice:
    """What an oven-dry kilogram of a lot cost, and how long it took to sort."""

    ref: str
    fibre_id: int
    received_on: date
    minor_per_kg: Decimal | None
    sorting_minutes_per_kg: Decimal

    @classmethod
    def of(cls, lot: Lot) -> LotPrice:
        """Divide what was paid by the oven-dry fibre that came for it."""
        kilograms = Decimal(lot.received_oven_dry_mg) / MG_PER_KG
        return cls(
            ref=lot.ref,
            fibre_id=lot.fibre_id,
            received_on=lot.received_on,
            minor_per_kg=lot.paid_minor_per_kg,
            sorting_minutes_per_kg=lot.sorting_minutes / kilograms if kilograms else Decimal(0),
        )


def newest_prices(fibre_ids: Iterable[int]) -> dict[int, LotPrice]:
    """Return, for each fibre, the newest lot that was bought; a gift only if none ever was."""
    priced = Lot.objects.filter(
        fibre=OuterRef("pk"), paid_minor__isnull=False, received_oven_dry_mg__gt=0
    ).order_by("-received_on", "-pk")
    bought = priced.filter(paid_minor__gt=0)
    fibres = Fibre.objects.filter(pk__in=list(fibre_ids)).annotate(
        newest=Coalesce(Subquery(bought.values("pk")[:1]), Subquery(priced.values("pk")[:1]))
    )
    lots = Lot.objects.filter(pk__in=fibres.values("newest"))
    return {lot.fibre_id: LotPrice.of(lot) for lot in lots}


@dataclass(frozen=True, slots=True)
class TodayPrice:
    """What an oven-dry kilogram of a fibre would cost to put back today, and by what that is."""

    fibre: str
    minor_per_kg: Decimal
    basis: str


def today_prices(fibre_ids: Iterable[int], today: date) -> dict[str, TodayPrice]:
    """Return what fibres would cost today, by name: the cheapest offer, else the newest price.

    Offers count that hold today, at the price of their fewest packs and before freight, which
    belongs to a whole purchase. A fibre that nobody offers and nobody paid for has none.
    """
    wanted = set(fibre_ids)
    newest = newest_prices(wanted)
    found = {
        fibre.name: TodayPrice(
            fibre.name, price, f"paid for {lot.ref} on {lot.received_on:%d %b %Y}"
        )
        for fibre in Fibre.objects.filter(pk__in=newest)
        if (price := (lot := newest[fibre.pk]).minor_per_kg) is not None
    }
    offers = [
        (_offered_per_kg(offer), offer)
        for offer in queries.offers_open().filter(fibre__in=wanted)
        if offer.holds_on(today)
    ]
    # The dearest first, so that the cheapest is what stays.
    for price, offer in sorted(offers, key=lambda one: (-one[0], -one[1].pk)):
        basis = f"offer of {offer.source.name}, before freight"
        found[offer.fibre.name] = TodayPrice(offer.fibre.name, price, basis)
    return found


def _offered_per_kg(offer: Offer) -> Decimal:
    """Return the price of an oven-dry kilogram where the fewest packs are taken."""
    reached = [step for step in offer.breaks.all() if step.from_packs <= offer.least_packs]
    price = reached[-1].minor_per_kg if reached else offer.minor_per_kg
    basis: Any = offer.price_per
    return price_per_oven_dry_kg(price, basis=basis, moisture=offer.moisture)


@dataclass(frozen=True, slots=True)
class _Mass:
    """Some oven-dry fibre and what a kilogram of it cost; a book cost names the lot it is of."""

    oven_dry_mg: Decimal
    minor_per_kg: Decimal | None
    is_booked: bool = False
    lot: str = ""


@dataclass(frozen=True, slots=True)
class SetAside:
    """What is set aside of one fibre: its lots, and the book that says what they cost.

    ``ahead`` is what promises take before, of each lot; ``store`` is None where nothing is set
    aside, for then nothing was read.
    """

    picks: tuple[tuple[Pick, LotPrice], ...] = ()
    store: StoreBook | None = None
    ahead: Masses = field(default_factory=dict)

    @property
    def usable_mg(self) -> int:
        """Usable fibre in it."""
        return sum(pick.usable_mg for pick, _ in self.picks)

    @property
    def lots(self) -> list[str]:
        """The lots it is weighed out of."""
        return [price.ref for _, price in self.picks]

    def pieces(self, scale: Decimal) -> Iterator[_Mass]:
        """Yield what a share of it costs by the book; without a price where none is known."""
        masses: dict[str, Decimal] = {}
        for pick, price in self.picks:
            masses[price.ref] = masses.get(price.ref, Decimal(0)) + pick.oven_dry_mg * scale
        whole = {ref: math.ceil(mass) for ref, mass in masses.items()}
        pieces = self.store.next_out(whole, ahead=self.ahead) if self.store else ()
        for piece in pieces:
            yield _Mass(Decimal(piece.mg), piece.minor_per_kg, piece.minor is not None, piece.lot)
        rest = sum(whole.values()) - sum(piece.mg for piece in pieces)
        if rest:
            yield _Mass(Decimal(rest), None)

    def sorting(self, scale: Decimal) -> Iterator[tuple[Decimal, Decimal]]:
        """Yield fibre and the minutes that a kilogram of it took to sort, lot by lot."""
        for pick, price in self.picks:
            yield pick.oven_dry_mg * scale, price.sorting_minutes_per_kg


@dataclass(frozen=True, slots=True)
class PricedPart:
    """One fibre of a furnish with what is set aside of it, and its newest price."""

    part: FurnishPart
    aside: SetAside
    newest: LotPrice | None

    def at(self, usable_mg: int, system: System = "metric") -> FibrePrice:
        """Price so much usable fibre: what is set aside first, then what is short."""
        picked = self.aside.usable_mg
        taken = min(picked, usable_mg)
        # Fewer sheets than the fibre was set aside for take their part of every lot.
        scale = Decimal(taken) / picked if taken < picked else Decimal(1)
        rest = (usable_mg - taken) / self.part.fibre.preparation_yield
        masses = [self._known(mass) for mass in self.aside.pieces(scale)]
        sorting = list(self.aside.sorting(scale))
        if rest:
            masses.append(_Mass(rest, self._newest_price))
            sorting.append((rest, self._usual_sorting))
        issued = [mass for mass, _ in sorting]
        known = [mass.minor_per_kg for mass in masses if mass.minor_per_kg is not None]
        price = None
        if len(known) == len(masses):
            price = _mean([mass.oven_dry_mg for mass in masses], known)
        return FibrePrice(
            fibre=self.part.fibre.name,
            share=self.part.share,
            preparation_yield=Decimal(usable_mg) / sum(issued),
            minor_per_kg=price,
            basis=NO_PRICE if price is None else self._basis(masses, system),
            sorting_minutes_per_kg=_mean(issued, [minutes for _, minutes in sorting]),
        )

    def _known(self, mass: _Mass) -> _Mass:
        """Give fibre without a price the newest one."""
        if mass.minor_per_kg is not None:
            return mass
        return replace(mass, minor_per_kg=self._newest_price)

    @property
    def _newest_price(self) -> Decimal | None:
        return self.newest.minor_per_kg if self.newest else None

    @property
    def _usual_sorting(self) -> Decimal:
        if self.newest:
            return self.newest.sorting_minutes_per_kg
        # Kept per kilogram as it comes in; meant here is a kilogram without its water.
        fibre = self.part.fibre
        return fibre.sorting_minutes_per_kg / (1 - fibre.usual_moisture)

    def _basis(self, masses: Sequence[_Mass], system: System) -> str:
        booked = [mass for mass in masses if mass.is_booked]
        book = self._book_words(booked)
        if len(booked) == len(masses) or self.newest is None:
            return book
        newest = f"newest price, paid for {self.newest.ref} on {self.newest.received_on:%d %b %Y}"
        if not booked:
            return newest
        held = show_mass(round(sum(mass.oven_dry_mg for mass in booked)), system=system)
        return f"{book} for {held}, the rest at the {newest}"

    def _book_words(self, booked: Sequence[_Mass]) -> str:
        lots = list(dict.fromkeys(mass.lot for mass in booked if mass.lot))
        if not lots:
            return "book cost at the moving average of its lots"
        words = f"book cost of {', '.join(lots)}"
        # Said only where it makes a difference: whatever is weighed out, the oldest cost goes.
        if set(lots) - set(self.aside.lots):
            return f"{words}, first in first out, whichever lot is weighed out"
        return words


def _mean(weights: Sequence[Decimal], values: Sequence[Decimal]) -> Decimal:
    weighed = (weight * value for weight, value in zip(weights, values, strict=True))
    return sum(weighed, Decimal(0)) / sum(weights)


def priced_parts(
    parts: Sequence[FurnishPart],
    picks: Sequence[Pick],
    *,
    way: str = FIRST_IN_FIRST_OUT,
    ahead: Masses | None = None,
) -> list[PricedPart]:
    """Read the prices of what is set aside and of what would be bought, once for any number.

    ``ahead`` is what goes out of each lot before; ``way`` is how the studio keeps its book cost.
    """
    refs = {pick.lot for pick in picks}
    lots = {lot.ref: LotPrice.of(lot) for lot in Lot.objects.filter(ref__in=refs)}
    store = None
    if lots:
        store = bookcosts.read(way, {lot.fibre_id for lot in lots.values()})
    newest = newest_prices(part.fibre_id for part in parts)
    return [
        PricedPart(
            part,
            SetAside(
                tuple(
                    (pick, lots[pick.lot])
                    for pick in picks
                    if pick.fibre == part.fibre.name and pick.lot in lots
                ),
                store,
                ahead or {},
            ),
            newest.get(part.fibre_id),
        )
        for part in parts
    ]


def fibre_prices(
    priced: Sequence[PricedPart], need_mg: int, system: System = "metric"
) -> list[FibrePrice]:
    """Price each fibre for so much usable fibre in the vat, split as planning splits it."""
    furnish = tuple(
        Part((one.part.fibre.name,), one.part.share, one.part.share, one.part.share)
        for one in priced
    )
    # A share that rounds to nothing still has a price.
    wants = [max(want, 1) for want in split(need_mg, furnish)]
    return [one.at(want, system) for one, want in zip(priced, wants, strict=True)]
