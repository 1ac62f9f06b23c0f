"""The walk-forward rule: need by need the cheapest way to meet it, then a search around that.

It gives a plan in a moment where the model would take long, the model's first plan, and the
yardstick that no answer may fall behind. All costs are integers, so that the search can be
undone exactly and goes the same way on every run.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Callable, Iterable
from math import lcm

from orders.calc._buying.case import Case, Plan

# How many sizes of orders are tried before the search rests.
WORK = 120_000
# How many open orders of a source, counted back from the latest, a need may still join.
JOINED = 6
ABSORBED = 4

_Option = tuple[int, int, int, int]


def walk_forward(case: Case, *, work: int = WORK) -> Plan:
    """Return a plan that meets every need, found without a solver."""
    search = _Search(case, work)
    search.fill(case.fibres)
    search.improve()
    return search.plan()


def polish(case: Case, plan: Plan, *, work: int = WORK) -> Plan:
    """Return a plan at least as cheap, found by searching around one that keeps all needs."""
    search = _Search(case, work)
    for (place, day), packs in sorted(plan.items()):
        search.put(place, day, packs)
    search.improve()
    return search.plan()


class _Search:
    """A plan that is being changed, with its cost and what it has to spare."""

    def __init__(self, case: Case, work: int) -> None:
        self.case = case
        self.work_left = work
        self.offers = case.offers
        self.days = [frozenset(offer.days) for offer in case.offers]
        keeping = {
            place: case.holding[offer.fibre] * offer.pack_mg
            for place, offer in enumerate(case.offers)
        }
        self.scale = lcm(1, *(each.denominator for each in keeping.values()))
        self.keeping = {place: int(each * self.scale) for place, each in keeping.items()}
        self.spare = {fibre: [-mg for mg in case.needs[fibre].by_then] for fibre in case.fibres}
        self.orders: dict[tuple[str, int], dict[int, int]] = {}
        self.placed: dict[str, list[int]] = {ref: [] for ref in case.sources}
        self.goods: dict[tuple[str, int], int] = {}
        self.below: set[tuple[str, int]] = set()
        self.total = 0
        self.banned: frozenset[int] = frozenset()
        self.log: list[tuple[int, int, int]] = []
        self.walk = sorted(
            (day, fibre, at)
            for fibre in case.fibres
            for at, day in enumerate(case.needs[fibre].days)
        )

    def plan(self) -> Plan:
        return {
            (place, day): packs
            for (_, day), lines in sorted(self.orders.items())
            for place, packs in sorted(lines.items())
        }

    def put(self, place: int, day: int, packs: int) -> None:
        """Set the packs of one line; 0 takes it out."""
        offer = self.offers[place]
        key = offer.source, day
        source = self.case.sources[offer.source]
        lines = self.orders.get(key)
        if lines is None:
            lines = self.orders[key] = {}
            self.goods[key] = 0
            insort(self.placed[offer.source], day)
        had = lines.get(place, 0)
        self.log.append((place, day, had))
        goods = self.goods[key]
        before = goods + source.charge(day, goods) if lines else 0
        goods += (offer.cost(packs) if packs else 0) - (offer.cost(had) if had else 0)
        if packs:
            lines[place] = packs
        else:
            lines.pop(place, None)
        after = goods + source.charge(day, goods) if lines else 0
        self.goods[key] = goods
        self.below.discard(key)
        if not lines:
            del self.orders[key], self.goods[key]
            self.placed[offer.source].remove(day)
        elif goods < source.order_minimum:
            self.below.add(key)
        self.total += (after - before) * self.scale + self._kept(place, day) * (packs - had)
        needs, spare = self.case.needs[offer.fibre], self.spare[offer.fibre]
        for at in range(needs.first_served(day + offer.lead), len(spare)):
            spare[at] += (packs - had) * offer.pack_mg

    def _kept(self, place: int, day: int) -> int:
        left = self.case.horizon - day - self.offers[place].lead
        return self.keeping[place] * left if left > 0 else 0

    def undo(self, mark: int) -> None:
        for place, day, packs in reversed(self.log[mark:]):
            self.put(place, day, packs)
        del self.log[mark:]

    def fill(self, fibres: Iterable[str]) -> bool:
        """Meet what is missing, the first day first; say whether that could be done."""
        among = set(fibres)
        for day, fibre, at in self.walk:
            while fibre in among and self.spare[fibre][at] < 0:
                best = min(self._options(fibre, at, day), default=None)
                if best is None:
                    return False
                _, order_day, packs, place = best
                self.put(place, -order_day, packs)
        return True

    def _options(self, fibre: str, at: int, day: int) -> Iterable[_Option]:
        """Yield ways to meet one need: added cost, day (later first), packs, place."""
        short = -self.spare[fibre][at]
        for place in self.case.places[fibre]:
            offer = self.offers[place]
            latest = offer.latest(day - offer.lead)
            if latest is None or place in self.banned:
                continue
            placed = self.placed[offer.source]
            joined = placed[: bisect_left(placed, latest)][-JOINED:]
            for order_day in (latest, *reversed(joined)):
                if order_day in self.days[place]:
                    more = -(-short // offer.pack_mg)
                    yield from self._sizes(place, order_day, more)

    def _sizes(self, place: int, day: int, more: int) -> Iterable[_Option]:
        """Yield sizes of one line with so many packs more: as few, to the next steps."""
        offer = self.offers[place]
        key = offer.source, day
        source = self.case.sources[offer.source]
        lines = self.orders.get(key, {})
        had, goods = lines.get(place, 0), self.goods.get(key, 0)
        had_cost = offer.cost(had) if had else 0
        before = source.charge(day, goods) if lines else 0
        fewest = max(had + more, offer.least)
        sizes = {fewest} | {step.least for step in offer.steps if step.least > fewest}
        for threshold in (source.order_minimum, source.free_from or 0):
            if goods < threshold:
                reached = offer.packs_reaching(threshold - goods + had_cost, at_least=fewest)
                sizes.update(() if reached is None else (reached,))
        kept = self._kept(place, day)
        for packs in sizes:
            self.work_left -= 1
            added = offer.cost(packs) - had_cost
            if goods + added >= source.order_minimum:
                freight = source.charge(day, goods + added) - before
                cost = (added + freight) * self.scale + kept * (packs - had)
                yield cost, -day, packs, place

    def improve(self) -> None:
        """Try every order and line for something cheaper until nothing is, or work runs out."""
        better = True
        while better and self.work_left > 0:
            better = False
            for ref in sorted(self.placed):
                better |= self._try(lambda ref=ref: self._leave(ref))
            for key in sorted(self.orders):
                better |= self._try(lambda key=key: self._drop([key]))
                better |= self._try(lambda key=key: self._drop([key], banned=key[0]))
                for place in sorted(self.orders.get(key, {})):
                    for move in self._moves(place, key[1]):
                        better |= self._try(move)

    def _moves(self, place: int, day: int) -> Iterable[Callable[[], bool]]:
        yield lambda: self._without(place, day)
        yield lambda: self._trim((self.offers[place].fibre,))
        for count in range(1, ABSORBED + 1):
            yield lambda count=count: self._absorb(place, day, count)
        for step in self.offers[place].steps[1:]:
            yield lambda step=step: self._raise(place, day, step.least)

    def _try(self, move: Callable[[], bool]) -> bool:
        """Make a change; take it back unless it is allowed and cheaper."""
        if self.work_left <= 0:
            return False
        self.log.clear()
        before = self.total
        if move() and not self.below and self.total < before:
            return True
        self.undo(0)
        return False

    def _leave(self, ref: str) -> bool:
        """Do without one source."""
        return self._drop([key for key in sorted(self.orders) if key[0] == ref], banned=ref)

    def _drop(self, keys: list[tuple[str, int]], *, banned: str = "") -> bool:
        """Take orders out and buy anew what they brought, if need be anywhere else."""
        fibres = set()
        for key in keys:
            for place in list(self.orders.get(key, {})):
                self.put(place, key[1], 0)
                fibres.add(self.offers[place].fibre)
        if banned:
            self.banned = frozenset(
                place for place, offer in enumerate(self.offers) if offer.source == banned
            )
        filled = self.fill(fibres)
        self.banned = frozenset()
        return filled and self._trim(fibres)

    def _without(self, place: int, day: int) -> bool:
        self._take_out(place, day)
        fibres = self._missing()
        return self.fill(fibres) and self._trim(fibres)

    def _take_out(self, place: int, day: int) -> None:
        """Take one line out, and the rest of its order where that falls below the minimum."""
        self.put(place, day, 0)
        key = self.offers[place].source, day
        if key in self.below:
            for other in list(self.orders[key]):
                self.put(other, day, 0)

    def _missing(self) -> list[str]:
        return [fibre for fibre, spare in self.spare.items() if min(spare, default=0) < 0]

    def _lines_of(self, fibre: str) -> list[tuple[int, int, int]]:
        """Return (arrival, place, order day) of every line of a fibre, the first first."""
        return sorted(
            (day + self.offers[place].lead, place, day)
            for (_, day), lines in self.orders.items()
            for place in lines
            if self.offers[place].fibre == fibre
        )

    def _absorb(self, place: int, day: int, count: int) -> bool:
        """Buy with one line what the next lines of its fibre bring."""
        offer = self.offers[place]
        had = self.orders.get((offer.source, day), {}).get(place)
        if had is None:
            return False
        lines = self._lines_of(offer.fibre)
        at = lines.index((day + offer.lead, place, day))
        following = lines[at + 1 : at + 1 + count]
        if len(following) < count:
            return False
        mass = 0
        for _, other, when in following:
            packs = self.orders.get((self.offers[other].source, when), {}).get(other, 0)
            mass += packs * self.offers[other].pack_mg
            if packs:
                self._take_out(other, when)
        mass = min(mass, -min(self.spare[offer.fibre], default=0))
        if mass <= 0 or place not in self.orders.get((offer.source, day), {}):
            return False
        self.work_left -= 1
        self.put(place, day, had - (-mass // offer.pack_mg))
        fibres = self._missing()
        return self.fill(fibres) and self._trim([offer.fibre, *fibres])

    def _raise(self, place: int, day: int, packs: int) -> bool:
        """Buy enough with one line to reach a price break."""
        offer = self.offers[place]
        had = self.orders.get((offer.source, day), {}).get(place, packs)
        if had >= packs:
            return False
        self.work_left -= 1
        self.put(place, day, packs)
        return self._trim((offer.fibre,))

    def _trim(self, fibres: Iterable[str]) -> bool:
        """Take out packs that are not needed, the last to arrive first."""
        for fibre in sorted(set(fibres)):
            needs = self.case.needs[fibre]
            for arrival, place, day in reversed(self._lines_of(fibre)):
                spare = self.spare[fibre][needs.first_served(arrival) :]
                self._trim_line(place, day, min(spare, default=None))
        return True

    def _trim_line(self, place: int, day: int, spare: int | None) -> None:
        offer = self.offers[place]
        had = self.orders[offer.source, day][place]
        fewest = 0 if spare is None else had - min(had, spare // offer.pack_mg)
        if fewest >= had:
            return
        sizes = {fewest if fewest >= offer.least else offer.least, *(s.least for s in offer.steps)}
        sizes = {size for size in sizes if fewest <= size < had}
        if not fewest:
            sizes.add(0)
        best, cost = had, self.total
        for size in sorted(sizes):
            self.work_left -= 1
            self.put(place, day, size)
            if (offer.source, day) not in self.below and self.total < cost:
                best, cost = size, self.total
        self.put(place, day, best)
