"""What sources ask and when they take orders, as integers: day 0 is today.

Shared by the projection, the rule, the model and the recount, so that all of them mean the same
order days and the same prices.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from functools import cached_property

from fibres.calc.comparing import in_season
from fibres.calc.steps import Step, price_steps
from orders.calc.planrows import PackOffer, Snapshot, SourceTerms

MG_PER_KG = 10**6
# So far ahead every season opens at least once.
DAYS_OF_A_SEASON_AHEAD = 400


@dataclass(frozen=True, slots=True)
class Offer:
    """An offer in integers; ``days`` holds every day on which it can be ordered, rising."""

    ref: str
    fibre: str
    source: str
    lead: int
    pack_mg: int
    steps: tuple[Step, ...]
    days: tuple[int, ...]

    @property
    def least(self) -> int:
        """Fewest packs sold."""
        return self.steps[0].least

    @property
    def last(self) -> Step:
        """The step that has no end."""
        return self.steps[-1]

    def cost(self, packs: int) -> int:
        """Return the price of so many packs, no fewer than the least, without freight."""
        for step in reversed(self.steps):
            if packs >= step.least:
                return step.fixed + step.each * packs
        message = f"{packs} packs of {self.ref} are fewer than are sold"
        raise ValueError(message)

    def latest(self, by: int) -> int | None:
        """Return the last day up to ``by`` on which it can be ordered."""
        place = bisect_right(self.days, by)
        return self.days[place - 1] if place else None

    def packs_reaching(self, minor: int, *, at_least: int) -> int | None:
        """Return the fewest packs, from a number on, whose price comes to so much."""
        for step in self.steps:
            start = max(step.least, at_least)
            packs = start
            if step.fixed + step.each * start < minor:
                if not step.each:
                    continue
                packs = -((step.fixed - minor) // step.each)
            if step.most is None or packs <= step.most:
                return packs
        return None


@dataclass(frozen=True, slots=True)
class Source:
    """What an order to a source costs beside the goods; ``freight`` as (first day, price)."""

    ref: str
    lead: int
    freight: tuple[tuple[int, int], ...]
    order_minimum: int
    free_from: int | None

    def freight_on(self, day: int) -> int:
        """Return the freight of an order placed on a day, before any threshold."""
        found = self.freight[0][1]
        for first, minor in self.freight:
            if first <= day:
                found = minor
        return found

    def charge(self, day: int, goods: int) -> int:
        """Return the freight that an order with goods of this price pays."""
        if self.free_from is not None and goods >= self.free_from:
            return 0
        return self.freight_on(day)

    @property
    def joins(self) -> bool:
        """Whether what is bought in one order changes the price of the rest of it."""
        return bool(self.order_minimum) or (
            self.free_from != 0 and any(minor for _, minor in self.freight)
        )

    @property
    def has_threshold(self) -> bool:
        """Whether an order has to come to something, or pays less if it does."""
        return bool(self.order_minimum) or (self.free_from is not None and self.joins)


class Market:
    """All offers of a snapshot that can be ordered within the horizon."""

    def __init__(self, snapshot: Snapshot) -> None:
        sourcing = snapshot.sourcing
        self.snapshot = snapshot
        self.today = snapshot.today
        wanted = sourcing.horizon_days if sourcing else 0
        # No day after the last one of the calendar.
        self.horizon = min(wanted, (date.max - snapshot.today).days)
        terms = {source.ref: source for source in (sourcing.sources if sourcing else ())}
        self.sources = {ref: self._source(source) for ref, source in terms.items()}
        open_days = {ref: self._open_days(source) for ref, source in terms.items()}
        offers = [
            self._offer(offer, terms[offer.source], open_days[offer.source])
            for offer in (sourcing.offers if sourcing else ())
        ]
        self.offers = tuple(offer for offer in offers if offer.days and self._is_sold(offer))
        self.by_fibre: dict[str, list[Offer]] = {}
        for offer in self.offers:
            self.by_fibre.setdefault(offer.fibre, []).append(offer)
        rates = sourcing.holding_minor_per_kg_day if sourcing else {}
        self.holding = {fibre: Fraction(rate) / MG_PER_KG for fibre, rate in rates.items()}
        self._least: dict[str, Fraction] = {}

    def on(self, day: int) -> date:
        """Return the date of a day."""
        return self.today + timedelta(days=day)

    def day(self, when: date) -> int:
        """Return the day of a date, no earlier than today."""
        return max((when - self.today).days, 0)

    def earliest(self, fibre: str) -> int | None:
        """Return the first day on which a purchase of a fibre can arrive."""
        return min(
            (offer.days[0] + offer.lead for offer in self.by_fibre.get(fibre, ())), default=None
        )

    @cached_property
    def further(self) -> Market:
        """The same offers, looked at over the next season too."""
        sourcing = self.snapshot.sourcing
        if sourcing is None or sourcing.horizon_days >= DAYS_OF_A_SEASON_AHEAD:
            return self
        ahead = replace(sourcing, horizon_days=DAYS_OF_A_SEASON_AHEAD)
        return Market(replace(self.snapshot, sourcing=ahead))

    def order_by(self, fibre: str, day: int) -> int | None:
        """Return the last day on which an order still arrives by a day."""
        found = [offer.latest(day - offer.lead) for offer in self.by_fibre.get(fibre, ())]
        return max((latest for latest in found if latest is not None), default=None)

    def cheapest_of(self, fibres: Iterable[str]) -> str:
        """Return the fibre whose usable kilogram is cheapest on offer, else the first."""
        names = list(fibres)
        prices = [
            (self.least_price(fibre), place)
            for place, fibre in enumerate(names)
            if fibre in self.by_fibre
        ]
        return names[min(prices)[1]] if prices else names[0]

    def least_price(self, fibre: str) -> Fraction:
        """Return what a milligram of a fibre costs at least, without freight."""
        if fibre not in self._least:
            self._least[fibre] = min(
                _least_each(step) / offer.pack_mg
                for offer in self.by_fibre[fibre]
                for step in offer.steps
            )
        return self._least[fibre]

    def _source(self, source: SourceTerms) -> Source:
        return Source(
            ref=source.ref,
            lead=source.lead_days,
            freight=tuple((self.day(first), minor) for first, minor in source.freight)
            or ((0, 0),),
            order_minimum=source.order_minimum_minor,
            free_from=source.free_freight_from_minor,
        )

    def _open_days(self, source: SourceTerms) -> list[int]:
        last = (date.max - self.today).days - source.lead_days
        days = range(min(self.horizon, last + 1))
        if source.season is None:
            return list(days)
        return [day for day in days if in_season(self.on(day), source.season)]

    def _offer(self, offer: PackOffer, source: SourceTerms, open_days: list[int]) -> Offer:
        first, last = offer.valid_from or date.min, offer.valid_to or date.max
        return Offer(
            ref=offer.ref,
            fibre=offer.fibre,
            source=offer.source,
            lead=source.lead_days,
            pack_mg=offer.pack_usable_mg,
            steps=price_steps(
                offer.breaks,
                incremental=offer.breaks_are == "incremental",
                least_packs=offer.least_packs,
            ),
            days=tuple(day for day in open_days if first <= self.on(day) <= last),
        )

    def _is_sold(self, offer: Offer) -> bool:
        """Whether any number of packs from some on comes to its source's order minimum."""
        minimum = self.sources[offer.source].order_minimum
        return offer.packs_reaching(minimum, at_least=offer.last.least) is not None


def _least_each(step: Step) -> Fraction:
    first = Fraction(step.fixed + step.each * step.least, step.least)
    if step.most is None:
        return min(first, Fraction(step.each))
    return min(first, Fraction(step.fixed + step.each * step.most, step.most))
