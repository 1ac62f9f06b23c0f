"""Offers of one fibre compared: what each comes to in whole packs, and which is cheapest how.

Three answers are each right for another question: the least money out of the till, the least
for a usable kilogram in the store, and the least before freight, for who fetches it anyway.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from fibres.calc import _checks as check
from fibres.calc import moisture as wet
from fibres.calc.offers import (
    Offering,
    Terms,
    freight_of,
    goods_minor,
    pack_breaks,
    packs_for,
)
from fibres.calc.pricing import MG_PER_KG
from fibres.calc.steps import Step, price_steps
from studio.errors import RangeError

# Why more packs are taken than the need alone asks for.
FOR_MINIMUM = "to reach the least order"
FOR_FREE_FREIGHT = "because freight is free from there"
FOR_BREAK = "because so many cost less than fewer"


def order_day(
    today: date,
    *,
    season: tuple[str, str] | None = None,
    valid_from: date | None = None,
    valid_to: date | None = None,
) -> date | None:
    """Return the first day on which an order can be placed.

    Parameters
    ----------
    today : date
        No order is placed before it.
    season : (str, str) or None
        First and last day of the year on which orders are taken, as month-day, both included;
        None for the whole year.
    valid_from : date or None
        First day on which the offer holds; None where it holds already.
    valid_to : date or None
        Last day on which the offer holds; None where no end is known.

    Returns
    -------
    date or None
        None where the offer ends before a day of the season comes.

    Raises
    ------
    RangeError
        If the season is no pair of month-days.

    Notes
    -----
    A season that ends before it begins runs over the turn of the year. Source: definition.

    Examples
    --------
    >>> order_day(date(2027, 5, 1), season=("02-01", "04-30"))
    datetime.date(2028, 2, 1)
    """
    found = max(today, valid_from or today)
    if season is not None and not in_season(found, season):
        found = _next_start(found, season[0])
    return found if valid_to is None or found <= valid_to else None


def in_season(day: date, season: tuple[str, str]) -> bool:
    """Tell whether a source takes orders on a day.

    Parameters
    ----------
    day : date
        Any day.
    season : (str, str)
        First and last day of the year on which orders are taken, as month-day, both included.

    Returns
    -------
    bool
        True also beyond the turn of the year where the season runs over it.

    Raises
    ------
    StudioError
        Never; month-days are checked where they are read.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> winter = ("11-01", "02-28")
    >>> in_season(date(2027, 1, 5), winter), in_season(date(2027, 3, 1), winter)
    (True, False)
    """
    first, last = season
    now = f"{day:%m-%d}"
    return first <= now <= last if first <= last else now >= first or now <= last


def _next_start(day: date, start: str) -> date:
    try:
        month, number = (int(part) for part in start.split("-"))
        # A year in which every day exists: 29 February is missing three years in four.
        date(2000, month, number)
    except ValueError as fault:
        raise RangeError(
            f"A season must be two month-days, got {start!r}.", value=start
        ) from fault
    this_year = _day_of(day.year, month, number)
    return this_year if this_year >= day else _day_of(day.year + 1, month, number)


def _day_of(year: int, month: int, number: int) -> date:
    try:
        return date(year, month, number)
    except ValueError:
        return date(year, 3, 1)


@dataclass(frozen=True, slots=True)
class Bill:
    """What an offer comes to for a need, in whole packs.

    ``packs_needed`` is what the need alone asks for; where ``packs`` is more, ``why_more`` says
    what for. Without ``order_on`` it can no longer be ordered.
    """

    offer: Offering
    packs_needed: int
    packs: int
    as_sold_mg: int
    oven_dry_mg: int
    usable_mg: int
    goods_minor: int
    freight_minor: int
    why_more: str
    order_on: date | None
    arrives_on: date | None

    @property
    def cash_minor(self) -> int:
        """Goods and freight."""
        return self.goods_minor + self.freight_minor

    @property
    def cash_per_usable_kg(self) -> Fraction:
        """What a usable oven-dry kilogram costs, delivered, in minor units."""
        return Fraction(self.cash_minor * MG_PER_KG, self.usable_mg)

    @property
    def goods_per_oven_dry_kg(self) -> Fraction:
        """What an oven-dry kilogram costs before freight, in minor units."""
        return Fraction(self.goods_minor * MG_PER_KG, self.oven_dry_mg)


def bill(need_oven_dry_mg: int, offer: Offering, *, today: date) -> Bill | None:
    """Return the cheapest order of one offer that covers a need.

    Parameters
    ----------
    need_oven_dry_mg : int [mg]
        Fibre wanted, without water.
    offer : Offering
        Pack, prices, terms of the source.
    today : date
        No order is placed before it.

    Returns
    -------
    Bill or None
        None where no number of packs comes to the least order of the source.

    Raises
    ------
    RangeError
        If the need is negative or not whole, or the pack holds too little to weigh.

    Notes
    -----
    More packs are taken where the least order asks for them, or where a price break or free
    freight makes more cost less; of two orders that cost the same, the smaller. Goods rise
    within a step of prices, so that the cheapest order is the first of a step that the need,
    the least order or free freight allows. Source: definition.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from fibres.calc.offers import Terms
    >>> offer = Offering("X-5", 5_000_000, Decimal("0.08"), 940, terms=Terms(freight_minor=1400))
    >>> found = bill(1_119_000, offer, today=date(2027, 9, 1))
    >>> found.packs, found.oven_dry_mg, found.cash_minor
    (1, 4600000, 6100)
    """
    needed = packs_for(need_oven_dry_mg, offer)
    terms = offer.terms
    steps = price_steps(pack_breaks(offer), incremental=offer.is_incremental)
    chosen = cheapest_order(needed, steps, terms)
    if chosen is None:
        return None
    freight, packs = chosen[0] - goods_minor(chosen[1], offer), chosen[1]
    as_sold = packs * offer.pack_mg
    oven_dry = wet.oven_dry_mg(as_sold, offer.moisture)
    usable = wet.usable_mg(oven_dry, offer.preparation_yield)
    check.positive("The usable fibre of the packs", usable, "mg")
    ordered = order_day(
        today, season=terms.season, valid_from=offer.valid_from, valid_to=offer.valid_to
    )
    return Bill(
        offer=offer,
        packs_needed=needed,
        packs=packs,
        as_sold_mg=as_sold,
        oven_dry_mg=oven_dry,
        usable_mg=usable,
        goods_minor=chosen[0] - freight,
        freight_minor=freight,
        why_more=_why_more(needed, packs, freight, offer),
        order_on=ordered,
        arrives_on=ordered + timedelta(days=terms.lead_days) if ordered else None,
    )


def cheapest_order(needed: int, steps: Iterable[Step], terms: Terms) -> tuple[int, int] | None:
    """Return cash and packs of the cheapest order of at least the packs needed.

    Parameters
    ----------
    needed : int [packs]
        What the need alone asks for.
    steps : iterable of Step
        What packs cost.
    terms : Terms
        Least order and freight of the source.

    Returns
    -------
    (int [minor], int [packs]) or None
        Goods and freight, and how many packs; None where no number of packs comes to the least
        order.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    Goods rise within a step of prices, so that the cheapest order is the first of a step that
    the need, the least order or free freight allows; of two that cost the same, the smaller.
    Source: definition.

    Examples
    --------
    >>> steps = price_steps(((1, 1000),), incremental=False)
    >>> cheapest_order(2, steps, Terms(freight_minor=1400, free_freight_from_minor=3000))
    (3000, 3)
    """
    amounts = {terms.order_minimum_minor}
    if terms.free_freight_from_minor is not None:
        amounts.add(max(terms.free_freight_from_minor, terms.order_minimum_minor))
    found = []
    for step in steps:
        for amount in amounts:
            packs = step.reaching(needed, amount)
            if packs is not None:
                goods = step.goods(packs)
                found.append((goods + freight_of(goods, terms), packs))
    return min(found, default=None)


def _why_more(needed: int, packs: int, freight: int, offer: Offering) -> str:
    if packs == needed:
        return ""
    goods = goods_minor(needed, offer)
    if goods < offer.terms.order_minimum_minor:
        return FOR_MINIMUM
    return FOR_BREAK if freight == freight_of(goods, offer.terms) else FOR_FREE_FREIGHT


@dataclass(frozen=True, slots=True)
class Comparison:
    """Offers for one need: those that can be ordered, the three winners, and who is left out.

    ``left_out`` holds the title of an offer and a sentence each.
    """

    need_oven_dry_mg: int
    bills: tuple[Bill, ...]
    left_out: tuple[tuple[str, str], ...] = ()

    @property
    def least_cash(self) -> Bill | None:
        """The offer that asks for the least money; of two alike, the one that brings more."""
        return min(self.bills, key=lambda one: (one.cash_minor, -one.usable_mg), default=None)

    @property
    def least_delivered(self) -> Bill | None:
        """The offer that costs the least for a usable kilogram, freight and all."""
        return min(
            self.bills, key=lambda one: (one.cash_per_usable_kg, one.cash_minor), default=None
        )

    @property
    def least_before_freight(self) -> Bill | None:
        """The offer whose goods cost the least for an oven-dry kilogram."""
        return min(
            self.bills,
            key=lambda one: (one.goods_per_oven_dry_kg, one.cash_per_usable_kg),
            default=None,
        )


TOO_FEW = "No number of packs comes to the least order of the source."
ENDED = "It ended before a day on which it could be ordered."


def compare(need_oven_dry_mg: int, offers: tuple[Offering, ...], *, today: date) -> Comparison:
    """Compare offers of one fibre for a need, each in the order that costs the least.

    Parameters
    ----------
    need_oven_dry_mg : int [mg]
        Fibre wanted, without water.
    offers : tuple of Offering
        In any order; their names tell them apart.
    today : date
        No order is placed before it.

    Returns
    -------
    Comparison
        Bills by the cash they ask for, and with a reason each the offers that cannot serve.

    Raises
    ------
    RangeError
        If the need is negative or not whole.

    Notes
    -----
    Source: definition; scenario H4 of the reference shows three winners.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from fibres.calc.offers import Terms
    >>> near = Offering("near", 4_000_000, Decimal("0.05"), 995, terms=Terms(freight_minor=600))
    >>> far = Offering("far", 20_000_000, Decimal("0.12"), 810)
    >>> found = compare(1_119_000, (far, near), today=date(2027, 9, 1))
    >>> found.least_cash.offer.name, found.least_delivered.offer.name
    ('near', 'far')
    """
    bills, left_out = [], []
    for offer in offers:
        found = bill(need_oven_dry_mg, offer, today=today)
        if found is None:
            left_out.append((offer.title, TOO_FEW))
        elif found.order_on is None:
            left_out.append((offer.title, ENDED))
        else:
            bills.append(found)
    bills.sort(key=lambda one: (one.cash_minor, -one.usable_mg, one.offer.title))
    return Comparison(need_oven_dry_mg, tuple(bills), tuple(left_out))
