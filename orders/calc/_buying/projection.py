"""How much usable fibre there will be day by day with nothing bought, and what that lacks."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from orders.calc._buying.terms import Market
from orders.calc.bought import Change, DayBalance
from orders.calc.covered import LATER, Answer, Cover
from orders.calc.planrows import PlanLot, Promise, Snapshot

DEMAND = "demand"


@dataclass(frozen=True, slots=True)
class Requirement:
    """What has to be bought of a fibre by a day: for promises, and to keep the minimum."""

    day: int
    promised_mg: int
    minimum_mg: int
    commissions: tuple[str, ...] = ()

    @property
    def mg(self) -> int:
        """All that is missing on the day."""
        return self.promised_mg + self.minimum_mg


@dataclass(frozen=True, slots=True)
class Outlook:
    """One fibre over the horizon; days count from today, which is 0.

    ``wanted`` is what to buy by day: the requirements, those that nothing can meet in time on
    the first day on which the fibre can arrive; empty where it cannot be bought.
    ``above_mg_days`` adds up what then lies above the minimum at the end of every day, with not
    a milligram bought to spare.
    """

    fibre: str
    minimum_mg: int
    balances: tuple[DayBalance, ...]
    requirements: tuple[Requirement, ...]
    wanted: dict[int, int] = field(default_factory=dict)
    above_mg_days: int = 0


def project(snapshot: Snapshot, *, cover: Cover | None = None) -> dict[str, Outlook]:
    """Return how every fibre stands day by day with nothing bought, and what it lacks.

    Parameters
    ----------
    snapshot : Snapshot [mg, days]
        Lots, promises and sourcing.
    cover : Cover [mg]
        How the promises stand; not read where sourcing gives its own demand, and none of them
        drawn where it is left out.

    Returns
    -------
    dict of str to Outlook [mg]
        One per fibre that is in store, promised, missed or to be kept, in the order of names.

    Raises
    ------
    StudioError
        Never; a snapshot is checked when it is read.

    Notes
    -----
    A commission draws on the day it needs its fibre, at the earliest today. What it lacks is a
    requirement of that day whatever is in store, since stock that is left cannot serve it; then
    the minimum asks for what the balance lies below it. Of fibres that may stand in for each
    other, the one whose usable kilogram is cheapest on offer is asked for. Where receipts
    already ordered mend a shortage later, it is drawn from them on that day, unless an offer
    can arrive before. Demand that is given draws first the lot that has to be used first, and
    what it lacks is owed until something comes in.
    Requirements on a day outside the horizon are not looked at. Source: definition (net
    requirement of material requirements planning); which lot is drawn first is common
    practice, no source.

    Examples
    --------
    >>> from orders.calc.plan import from_json
    >>> outlook = project(from_json({
    ...     "halfstuff_snapshot": 1, "today": "2027-03-01", "currency": "GBP",
    ...     "lots": [{"ref": "A1", "fibre": "abaca", "usable_mg": 900, "from": "2027-02-01"}],
    ...     "commissions": [],
    ...     "sourcing": {"horizon_days": 7, "minimum_mg": {"abaca": 200},
    ...                  "demand": [{"fibre": "abaca", "on": "2027-03-03", "mg": 1000}]},
    ... }))
    >>> [(need.day, need.promised_mg, need.minimum_mg) for need in outlook["abaca"].requirements]
    [(2, 100, 200)]
    """
    market = Market(snapshot)
    sweep = _Sweep(snapshot, market)
    if snapshot.sourcing and snapshot.sourcing.demand is not None:
        for demand in sorted(snapshot.sourcing.demand, key=lambda row: (row.on, row.fibre)):
            day = market.day(demand.on)
            sweep.draw_first_to_use((demand.fibre,), day, demand.mg, DEMAND)
    elif cover is not None:
        promises = {promise.ref: promise for promise in snapshot.commissions}
        for answer in cover.commissions:
            sweep.take_picks(answer, _day_of(answer, promises, market))
        for answer in cover.commissions:
            sweep.lack(answer, promises.get(answer.ref), _day_of(answer, promises, market))
    return {fibre: sweep.outlook(fibre) for fibre in sorted(sweep.fibres)}


def _day_of(answer: Answer, promises: dict[str, Promise], market: Market) -> int:
    promise = promises.get(answer.ref)
    return market.day(promise.fibre_day if promise else answer.due)


# Milligrams by day, and on a day by what or whom: all that is on hand, all that one takes.
ByDay = defaultdict[int, defaultdict[str, int]]


def _by_day() -> ByDay:
    return defaultdict(lambda: defaultdict(int))


@dataclass(slots=True)
class _Fibre:
    """What happens to one fibre: changes of its lots, and what was found missing."""

    stock: ByDay = field(default_factory=_by_day)
    missing: ByDay = field(default_factory=_by_day)


class _Sweep:
    """Draws the lots down, then reads each fibre off day by day."""

    def __init__(self, snapshot: Snapshot, market: Market) -> None:
        self.market = market
        lots = sorted(snapshot.lots, key=_first_to_use)
        self.by_ref = {lot.ref: lot for lot in lots}
        self.left = {lot.ref: lot.usable_mg for lot in lots}
        self.is_netted = bool(snapshot.sourcing) and snapshot.sourcing.demand is not None
        self.minimum = snapshot.sourcing.minimum_mg if snapshot.sourcing else {}
        self.fibres: defaultdict[str, _Fibre] = defaultdict(_Fibre)
        self.fibres.update((name, _Fibre()) for name in self.minimum)
        self.lots: defaultdict[str, list[PlanLot]] = defaultdict(list)
        for lot in lots:
            self.lots[lot.fibre].append(lot)
            if _lives(lot, snapshot.today):
                self._receive(lot)

    def _change(self, fibre: str, day: int, what: str, mg: int) -> None:
        if mg:
            self.fibres[fibre].stock[day][what] += mg

    def _receive(self, lot: PlanLot) -> None:
        stock, day = self.fibres[lot.fibre].stock, self.market.day(lot.usable_from)
        if lot.usable_mg:
            stock[day][lot.ref if day else "on hand"] += lot.usable_mg

    def _draw(self, lot: PlanLot, day: int, mg: int, who: str) -> None:
        self.left[lot.ref] -= mg
        self._change(lot.fibre, day, who, -mg)

    def _miss(self, fibre: str, day: int, mg: int, who: str) -> None:
        self.fibres[fibre].missing[day][who] += mg

    def take_picks(self, answer: Answer, day: int) -> None:
        """Draw what a commission was given, or will take once the rest of it is there."""
        for pick in (*answer.picks, *answer.free):
            if (lot := self.by_ref.get(pick.lot)) is not None:
                self._draw(lot, day, pick.usable_mg, answer.ref)

    def lack(self, answer: Answer, promise: Promise | None, day: int) -> None:
        """Write down what a commission was not given, or draw it when it comes in."""
        for short in answer.short:
            fibre = self.market.cheapest_of(short.fibres)
            ready = None if answer.ready_on is None else self.market.day(answer.ready_on)
            if answer.state == LATER and ready is not None:
                arrival = self.market.earliest(fibre)
                if arrival is None or arrival >= ready:
                    self.draw_first_to_use(
                        short.fibres, ready, short.usable_mg, answer.ref, promise, fibre
                    )
                    continue
            self._miss(fibre, day, short.usable_mg, answer.ref)

    def draw_first_to_use(
        self,
        fibres: Iterable[str],
        day: int,
        mg: int,
        who: str,
        promise: Promise | None = None,
        missed: str = "",
    ) -> None:
        """Draw so much on a day, first the lot that has to be used first; miss the rest."""
        names = list(fibres)
        on = self.market.on(min(day, (date.max - self.market.today).days))
        lots = (lot for name in names for lot in self.lots.get(name, ()))
        for lot in sorted(lots, key=_first_to_use):
            if not mg:
                break
            if _may_serve(lot, on, promise):
                amount = min(mg, self.left[lot.ref])
                self._draw(lot, day, amount, who)
                mg -= amount
        asked = self.fibres[missed or names[0]]
        if mg:
            asked.missing[day][who] += mg

    def outlook(self, fibre: str) -> Outlook:
        """Read one fibre off day by day."""
        found = self.fibres[fibre]
        for lot in self.lots.get(fibre, ()):
            if lot.until is None or lot.until == date.max:
                continue
            if _lives(lot, self.market.today):
                end = self.market.day(lot.until + timedelta(days=1))
                self._change(fibre, end, f"{lot.ref} past its use", -self.left[lot.ref])
        minimum = self.minimum.get(fibre, 0)
        horizon = self.market.horizon
        days = sorted({0} | {day for day in (*found.stock, *found.missing) if day < horizon})
        stock = filled = lacked = 0
        levels: list[_Level] = []
        balances: list[DayBalance] = []
        requirements: list[Requirement] = []
        for day in days:
            changes, missing = found.stock.get(day, {}), found.missing.get(day, {})
            stock += sum(changes.values())
            lacked += sum(missing.values())
            keep = max(0, minimum - stock - filled)
            filled += keep
            if keep or missing:
                requirements.append(_requirement(day, missing, keep))
            balances.append(
                DayBalance(self.market.on(day), stock - lacked, _told(changes, missing))
            )
            # Demand that is given is owed until something comes in, whatever that is; a promise
            # waits for a purchase, since what else comes in may be of no use to it.
            owed, apart = (lacked, 0) if self.is_netted else (0, lacked)
            levels.append(_Level(day, stock - owed - minimum, apart))
        wanted, above = _wanted(levels, self.market.earliest(fibre), horizon)
        return Outlook(fibre, minimum, tuple(balances), tuple(requirements), wanted, above)


@dataclass(frozen=True, slots=True)
class _Level:
    """From a day on: what lies above the minimum, and what purchases alone can serve."""

    day: int
    above_mg: int
    apart_mg: int


def _wanted(
    levels: list[_Level], earliest: int | None, horizon: int
) -> tuple[dict[int, int], int]:
    """Return what to buy by day, no day before the first arrival, and the milligram-days above.

    A minimum that is broken before anything can arrive and mended by then asks for nothing.
    """
    if earliest is not None:
        last = [level for level in levels if level.day <= earliest][-1]
        levels = sorted(
            [level for level in levels if level.day != earliest]
            + [_Level(earliest, last.above_mg, last.apart_mg)],
            key=lambda level: level.day,
        )
    wanted: dict[int, int] = {}
    missing = before = above = 0
    ends = [level.day for level in levels[1:]] + [horizon]
    for level, end in zip(levels, ends, strict=True):
        nights = max(0, min(end, horizon) - level.day)
        if earliest is None or level.day < earliest:
            above += max(0, level.above_mg) * nights
            continue
        missing = max(missing, -level.above_mg)
        above += (level.above_mg + missing) * nights
        if missing + level.apart_mg > before:
            wanted[level.day] = missing + level.apart_mg - before
            before = missing + level.apart_mg
    return wanted, above


def _lives(lot: PlanLot, today: date) -> bool:
    """Whether there is a day from today on which it can be used."""
    return lot.until is None or lot.until >= max(lot.usable_from, today)


def _may_serve(lot: PlanLot, on: date, promise: Promise | None) -> bool:
    if lot.usable_from > on or (lot.until is not None and lot.until < on):
        return False
    if promise is None:
        return True
    only = promise.only_lots
    return not lot.marks & promise.excludes and (only is None or lot.ref in only)


def _requirement(day: int, missing: Mapping[str, int], keep: int) -> Requirement:
    commissions = tuple(sorted(who for who in missing if who != DEMAND))
    return Requirement(day, sum(missing.values()), keep, commissions)


def _told(changes: Mapping[str, int], missing: Mapping[str, int]) -> tuple[Change, ...]:
    """Say together what comes and goes on a day and what is missed on it."""
    total = defaultdict(int, changes)
    for who, mg in missing.items():
        total[who] -= mg
    return tuple(Change(what, mg) for what, mg in total.items())


def _first_to_use(lot: PlanLot) -> tuple[date, date, str]:
    return lot.until or date.max, lot.usable_from, lot.ref
