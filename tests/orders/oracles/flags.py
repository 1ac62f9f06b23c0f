"""How a fibre stands over the horizon where demand is given, reckoned day by day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from orders.calc.planrows import Snapshot
from tests.orders.oracles.buying_oracle import days_of, may_order, terms_of, without_buying


@dataclass(frozen=True)
class Standing:
    state: str
    short_on: date | None = None
    short_mg: int = 0
    order_by: date | None = None
    earliest: date | None = None


def standing(snapshot: Snapshot, fibre: str) -> Standing:
    minimum = terms_of(snapshot).minimum_mg.get(fibre, 0)
    missing = [(day, minimum - without_buying(snapshot, fibre, day)) for day in days_of(snapshot)]
    short_on = next((day for day, mass in missing if mass > 0), None)
    if short_on is None:
        return Standing("nothing to do")
    short = short_on, max(mass for _, mass in missing)
    pairs = list(_order_and_arrival(snapshot, fibre))
    if not pairs:
        return Standing("no offer known", *short)
    earliest = min(arrives for _, arrives in pairs)
    # A minimum that is broken today is ordered now; that comes late only for what is wanted.
    wanting = next((day for day, mass in missing if mass > minimum), None)
    can_order_today = any(ordered == snapshot.today for ordered, _ in pairs)
    if wanting is not None and wanting < earliest:
        return Standing("too late", *short, None, earliest)
    if short_on == snapshot.today < earliest and can_order_today:
        return Standing("order now", *short, snapshot.today, earliest)
    in_time = [ordered for ordered, arrives in pairs if arrives <= short_on]
    if not in_time:
        return Standing("too late", *short, None, earliest)
    latest = max(in_time)
    state = "order now" if latest == snapshot.today else "order by"
    return Standing(state, *short, latest, None)


def _order_and_arrival(snapshot: Snapshot, fibre: str) -> list[tuple[date, date]]:
    sources = {source.ref: source for source in terms_of(snapshot).sources}
    return [
        (day, day + timedelta(days=sources[offer.source].lead_days))
        for offer in terms_of(snapshot).offers
        if offer.fibre == fibre
        for day in days_of(snapshot)
        if may_order(sources[offer.source], offer, day)
    ]
