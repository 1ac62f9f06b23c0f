"""Put every order of a plan off to the last day on which it is still in time."""

from __future__ import annotations

from orders.calc._buying.case import Case, Plan

_PASSES = 5


def put_off(case: Case, plan: Plan) -> Plan:
    """Return the plan with each order on its last day; no need is missed, nothing costs more."""
    for _ in range(_PASSES):
        moved = dict(plan)
        for (ref, day), lines in sorted(case.by_order(plan).items(), key=lambda row: -row[0][1]):
            later = _last_day(case, moved, ref, day, lines)
            if later > day:
                for line, packs in lines.items():
                    del moved[line]
                    moved[line[0], later] = packs
        if moved == plan:
            break
        plan = moved
    return {line: packs for line, packs in sorted(plan.items()) if packs}


def _last_day(case: Case, plan: Plan, ref: str, day: int, lines: Plan) -> int:
    limit = _limit(case, plan, day, lines)
    if limit is None:
        return day
    source = case.sources[ref]
    goods = sum(case.offers[place].cost(packs) for (place, _), packs in lines.items())
    charge = source.charge(day, goods)
    open_days = set.intersection(*(set(case.offers[place].days) for place, _ in lines))
    taken = {when for place, when in plan if case.offers[place].source == ref}
    for later in range(limit, day, -1):
        if later in open_days and later not in taken and source.charge(later, goods) <= charge:
            return later
    return day


def _limit(case: Case, plan: Plan, day: int, lines: Plan) -> int | None:
    """Return the last day on which no need would miss these lines; None if none needs them."""
    mass: dict[str, int] = {}
    for (place, _), packs in lines.items():
        offer = case.offers[place]
        mass[offer.fibre] = mass.get(offer.fibre, 0) + packs * offer.pack_mg
    lead = case.offers[next(iter(lines))[0]].lead
    limits = []
    for fibre, brought in mass.items():
        needs = case.needs[fibre]
        spare = case.spare(plan, fibre)
        limits += [
            needs.days[at] - lead
            for at in range(needs.first_served(day + lead), len(spare))
            if spare[at] < brought
        ][:1]
    return min(limits, default=None)
