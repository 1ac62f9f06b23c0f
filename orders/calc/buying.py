"""What to buy, from whom and by when, so that promises and minimums are kept at least cost."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import inf

from orders.calc._buying.case import Case, Plan
from orders.calc._buying.flags import Dryness, flag_of
from orders.calc._buying.later import put_off
from orders.calc._buying.milp import Solved, Stop, solve
from orders.calc._buying.projection import Outlook, project
from orders.calc._buying.rule import polish, walk_forward
from orders.calc._buying.terms import Market, Offer
from orders.calc.bought import Flag, LineToBuy, OrderToPlace, Reorder
from orders.calc.cover import allocate
from orders.calc.covered import Cover
from orders.calc.planrows import Snapshot, Sourcing

DEFAULT_HORIZON_DAYS = 91
LARGEST_SECONDS = 86_400.0

# Told the seconds spent, the least cost found and the least cost possible, in minor units;
# stops the search by returning True.
Progress = Callable[[float, float, float], bool | None]


def plan(
    snapshot: Snapshot,
    *,
    time_limit_s: float = 5.0,
    cover: Cover | None = None,
    progress: Progress | None = None,
) -> Reorder:
    """Return what falls short when, and the cheapest purchases that mend it.

    Parameters
    ----------
    snapshot : Snapshot [mg, minor units, days]
        Lots, promises and sourcing; a snapshot without sourcing is looked at for 91 days.
    time_limit_s : float [s]
        How long all of it may take; the rule's plan is made in any case.
    cover : Cover [mg]
        How the promises stand; reckoned where it is left out and they are asked for.
    progress : callable [s, minor units, minor units]
        Told the seconds spent, the least cost found and the least cost possible about twice a
        second while the search goes on; returning True ends it.

    Returns
    -------
    Reorder [mg, minor units, days]
        One flag per fibre in the order of names; purchases in the order of days.

    Raises
    ------
    StudioError
        Never for what cannot be bought in time: that is an answer.

    Notes
    -----
    Whole packs, price breaks, order minimum, freight once per order with its threshold, and
    holding cost, as a mixed-integer model of the requirements that the projected balances
    leave. An order can be placed on days on which its source
    takes orders and the offer holds; it serves from the day it arrives. A requirement that
    nothing can meet in time is planned for the first day on which its fibre can arrive; one
    without any offer is only flagged. Holding is charged on what lies above the minimum at the
    end of each day of the horizon, whatever it came from, and rounded once for the whole plan.
    Every plan is counted afresh in integers, and the cheaper of the walk-forward rule's and
    the solver's is returned; the rule's total is the one after its own search. A fibre of the
    studio that nothing asks for is bought only where that makes the whole cheaper, by bringing
    an order to a threshold. Source: [WAGNER] for the least cost
    over time with holding, the same with packs and breaks by definition.

    Examples
    --------
    >>> from orders.calc.plan import from_json
    >>> answer = plan(from_json({
    ...     "halfstuff_snapshot": 1, "today": "2027-03-01", "currency": "GBP",
    ...     "lots": [], "commissions": [],
    ...     "sourcing": {"horizon_days": 28,
    ...                  "demand": [{"fibre": "abaca", "on": "2027-03-20", "mg": 1500000}],
    ...                  "sources": [{"ref": "S1", "lead_days": 9, "freight_minor": 600}],
    ...                  "offers": [{"ref": "O1", "source": "S1", "fibre": "abaca",
    ...                              "pack_usable_mg": 900000, "breaks": [[1, 1900]]}]},
    ... }))
    >>> answer.of("abaca").state, answer.of("abaca").order_by.isoformat(), answer.total_minor
    ('order by', '2027-03-11', 4400)
    """
    begun = time.monotonic()
    sourcing = snapshot.sourcing or Sourcing(DEFAULT_HORIZON_DAYS)
    snapshot = replace(snapshot, sourcing=sourcing)
    if cover is None and sourcing.demand is None:
        cover = allocate(snapshot)
    outlooks = project(snapshot, cover=cover)
    market = Market(snapshot)
    cases = [Case(market, wanted, outlooks) for wanted in _groups(market, outlooks)]
    found = _Search(cases, begun + _limit(time_limit_s), progress).found()
    above = sum(
        (
            market.holding.get(fibre, Fraction(0)) * outlook.above_mg_days
            for fibre, outlook in outlooks.items()
        ),
        Fraction(0),
    )
    dry = Dryness(snapshot)
    kept = above + sum((one.case.holding_of(one.plan) for one in found), Fraction(0))
    total = above + sum((one.case.cost(one.plan) for one in found), Fraction(0))
    return Reorder(
        today=snapshot.today,
        horizon_days=sourcing.horizon_days,
        flags=tuple(flag_of(outlook, market, dry) for outlook in outlooks.values()),
        purchases=_orders(found, market, dry),
        rule_total_minor=round(above + sum((one.rule_cost for one in found), Fraction(0))),
        gap=_gap(found, total),
        # Goods and freight are whole, so that what is left of the rounded cost is the holding.
        holding_minor=round(total) - int(total - kept),
    )


def flags(snapshot: Snapshot, *, cover: Cover | None = None) -> tuple[Flag, ...]:
    """Return how each fibre stands with nothing bought, without working out what to buy.

    Parameters
    ----------
    snapshot : Snapshot [mg, minor units, days]
        Lots, promises and sourcing; a snapshot without sourcing is looked at for 91 days.
    cover : Cover [mg]
        How the promises stand; reckoned where it is left out and they are asked for.

    Returns
    -------
    tuple of Flag [mg, days]
        The flags of :func:`plan`, one per fibre in the order of names.

    Raises
    ------
    StudioError
        Never; a snapshot is checked when it is read.

    Notes
    -----
    The same flags as in a plan, for a page that has no time to look for one. Source: definition.

    Examples
    --------
    >>> from orders.calc.plan import from_json
    >>> [(flag.fibre, flag.state) for flag in flags(from_json({
    ...     "halfstuff_snapshot": 1, "today": "2027-03-01", "currency": "GBP",
    ...     "lots": [], "commissions": [],
    ...     "sourcing": {"horizon_days": 28, "minimum_mg": {"abaca": 1500000}},
    ... }))]
    [('abaca', 'no offer known')]
    """
    sourcing = snapshot.sourcing or Sourcing(DEFAULT_HORIZON_DAYS)
    snapshot = replace(snapshot, sourcing=sourcing)
    if cover is None and sourcing.demand is None:
        cover = allocate(snapshot)
    outlooks = project(snapshot, cover=cover)
    market, dry = Market(snapshot), Dryness(snapshot)
    return tuple(flag_of(outlook, market, dry) for outlook in outlooks.values())


def _limit(seconds: float) -> float:
    """Return a limit that can be counted down; anything that is no number is no time."""
    return min(max(seconds, 0.0), LARGEST_SECONDS) if seconds == seconds else 0.0


def _groups(market: Market, outlooks: dict[str, Outlook]) -> list[dict[str, dict[int, int]]]:
    """Return what is wanted by fibre and day, in groups that share no order."""
    groups: list[tuple[set[str], dict[str, dict[int, int]]]] = []
    for fibre, outlook in outlooks.items():
        if not outlook.wanted:
            continue
        shared = {o.source for o in market.by_fibre[fibre] if market.sources[o.source].joins}
        wanted = {fibre: outlook.wanted}
        apart = []
        for sources, group in groups:
            if sources & shared:
                shared, wanted = shared | sources, {**group, **wanted}
            else:
                apart.append((sources, group))
        groups = [*apart, (shared, wanted)]
    return [wanted for _, wanted in groups]


@dataclass(frozen=True, slots=True)
class _Found:
    """The plan chosen for a group, what the rule comes to, and what no plan lies below."""

    case: Case
    plan: Plan
    rule_cost: Fraction
    bound: Fraction
    is_proven: bool


class _Search:
    """Finds the plan of every group, the rule's first, then the solver's while time is left."""

    def __init__(self, cases: list[Case], deadline: float, progress: Progress | None) -> None:
        self.cases = cases
        self.deadline = deadline
        self.progress = progress
        self.begun = time.monotonic()
        self.is_stopped = False
        self.best: list[float] = []
        self.bounds: list[float] = []

    def found(self) -> list[_Found]:
        rules = [walk_forward(case) for case in self.cases]
        self.best = [float(case.cost(plan)) for case, plan in zip(self.cases, rules, strict=True)]
        self.bounds = [float(case.least_goods()) for case in self.cases]
        return [
            self._settle(place, case, rule)
            for place, (case, rule) in enumerate(zip(self.cases, rules, strict=True))
        ]

    def _settle(self, place: int, case: Case, rule: Plan) -> _Found:
        rule_cost, bound = case.cost(rule), case.least_goods()
        solved = Solved(None, -inf, is_proven=rule_cost <= bound)
        left = self.deadline - time.monotonic()
        share = left / (len(self.cases) - place)
        if share > 0 and not self.is_stopped and not solved.is_proven:
            solved = solve(case, rule, time_limit_s=share, stop=self._listener(place, case))
        plans = [rule]
        if solved.plan is not None:
            plans.append(solved.plan)
            if not solved.is_proven:
                plans.append(polish(case, solved.plan))
        chosen = put_off(case, min(plans, key=case.cost))
        cost = case.cost(chosen)
        if solved.is_proven:
            bound = cost
        elif solved.bound > -inf:
            bound = min(cost, max(bound, Fraction(solved.bound) - case.met))
        self.best[place], self.bounds[place] = float(cost), float(bound)
        return _Found(case, chosen, rule_cost, bound, is_proven=bound >= cost)

    def _listener(self, place: int, case: Case) -> Stop | None:
        progress = self.progress
        if progress is None:
            return None

        def listen(_: float, best: float, bound: float) -> bool:
            met = float(case.met)
            self.best[place] = min(self.best[place], best - met)
            self.bounds[place] = max(self.bounds[place], bound - met)
            seconds = time.monotonic() - self.begun
            self.is_stopped = bool(progress(seconds, sum(self.best), sum(self.bounds)))
            return self.is_stopped

        return listen


def _gap(found: list[_Found], total: Fraction) -> float:
    if all(one.is_proven for one in found) or total <= 0:
        return 0.0
    missing = sum((one.case.cost(one.plan) - one.bound for one in found), Fraction(0))
    return float(missing / total)


def _orders(found: list[_Found], market: Market, dry: Dryness) -> tuple[OrderToPlace, ...]:
    """Return the orders of all groups; what one source takes on one day is one order."""
    lines: dict[tuple[int, str], list[LineToBuy]] = {}
    for one in found:
        for (place, day), packs in one.plan.items():
            offer = one.case.offers[place]
            lines.setdefault((day, offer.source), []).append(_line(offer, packs, dry))
    return tuple(
        OrderToPlace(
            source=ref,
            order_on=market.on(day),
            arrives_on=market.on(day + market.sources[ref].lead),
            lines=tuple(sorted(bought, key=lambda line: (line.fibre, line.offer))),
            freight_minor=market.sources[ref].charge(day, sum(line.cost_minor for line in bought)),
        )
        for (day, ref), bought in sorted(lines.items())
    )


def _line(offer: Offer, packs: int, dry: Dryness) -> LineToBuy:
    usable = packs * offer.pack_mg
    return LineToBuy(
        fibre=offer.fibre,
        offer=offer.ref,
        packs=packs,
        usable_mg=usable,
        oven_dry_mg=round(dry.of(offer.fibre, usable)),
        cost_minor=offer.cost(packs),
    )
