"""What the fibre of a furnish costs: that set aside at its book cost, the rest at the newest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import OuterRef, Subquery
from django.db.models.functions import Coalesce

from fibres.models import Fibre, FurnishPart, Lot
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
class _Mass:
    """Some oven-dry fibre, with what a kilogram of it cost; a book cost names its lot."""

    oven_dry_mg: Decimal
    minor_per_kg: Decimal | None
    sorting_minutes_per_kg: Decimal
    booked: str = ""


@dataclass(frozen=True, slots=True)
class PricedPart:
    """One fibre of a furnish with what is set aside of it, lot by lot, and its newest price."""

    part: FurnishPart
    picks: tuple[tuple[Pick, LotPrice], ...]
    newest: LotPrice | None

    def at(self, usable_mg: int, system: System = "metric") -> FibrePrice:
        """Price so much usable fibre: what is set aside first, then what is short."""
        masses = self._masses(usable_mg)
        total = sum((mass.oven_dry_mg for mass in masses), Decimal(0))
        known = [mass.minor_per_kg for mass in masses if mass.minor_per_kg is not None]
        price = None
        if len(known) == len(masses):
            price = _mean([mass.oven_dry_mg for mass in masses], known)
        return FibrePrice(
            fibre=self.part.fibre.name,
            share=self.part.share,
            preparation_yield=Decimal(usable_mg) / total,
            minor_per_kg=price,
            basis=NO_PRICE if price is None else self._basis(masses, system),
            sorting_minutes_per_kg=_mean(
                [mass.oven_dry_mg for mass in masses],
                [mass.sorting_minutes_per_kg for mass in masses],
            ),
        )

    def _masses(self, usable_mg: int) -> list[_Mass]:
        picked = sum(pick.usable_mg for pick, _ in self.picks)
        taken = min(picked, usable_mg)
        # Fewer sheets than the fibre was set aside for take their part of every lot.
        scale = Decimal(taken) / picked if taken < picked else Decimal(1)
        masses = [self._picked(pick.oven_dry_mg * scale, price) for pick, price in self.picks]
        rest = (usable_mg - taken) / self.part.fibre.preparation_yield
        if rest:
            masses.append(_Mass(rest, self._newest_price, self._usual_sorting))
        return masses

    def _picked(self, oven_dry_mg: Decimal, lot: LotPrice) -> _Mass:
        if lot.minor_per_kg is None:
            return _Mass(oven_dry_mg, self._newest_price, lot.sorting_minutes_per_kg)
        return _Mass(oven_dry_mg, lot.minor_per_kg, lot.sorting_minutes_per_kg, lot.ref)

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
        booked = [mass for mass in masses if mass.booked]
        book = f"book cost of {', '.join(dict.fromkeys(mass.booked for mass in booked))}"
        if len(booked) == len(masses) or self.newest is None:
            return book
        newest = f"newest price, paid for {self.newest.ref} on {self.newest.received_on:%d %b %Y}"
        if not booked:
            return newest
        held = show_mass(round(sum(mass.oven_dry_mg for mass in booked)), system=system)
        return f"{book} for {held}, the rest at the {newest}"


def _mean(weights: Sequence[Decimal], values: Sequence[Decimal]) -> Decimal:
    weighed = (weight * value for weight, value in zip(weights, values, strict=True))
    return sum(weighed, Decimal(0)) / sum(weights)


def priced_parts(parts: Sequence[FurnishPart], picks: Sequence[Pick]) -> list[PricedPart]:
    """Read the prices of what is set aside and of what would be bought, once for any number."""
    refs = {pick.lot for pick in picks}
    lots = {lot.ref: LotPrice.of(lot) for lot in Lot.objects.filter(ref__in=refs)}
    newest = newest_prices(part.fibre_id for part in parts)
    return [
        PricedPart(
            part,
            tuple(
                (pick, lots[pick.lot])
                for pick in picks
                if pick.fibre == part.fibre.name and pick.lot in lots
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
