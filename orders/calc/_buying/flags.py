"""How each fibre stands, told in dates: what to do about it and by when."""

from __future__ import annotations

from fractions import Fraction
from operator import attrgetter

from orders.calc._buying.projection import Outlook
from orders.calc._buying.terms import Market
from orders.calc.bought import (
    NO_OFFER,
    NOTHING_TO_DO,
    ORDER_BY,
    ORDER_NOW,
    TOO_LATE,
    Flag,
)
from orders.calc.planrows import PlanLot, Snapshot

_by_ref = attrgetter("ref")


class Dryness:
    """Oven-dry fibre for usable fibre: by the yield of the fibre, else as its lots have it."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.ratios = {fibre: 1 / Fraction(share) for fibre, share in snapshot.yields.items()}
        last: dict[str, PlanLot] = {}
        for lot in snapshot.lots:
            if lot.usable_mg and lot.fibre not in self.ratios:
                last[lot.fibre] = max(lot, last.get(lot.fibre, lot), key=_by_ref)
        for fibre, lot in last.items():
            self.ratios[fibre] = Fraction(lot.oven_dry_mg, lot.usable_mg)

    def of(self, fibre: str, usable_mg: int) -> Fraction:
        """Return the oven-dry milligrams exactly."""
        return usable_mg * self.ratios.get(fibre, Fraction(1))


def flag_of(outlook: Outlook, market: Market, dry: Dryness) -> Flag:
    """Return how one fibre stands with nothing bought."""
    needs = outlook.requirements
    short = sum(need.mg for need in needs)
    state, order_by, earliest = _state(outlook, market)
    return Flag(
        fibre=outlook.fibre,
        state=state,
        minimum_mg=outlook.minimum_mg,
        balances=outlook.balances,
        short_on=market.on(needs[0].day) if needs else None,
        short_mg=short,
        short_oven_dry_mg=-(-dry.of(outlook.fibre, short) // 1),
        order_by=None if order_by is None else market.on(order_by),
        earliest=None if earliest is None else market.on(earliest),
        commissions=tuple(dict.fromkeys(ref for need in needs for ref in need.commissions)),
        promised_mg=sum(need.promised_mg for need in needs),
    )


def _state(outlook: Outlook, market: Market) -> tuple[str, int | None, int | None]:
    """Return the state, the last day to order and, where it is too late, the first arrival.

    A minimum that is broken today cannot be mended in time by anything, so it is no alarm: it
    is ordered now. A promise that cannot be kept is one, even behind such a minimum.
    """
    fibre, needs = outlook.fibre, outlook.requirements
    if not needs:
        return NOTHING_TO_DO, None, None
    earliest = market.earliest(fibre)
    if earliest is None:
        # Out of season within the horizon: the next crop is an answer too, if a late one.
        next_crop = market.further.earliest(fibre)
        return (NO_OFFER if next_crop is None else TOO_LATE), None, next_crop
    promised = next((need.day for need in needs if need.promised_mg), None)
    if promised is not None and promised < earliest:
        return TOO_LATE, None, earliest
    first = needs[0].day
    if first == 0 and earliest and any(offer.days[0] == 0 for offer in market.by_fibre[fibre]):
        return ORDER_NOW, 0, earliest
    order_by = market.order_by(fibre, first)
    if order_by is None:
        return TOO_LATE, None, earliest
    return (ORDER_BY if order_by else ORDER_NOW), order_by, None
