"""What has to be bought of fibres that share sources, and what a plan for it costs.

The rule and the model both work on a case, and both are judged by its recount in integers.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from math import ceil

from orders.calc._buying.terms import Market, Offer, Source

# Packs to buy, by place of the offer and day of the order.
Plan = dict[tuple[int, int], int]


@dataclass(frozen=True, slots=True)
class Needs:
    """What is missing of one fibre: the days, rising, and what has to be in by each of them."""

    days: tuple[int, ...]
    by_then: tuple[int, ...]

    @classmethod
    def of(cls, wanted: Mapping[int, int]) -> Needs:
        """Return the needs of milligrams by day."""
        days = tuple(sorted(wanted))
        return cls(days, tuple(accumulate(wanted[day] for day in days)))

    @property
    def total(self) -> int:
        """All that has to be bought."""
        return self.by_then[-1] if self.by_then else 0

    def first_served(self, day: int) -> int:
        """Return the place of the first need that an arrival on a day can serve."""
        return bisect_left(self.days, day)

    def from_place(self, place: int) -> int:
        """Return what is needed from a place on."""
        return self.total - (self.by_then[place - 1] if place else 0)


class Case:
    """Fibres that share sources, their needs and every order that is worth a thought."""

    def __init__(
        self,
        market: Market,
        wanted: Mapping[str, Mapping[int, int]],
        fillers: Iterable[str] = (),
    ) -> None:
        offers = [offer for offer in market.offers if offer.fibre in wanted]
        filling = _filling(market, set(fillers) - set(wanted), {offer.source for offer in offers})
        wanted = {**{offer.fibre: {} for offer in filling}, **wanted}
        self.fibres = tuple(sorted(wanted))
        self.needs = {fibre: Needs.of(wanted[fibre]) for fibre in self.fibres}
        self.horizon = market.horizon
        self.offers = tuple(
            sorted([*offers, *filling], key=lambda offer: (offer.fibre, offer.ref))
        )
        self.sources = {offer.source: market.sources[offer.source] for offer in self.offers}
        self.holding = {fibre: market.holding.get(fibre, Fraction(0)) for fibre in self.fibres}
        self.least_price = {fibre: market.least_price(fibre) for fibre in self.fibres}
        # Without holding, every plan comes to a whole number of minor units.
        self.is_whole = not any(self.holding.values())
        self.places: dict[str, list[int]] = {fibre: [] for fibre in self.fibres}
        for place, offer in enumerate(self.offers):
            self.places[offer.fibre].append(place)
        self.order_days = {ref: self._order_days(source) for ref, source in self.sources.items()}
        # What the holding of every need's own milligrams comes to, counted with each pack.
        self.met = sum(
            (
                self.holding[fibre] * mg * self._days_left(day)
                for fibre in self.fibres
                for day, mg in wanted[fibre].items()
            ),
            Fraction(0),
        )

    def _order_days(self, source: Source) -> tuple[int, ...]:
        """Return the days worth an order: the last one for each need and each price of freight.

        An order can wait until one of its fibres is needed, until its freight changes or until
        one of its offers ends: nothing it costs changes before that. Prices of packs that rise
        with their number can make two small orders cheaper than one, so then all days count.
        """
        offers = [offer for offer in self.offers if offer.source == source.ref]
        if any(_rises(offer) for offer in offers):
            return tuple(sorted({day for offer in offers for day in offer.days}))
        ends = [first - 1 for first, _ in source.freight[1:]]
        days: set[int] = set()
        for offer in offers:
            by = [need - offer.lead for need in self.needs[offer.fibre].days] + ends
            days.update(day for limit in by if (day := offer.latest(limit)) is not None)
        return tuple(sorted(days))

    def _days_left(self, day: int) -> int:
        return max(0, self.horizon - day)

    def pack_holding(self, place: int, day: int) -> Fraction:
        """Return what keeping one pack costs from its arrival to the end of the horizon."""
        offer = self.offers[place]
        return self.holding[offer.fibre] * offer.pack_mg * self._days_left(day + offer.lead)

    def by_order(self, plan: Plan) -> dict[tuple[str, int], Plan]:
        """Return the lines of a plan by source and day."""
        orders: dict[tuple[str, int], Plan] = {}
        for (place, day), packs in sorted(plan.items()):
            if packs:
                key = self.offers[place].source, day
                orders.setdefault(key, {})[place, day] = packs
        return orders

    def cost(self, plan: Plan) -> Fraction:
        """Return goods, freight and holding of a plan, counted afresh from its packs."""
        total = self.holding_of(plan)
        for (ref, day), lines in self.by_order(plan).items():
            goods = sum(self.offers[place].cost(packs) for (place, _), packs in lines.items())
            total += goods + self.sources[ref].charge(day, goods)
        return total

    def holding_of(self, plan: Plan) -> Fraction:
        """Return what keeping the packs of a plan costs until they are needed."""
        kept = sum(
            (self.pack_holding(place, day) * packs for (place, day), packs in plan.items()),
            Fraction(0),
        )
        return kept - self.met

    def least_goods(self) -> Fraction:
        """Return what no plan can cost less than: every milligram at its least price."""
        least = sum(
            (self.least_price[fibre] * needs.total for fibre, needs in self.needs.items()),
            Fraction(0),
        )
        return Fraction(ceil(least)) if self.is_whole else least

    def spare(self, plan: Plan, fibre: str) -> list[int]:
        """Return what is in beyond what is needed, at each need of a fibre."""
        needs = self.needs[fibre]
        spare = [-mg for mg in needs.by_then]
        for (place, day), packs in plan.items():
            offer = self.offers[place]
            if offer.fibre == fibre:
                for at in range(needs.first_served(day + offer.lead), len(spare)):
                    spare[at] += packs * offer.pack_mg
        return spare

    def is_kept(self, plan: Plan) -> bool:
        """Whether a plan meets every need on its day and every term of the sources."""
        for (ref, day), lines in self.by_order(plan).items():
            goods = 0
            for (place, _), packs in lines.items():
                offer = self.offers[place]
                if packs < offer.least or day not in offer.days:
                    return False
                goods += offer.cost(packs)
            if goods < self.sources[ref].order_minimum:
                return False
        return all(min(self.spare(plan, fibre), default=0) >= 0 for fibre in self.fibres)


def _filling(market: Market, fibres: set[str], sources: set[str]) -> list[Offer]:
    """Return the offers of fibres that nothing asks for, at sources that are ordered from.

    Such a fibre is worth a pack where that brings an order to a threshold.
    """
    return [
        offer
        for offer in market.offers
        if offer.fibre in fibres
        and offer.source in sources
        and market.sources[offer.source].has_threshold
    ]


def _rises(offer: Offer) -> bool:
    return any(
        later.each > step.each for step, later in zip(offer.steps, offer.steps[1:], strict=False)
    )
