"""Why a plan does not buy from the source that looks cheaper: it cannot deliver in time."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from orders.calc._buying.terms import Market, Offer
from orders.calc.bought import Flag, LineToBuy, OrderToPlace, Reorder
from orders.calc.planrows import Snapshot
from orders.wording import day
from studio.money import BY_MASS_WORDS, show_by_mass
from studio.units import System

MG_PER_KG = 1_000_000
MOST_TOLD = 3


def not_from_one(
    plan: Reorder, shot: Snapshot, currency: str, system: System = "metric"
) -> list[str]:
    """Name offers of the plan's own sources that are cheaper a kilogram and come too late.

    Only what the figures prove is said: the price before freight at the packs wanted, and the
    first day of arrival against the day on which the fibre is wanted.
    """
    used = {order.source for order in plan.purchases}
    market = Market(shot)
    told: dict[tuple[str, str], tuple[int, str]] = {}
    for order in plan.purchases:
        for line in order.lines:
            for offer in market.by_fibre.get(line.fibre, ()):
                if offer.source not in used - {order.source}:
                    continue
                less = _cheaper_by(offer, line)
                if less > 0 and _comes_too_late(offer, market, order, plan.of(line.fibre)):
                    words = _words(offer, market, order, _less(less, currency, system))
                    told.setdefault((offer.source, offer.fibre), (less, words))
    return [words for _, words in sorted(told.values(), reverse=True)[:MOST_TOLD]]


def _cheaper_by(offer: Offer, line: LineToBuy) -> int:
    """Return how much less a usable kilogram costs, in minor units, at the packs wanted."""
    packs = max(offer.least, -(-line.usable_mg // offer.pack_mg))
    theirs = Fraction(offer.cost(packs) * MG_PER_KG, packs * offer.pack_mg)
    return round(Fraction(line.cost_minor * MG_PER_KG, line.usable_mg) - theirs)


def _arrival(offer: Offer, market: Market) -> date:
    return market.on(offer.days[0] + offer.lead)


def _comes_too_late(offer: Offer, market: Market, order: OrderToPlace, flag: Flag | None) -> bool:
    if flag is None or flag.short_on is None:
        return False
    return _arrival(offer, market) > max(flag.short_on, order.arrives_on)


def _less(minor_per_kg: int, currency: str, system: System) -> str:
    price, unit = show_by_mass(minor_per_kg, currency, system)
    return f"{price} less a usable {BY_MASS_WORDS[unit]}"


def _words(offer: Offer, market: Market, order: OrderToPlace, less: str) -> str:
    today = market.today
    return (
        f"{offer.source} sells {offer.fibre} for {less} before freight, but nothing from there "
        f"arrives before {day(_arrival(offer, market), today)}; from {order.source} it is there "
        f"on {day(order.arrives_on, today)}."
    )
