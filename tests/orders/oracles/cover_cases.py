"""Tiny snapshots for the search: few lots, few promises, whole kilograms, everything that binds.

``tiny`` takes anything that chooses as :class:`random.Random` does, so that a loop with a fixed
seed and a property test draw from the same studio.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from random import Random

from orders.calc.planrows import AIMS, Part, PlanLot, Promise, Question, Snapshot
from tests.orders.oracles.asks import UNIT_MG

TODAY = date(2027, 3, 1)
FIBRES = ("abaca", "flax", "linter")
MARKS = ("dyed", "scrap")
NEEDS = (4, 4, 8)
# Shares are quarters and needs are fours, so that every line is a whole number of units.
SHARES = {
    1: [[("1", "1", "1")]],
    2: [
        [("0.5", "0.5", "0.5")] * 2,
        [("0.25", "0.25", "0.25"), ("0.75", "0.75", "0.75")],
        [("0.25", "0.5", "0.75")] * 2,
        [("0", "0.25", "0.5"), ("0.5", "0.75", "1")],
        [("0", "0.5", "1"), ("0.25", "0.5", "0.5")],
    ],
}


def tiny(choose: Random, *, question: bool = False, safe: bool = True) -> Snapshot:
    """Return a snapshot of up to four lots and three promises of up to two lines."""
    lots = tuple(_lot(choose, number) for number in range(choose.choice([2, 3, 4, 4])))
    return Snapshot(
        today=TODAY,
        currency="GBP",
        lots=lots,
        commissions=tuple(
            _promise(choose, number, lots, safe=safe)
            for number in range(choose.choice([1, 2, 3, 3]))
        ),
        aims=choose.choice(AIMS),
        question=_question(choose) if question else None,
    )


def _lot(choose: Random, number: int) -> PlanLot:
    since = TODAY + timedelta(days=choose.choice([-20, -3, -3, -3, 0, 4, 9]))
    until = choose.choice([None, None, None, None, 0, 5, 11])
    mass = choose.choice([0, 2, 3, 5, 6, 7, 8, 9, 12]) * UNIT_MG
    return PlanLot(
        ref=f"L{number + 1}",
        fibre=FIBRES[number % 2] if number < 2 else choose.choice(FIBRES),
        usable_mg=mass,
        oven_dry_mg=mass,
        as_is_mg=mass,
        usable_from=since,
        until=None if until is None else max(since, TODAY) + timedelta(days=until),
        cost_minor_per_kg=100 * choose.randint(0, 9),
        marks=frozenset(mark for mark in MARKS if choose.randint(0, 4) == 0),
    )


def _promise(choose: Random, number: int, lots: tuple[PlanLot, ...], *, safe: bool) -> Promise:
    need = choose.choice(NEEDS)
    due = TODAY + timedelta(days=choose.randint(-1, 12))
    extra = choose.choice([0, 0, 4]) if safe else 0
    only = None
    if choose.randint(0, 6) == 0:
        only = frozenset(lot.ref for lot in lots if choose.randint(0, 2))
    return Promise(
        ref=f"C{number + 1}",
        priority=choose.randint(1, 3),
        due=due,
        wanted=need,
        need_mg=need * UNIT_MG,
        safe_need_mg=(need + extra) * UNIT_MG,
        pull_mg=UNIT_MG,
        furnish=_furnish(choose),
        excludes=frozenset(mark for mark in MARKS if choose.randint(0, 4) == 0),
        only_lots=only,
        needed_on=due - timedelta(days=3) if choose.randint(0, 4) == 0 else None,
    )


def _furnish(choose: Random) -> tuple[Part, ...]:
    shares = choose.choice(SHARES[choose.choice([1, 2, 2])])
    fibres = list(choose.choice([FIBRES, FIBRES, FIBRES, FIBRES[::-1]]))
    if choose.randint(0, 1):
        fibres[:2] = fibres[1::-1]
    parts = []
    for place, (least, target, most) in enumerate(shares):
        names = [fibres[place]]
        # The third fibre may stand in for one of the two lines, or for both.
        if choose.randint(0, 2) == 0:
            names.append(fibres[2])
        parts.append(Part(tuple(names), Decimal(least), Decimal(target), Decimal(most)))
    return tuple(parts)


def _question(choose: Random) -> Question:
    return Question(
        due=TODAY + timedelta(days=choose.randint(0, 14)),
        pull_mg=4 * UNIT_MG,
        furnish=_furnish(choose),
        sheets_per_pull=choose.choice([1, 3]),
        good_share=Decimal(choose.choice(["1", "0.9", "0.5"])),
        excludes=frozenset(mark for mark in MARKS if choose.randint(0, 4) == 0),
    )
