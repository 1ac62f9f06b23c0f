"""Does the store cover what was promised? One answer for all commissions, in order of rank.

The promises and the lots are one network (:mod:`orders.calc._cover.network`) through which fibre
flows from lots to lines of furnishes; it is solved exactly, in whole milligrams, for one aim after
another. Nothing that is answered here has been in floating point.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Protocol

from orders.calc._cover.conceded import Asking
from orders.calc._cover.flow import Clock, CoverError
from orders.calc._cover.free import Free, free_for_left_out
from orders.calc._cover.lines import split
from orders.calc._cover.reasons import reasons
from orders.calc._cover.served import Served, day_of, serve
from orders.calc._cover.sureof import SureOf
from orders.calc._cover.waiting import ready_days
from orders.calc.covered import (
    COVERED,
    JUST_COVERED,
    LATER,
    SHORT,
    Answer,
    Binding,
    Cover,
    Lack,
    Pick,
)
from orders.calc.planrows import PlanLot, Promise, Question, Snapshot

__all__ = [
    "COVERED",
    "JUST_COVERED",
    "LATER",
    "SHORT",
    "Answer",
    "Binding",
    "Cover",
    "CoverError",
    "Lack",
    "Pick",
    "allocate",
    "good_sheets",
    "split",
]
MG_PER_KG = 1_000_000


class Timed(Protocol):
    """Something that the seconds spent in the solver are added to."""

    solver_seconds: float


def allocate(snapshot: Snapshot, *, clock: Timed | None = None) -> Cover:
    """Return how far the store covers the promises.

    Parameters
    ----------
    snapshot : Snapshot
        Lots and commissions on one day, masses in integer milligrams of usable fibre.
    clock : Timed or None [s]
        Where the seconds that the solver itself ran are added up.

    Returns
    -------
    Cover
        One answer per commission in order of rank (priority, day due, reference), with picks
        per lot, shortages per line, and what binds. A short commission keeps what it was
        given, so that what is listed as short is what to buy.

    Raises
    ------
    RangeError
        If the promises come to more milligrams than can be reckoned exactly. Never for a
        shortage: a shortage is an answer.

    Notes
    -----
    A lot serves a line if its fibre is one of the line's, no mark of it is excluded, it is one
    of the only lots where these are named, and the day of need (at the earliest today) lies
    between its first and its last day, both inclusive. Lines share a need within their limits,
    which are rounded outward to whole milligrams. Aims, each among the answers that are best by
    those before: first the average needs by rank, then the fibre that the safe count takes
    beyond, by rank, of those that lack nothing; then nearness to the target shares and cost of
    the lots drawn (the other way round with "cost first"; what is only held for the safe count
    counts for neither); then lots that go off first.

    What can be delivered to the promises through a flow network is a polymatroid, over which
    falling weights, one step a rank, serve the ranks one before the other (Edmonds 1970,
    Megiddo 1974, from memory); the matrix is that of a network, so a corner is in whole
    milligrams. Who takes all or nothing and cannot have all is left out, first in rank first,
    and the rest solved again. The first day on which a short promise could be served whole is
    one on which every other promise keeps its average need, wherever that comes from, and those
    that wait before it keep their days; the safe count gives way. A question is answered with
    every promise, and every safe count, keeping what it holds in all. Source: definition.

    Examples
    --------
    >>> from orders.calc.plan import from_json
    >>> share = {"fibres": ["abaca"], "least": "1", "target": "1", "most": "1"}
    >>> answer = allocate(from_json({
    ...     "halfstuff_snapshot": 1, "today": "2027-03-01", "currency": "GBP",
    ...     "lots": [{"ref": "A1", "fibre": "abaca", "usable_mg": 900, "from": "2027-02-01"}],
    ...     "commissions": [{"ref": "C1", "due": "2027-03-06", "wanted": 10, "need_mg": 1000,
    ...                      "pull_mg": 100, "furnish": [share]}],
    ... }))
    >>> answer.commissions[0].state, answer.commissions[0].covered_sheets
    ('short', 9)
    """
    ticks = Clock()
    served = serve(snapshot, ticks)
    ready = ready_days(served, ticks)
    free = free_for_left_out(served)
    extra = None if snapshot.question is None else _extra_sheets(snapshot, served, ticks)
    bought = _Bought(snapshot)
    answers = tuple(
        _answer(served, snapshot, bought, number, ready, free.get(number))
        for number in range(len(served.promises))
    )
    if clock is not None:
        clock.solver_seconds += ticks.solver_seconds
    return Cover(
        today=snapshot.today,
        commissions=answers,
        binding=reasons(served, free),
        lot_cost_minor=_lot_cost(served),
        extra_good_sheets=extra,
        left_out=snapshot.left_out,
    )


def _answer(
    served: Served,
    snapshot: Snapshot,
    bought: _Bought,
    number: int,
    ready: dict[int, int | None],
    free: Free | None,
) -> Answer:
    promise, short = served.promises[number], served.shorts[number]
    rows = served.drawn.of_lines(served.net.lines.of(number))
    picks = _picks(served, rows)
    extra = served.extra_of.get(number)
    if short:
        on = ready[number]
        state = SHORT if on is None else LATER
        ready_on = None if on is None else date.fromordinal(on)
        found = promise.weighed_sheets + good_sheets(served.given(number), promise)
        sheets = min(promise.wanted, found)
    else:
        state = COVERED if extra is None or not served.shorts[extra] else JUST_COVERED
        days = served.stock.start[served.drawn.lot[rows]]
        ready_on = max(snapshot.today, date.fromordinal(int(days.max(initial=1))))
        sheets = promise.wanted
    return Answer(
        ref=promise.ref,
        due=promise.due,
        wanted=promise.wanted,
        state=state,
        covered_sheets=sheets,
        ready_on=ready_on,
        need_mg=promise.need_mg,
        short=_lacking(served, bought, number, free) if short else (),
        picks=picks,
        needed_on=promise.needed_on,
        weighed_sheets=promise.weighed_sheets,
        free=() if free is None else _free_picks(served, free),
        sure=SureOf(served, snapshot, number),
    )


def _lacking(served: Served, bought: _Bought, number: int, free: Free | None) -> tuple[Lack, ...]:
    furnish = served.promises[number].furnish
    lacks = served.lacks(number)
    if free is not None:
        lacks = [lack - there for lack, there in zip(lacks, free.by_line, strict=True)]
    return tuple(
        Lack(part.fibres, lack, bought.oven_dry(part.fibres, lack))
        for part, lack in zip(furnish, lacks, strict=True)
        if lack
    )


class _Bought:
    """How much oven-dry fibre has to be bought for so much that is usable."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.yields = snapshot.yields
        self.ratio = {
            lot.fibre: (lot.oven_dry_mg, lot.usable_mg) for lot in snapshot.lots if lot.usable_mg
        }

    def oven_dry(self, fibres: tuple[str, ...], usable_mg: int) -> int:
        """Return the oven-dry fibre to buy, rounded up."""
        share = self.yields.get(fibres[0])
        under, over = share.as_integer_ratio() if share else (1, 1)
        if not share:
            over, under = self.ratio.get(fibres[0], (1, 1))
        return -(-usable_mg * over // under)


def good_sheets(given_mg: list[int], need: Promise | Question) -> int:
    """Return the good sheets, on average, that so much of each fibre makes.

    Parameters
    ----------
    given_mg : list of int [mg]
        Usable fibre of each line of the furnish, in order.
    need : Promise or Question
        Furnish, fibre a pull takes out of the store, sheets a pull and share of good ones.

    Returns
    -------
    int [sheets]
        Whole good sheets: most whole pulls of any mix within the limits, times the good share,
        rounded down.

    Raises
    ------
    StudioError
        Never; the rows are checked when they are read.

    Notes
    -----
    A mass m can be made if least × m of every line is there, and the lines together, none over
    most × m, come to m. With fixed shares that is min over fibres of usable / (share × fibre
    per pull), rounded down. Source: definition.

    Examples
    --------
    >>> from datetime import date
    >>> from decimal import Decimal
    >>> from orders.calc.planrows import Part
    >>> half = Decimal("0.5")
    >>> furnish = (Part(("linter",), half, half, half), Part(("abaca",), half, half, half))
    >>> good_sheets([1000, 260], Question(date(2027, 3, 1), 50, furnish, 1, Decimal("0.9")))
    9
    """
    lines = [
        (given, Fraction(part.least), Fraction(part.most))
        for given, part in zip(given_mg, need.furnish, strict=True)
    ]

    def can_be_made(pulls: int) -> bool:
        mass = pulls * need.pull_mg
        return all(least * mass <= given for given, least, _ in lines) and (
            sum(min(most * mass, given) for given, _, most in lines) >= mass
        )

    low, high = 0, sum(given_mg) // need.pull_mg
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if can_be_made(middle) else (low, middle - 1)
    return int(low * need.sheets_per_pull * Fraction(need.good_share))


def _picks(served: Served, rows: slice) -> tuple[Pick, ...]:
    """Gather what is drawn, line by line, and lot by lot in the order of use."""
    drawn = served.drawn
    return tuple(
        _pick(served.stock.lots[lot], mg)
        for lot, mg in zip(drawn.lot[rows].tolist(), drawn.mg[rows].tolist(), strict=True)
    )


def _free_picks(served: Served, free: Free) -> tuple[Pick, ...]:
    return tuple(
        _pick(served.stock.lots[lot], mg)
        for lots, taken in zip(free.lots, free.mg, strict=True)
        for lot, mg in zip(lots.tolist(), taken.tolist(), strict=True)
    )


def _pick(lot: PlanLot, usable_mg: int) -> Pick:
    return Pick(
        lot.ref,
        lot.fibre,
        usable_mg,
        _up(usable_mg, lot.oven_dry_mg, lot.usable_mg),
        _up(usable_mg, lot.as_is_mg, lot.usable_mg),
    )


def _up(amount: int, whole: int, of: int) -> int:
    """Return amount × whole / of, rounded up: weigh out a milligram too much, not too little."""
    return -(-amount * whole // of)


def _lot_cost(served: Served) -> int:
    drawn = served.drawn
    rows = drawn.of_lines(range(int(served.net.lines.first[len(served.promises)])))
    costs = served.stock.cost[drawn.lot[rows]].tolist()
    total = sum(mg * cost for mg, cost in zip(drawn.mg[rows].tolist(), costs, strict=True))
    return round(Fraction(total, MG_PER_KG))


def _extra_sheets(snapshot: Snapshot, served: Served, clock: Clock) -> int:
    """Count the good sheets of a question that could be promised, nobody having less."""
    question = snapshot.question
    assert question is not None
    day = day_of(snapshot, question.due.toordinal())
    pulls = Asking(served, question, day, clock).most_pulls()
    return int(pulls * question.sheets_per_pull * Fraction(question.good_share))
