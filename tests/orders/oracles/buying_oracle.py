"""The cheapest purchases by exhaustive search, and the cost of a plan reckoned from its rows.

Day by day, every number of packs of every offer that an order could bring on that day is tried,
from none up to the number past which one more pack can never pay: it reaches the last price
break, the least order, free freight and all that is needed, each by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from fractions import Fraction
from itertools import product

from orders.calc.bought import LineToBuy, OrderToPlace, Reorder
from orders.calc.planrows import PackOffer, Snapshot, SourceTerms, Sourcing

MG_PER_KG = 1_000_000
# What has been bought of every fibre so far: the least cost of having bought it.
Bought = dict[tuple[int, ...], int]


def terms_of(snapshot: Snapshot) -> Sourcing:
    assert snapshot.sourcing is not None
    return snapshot.sourcing


def fibres_of(snapshot: Snapshot) -> list[str]:
    terms = terms_of(snapshot)
    assert terms.demand is not None
    return sorted({wish.fibre for wish in terms.demand} | set(terms.minimum_mg))


def days_of(snapshot: Snapshot) -> list[date]:
    horizon = terms_of(snapshot).horizon_days
    return [snapshot.today + timedelta(days=number) for number in range(horizon)]


# --- what is there without buying -------------------------------------------------------------


def without_buying(snapshot: Snapshot, fibre: str, day: date) -> int:
    """Return stock and receipts up to the end of a day, less all that is wanted by then."""
    held = sum(
        lot.usable_mg for lot in snapshot.lots if lot.fibre == fibre and lot.usable_from <= day
    )
    wanted = sum(
        wish.mg
        for wish in terms_of(snapshot).demand or ()
        if wish.fibre == fibre and wish.on <= day
    )
    return held - wanted


def earliest_arrival(snapshot: Snapshot, fibre: str) -> date | None:
    terms = terms_of(snapshot)
    sources = {source.ref: source for source in terms.sources}
    days = [
        day + timedelta(days=sources[offer.source].lead_days)
        for offer in terms.offers
        if offer.fibre == fibre
        for day in days_of(snapshot)
        if may_order(sources[offer.source], offer, day)
    ]
    return min(days, default=None)


def may_order(source: SourceTerms, offer: PackOffer, day: date) -> bool:
    if source.season is not None and not in_season(day, *source.season):
        return False
    return (offer.valid_from or day) <= day <= (offer.valid_to or day)


def in_season(day: date, first: str, last: str) -> bool:
    this = f"{day.month:02d}-{day.day:02d}"
    return first <= this <= last if first <= last else this >= first or this <= last


# --- what an order costs ----------------------------------------------------------------------


def goods_minor(offer: PackOffer, packs: int) -> int:
    """Return the price of so many packs, pack by pack where steps are incremental."""
    if offer.breaks_are == "all units" and packs:
        return packs * _price(offer, packs)
    return sum(_price(offer, number) for number in range(1, packs + 1))


def _price(offer: PackOffer, number: int) -> int:
    return [price for since, price in sorted(offer.breaks) if since <= number][-1]


def freight_minor(source: SourceTerms, day: date, goods: int) -> int:
    free_from = source.free_freight_from_minor
    if free_from is not None and goods >= free_from:
        return 0
    held = source.freight[0][1]
    for since, price in source.freight[1:]:
        if since <= day:
            held = price
    return held


def holding_minor(snapshot: Snapshot, fibre: str, balance_mg: int) -> int:
    """Return what keeping a balance over one night costs, above the minimum."""
    terms = terms_of(snapshot)
    above = max(0, balance_mg - terms.minimum_mg.get(fibre, 0))
    rate = Fraction(str(terms.holding_minor_per_kg_day.get(fibre, 0)))
    cost = rate * above / MG_PER_KG
    assert cost.denominator == 1, "the oracle counts in whole minor units"
    return int(cost)


# --- the search -------------------------------------------------------------------------------


def cheapest(snapshot: Snapshot) -> int | None:
    """Return the least cost of goods, freight and holding; None where nothing can do it."""
    fibres = fibres_of(snapshot)
    state: Bought = {(0,) * len(fibres): 0}
    enough = [_enough(snapshot, fibre) for fibre in fibres]
    for day in days_of(snapshot):
        for source in terms_of(snapshot).sources:
            orders = list(possible_orders(snapshot, source, day, fibres))
            state = _after_orders(state, orders, enough)
        state = dict(_at_night(snapshot, state, day, fibres))
    return min(state.values(), default=None)


def possible_orders(
    snapshot: Snapshot, source: SourceTerms, day: date, fibres: list[str]
) -> Iterator[tuple[tuple[int, ...], int]]:
    """Yield every order of a source that arrives on a day: mass by fibre, and its cost."""
    yield (0,) * len(fibres), 0
    ordered_on = day - timedelta(days=source.lead_days)
    if ordered_on < snapshot.today:
        return
    offers = [
        offer
        for offer in terms_of(snapshot).offers
        if offer.source == source.ref and may_order(source, offer, ordered_on)
    ]
    for packs in product(*(_numbers(snapshot, source, offer) for offer in offers)):
        goods = sum(
            goods_minor(offer, number) for offer, number in zip(offers, packs, strict=True)
        )
        if not any(packs) or goods < source.order_minimum_minor:
            continue
        brought = tuple(
            sum(
                offer.pack_usable_mg * number
                for offer, number in zip(offers, packs, strict=True)
                if offer.fibre == fibre
            )
            for fibre in fibres
        )
        yield brought, goods + freight_minor(source, ordered_on, goods)


def _numbers(snapshot: Snapshot, source: SourceTerms, offer: PackOffer) -> list[int]:
    most = max(
        offer.least_packs,
        -(-_missing(snapshot, offer.fibre) // offer.pack_usable_mg),
        max(since for since, _ in offer.breaks),
    )
    value = max(source.order_minimum_minor, source.free_freight_from_minor or 0)
    while goods_minor(offer, most) < value:
        most += 1
    return [0, *range(offer.least_packs, most + 1)]


def _missing(snapshot: Snapshot, fibre: str) -> int:
    """Return the most that ever lacks to the minimum with nothing bought."""
    minimum = terms_of(snapshot).minimum_mg.get(fibre, 0)
    return max(0, *(minimum - without_buying(snapshot, fibre, day) for day in days_of(snapshot)))


def _enough(snapshot: Snapshot, fibre: str) -> int | None:
    """Return the mass past which it is all one how much is bought; None where keeping costs."""
    if terms_of(snapshot).holding_minor_per_kg_day.get(fibre):
        return None
    return _missing(snapshot, fibre)


def _after_orders(
    state: Bought, orders: list[tuple[tuple[int, ...], int]], enough: list[int | None]
) -> Bought:
    found: Bought = {}
    for bought, cost in state.items():
        for brought, more in orders:
            key = tuple(
                had + new if most is None else min(had + new, most)
                for had, new, most in zip(bought, brought, enough, strict=True)
            )
            if key not in found or cost + more < found[key]:
                found[key] = cost + more
    return found


def _at_night(
    snapshot: Snapshot, state: Bought, day: date, fibres: list[str]
) -> Iterator[tuple[tuple[int, ...], Fraction]]:
    for bought, cost in state.items():
        balances = [
            without_buying(snapshot, fibre, day) + mass
            for fibre, mass in zip(fibres, bought, strict=True)
        ]
        if all(
            is_enough(snapshot, fibre, day, balance)
            for fibre, balance in zip(fibres, balances, strict=True)
        ):
            yield (
                bought,
                cost
                + sum(
                    holding_minor(snapshot, fibre, balance)
                    for fibre, balance in zip(fibres, balances, strict=True)
                ),
            )


def is_enough(snapshot: Snapshot, fibre: str, day: date, balance_mg: int) -> bool:
    """Whether a balance keeps to the minimum, from the first day on which anything can come."""
    earliest = earliest_arrival(snapshot, fibre)
    if earliest is None or day < earliest:
        return True
    return balance_mg >= terms_of(snapshot).minimum_mg.get(fibre, 0)


# --- a plan, reckoned again -------------------------------------------------------------------


def plan_faults(snapshot: Snapshot, found: Reorder) -> Iterator[str]:
    """Yield what is wrong with a plan, read from its rows."""
    seen: set[tuple[str, date]] = set()
    for order in found.purchases:
        name = f"{order.source} on {order.order_on}"
        if (order.source, order.order_on) in seen:
            yield f"{name}: two orders on one day"
        seen.add((order.source, order.order_on))
        yield from (f"{name}: {fault}" for fault in _order_faults(snapshot, order))
    holding = 0
    for day in days_of(snapshot):
        for fibre in fibres_of(snapshot):
            balance = without_buying(snapshot, fibre, day) + _arrived(found, fibre, day)
            holding += holding_minor(snapshot, fibre, balance)
            if not is_enough(snapshot, fibre, day, balance):
                yield f"{fibre} lies at {balance} on {day}"
    if found.holding_minor != holding:
        yield f"holding {found.holding_minor}, comes to {holding}"
    if found.total_minor > found.rule_total_minor:
        yield f"dearer than the rule: {found.total_minor} against {found.rule_total_minor}"


def _arrived(found: Reorder, fibre: str, day: date) -> int:
    return sum(
        line.usable_mg
        for order in found.purchases
        if order.arrives_on <= day
        for line in order.lines
        if line.fibre == fibre
    )


def _order_faults(snapshot: Snapshot, order: OrderToPlace) -> Iterator[str]:
    terms = terms_of(snapshot)
    source = next(source for source in terms.sources if source.ref == order.source)
    offers = {offer.ref: offer for offer in terms.offers}
    if order.order_on < snapshot.today:
        yield "ordered before today"
    if order.arrives_on != order.order_on + timedelta(days=source.lead_days):
        yield "does not take as long as the source does"
    if len({line.offer for line in order.lines}) != len(order.lines) or not order.lines:
        yield "no line, or two of one offer"
    for line in order.lines:
        offer = offers[line.offer]
        if offer.source != order.source or not may_order(source, offer, order.order_on):
            yield f"{line.offer} is no offer of this source on that day"
        yield from _line_faults(offer, line)
    goods = sum(goods_minor(offers[line.offer], line.packs) for line in order.lines)
    if goods < source.order_minimum_minor:
        yield f"goods of {goods} are below the least order"
    if order.freight_minor != freight_minor(source, order.order_on, goods):
        yield f"freight is not {order.freight_minor}"


def _line_faults(offer: PackOffer, line: LineToBuy) -> Iterator[str]:
    if line.fibre != offer.fibre:
        yield f"{line.offer} is of {offer.fibre}"
    if line.packs < offer.least_packs or line.usable_mg != line.packs * offer.pack_usable_mg:
        yield f"{line.offer}: {line.packs} packs cannot be bought"
    if line.cost_minor != goods_minor(offer, line.packs):
        yield f"{line.offer}: {line.packs} packs do not cost {line.cost_minor}"
