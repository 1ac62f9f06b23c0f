"""A snapshot as the oracles see it: who asks for how much of what, on which day, from which lots.

Written from the definitions alone, so that it shares nothing with the planner but the frozen
rows. Masses are counted in whole units of one kilogram: tests are made so that nothing is ever
rounded, neither a share of a need nor the cost of a pick.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from orders.calc.planrows import Part, PlanLot, Promise, Question, Snapshot

UNIT_MG = 1_000_000


@dataclass(frozen=True)
class AskLine:
    """One line of a furnish: how much it may and should take, and the lots that may serve it."""

    least: int
    target: int
    most: int
    lots: tuple[int, ...]


@dataclass(frozen=True)
class Ask:
    """Somebody who asks for ``need`` units in all; ``most_short`` is what may be lacking."""

    who: str
    need: int
    lines: tuple[AskLine, ...]
    whole_or_nothing: bool = False
    most_short: int | None = None

    def lacking_at_most(self, units: int) -> Ask:
        return replace(self, most_short=units, whole_or_nothing=False)


def in_rank_order(snapshot: Snapshot) -> list[Promise]:
    return sorted(snapshot.commissions, key=lambda one: (one.priority, one.due, one.ref))


def day_of(snapshot: Snapshot, need: Promise | Question) -> date:
    day = need.due
    if isinstance(need, Promise) and need.needed_on is not None:
        day = need.needed_on
    return max(day, snapshot.today)


def held(snapshot: Snapshot) -> tuple[int, ...]:
    return tuple(units(lot.usable_mg) for lot in snapshot.lots)


def units(mg: int) -> int:
    whole, rest = divmod(mg, UNIT_MG)
    assert rest == 0, "the oracles count in whole units"
    return whole


def ask_for(
    snapshot: Snapshot, need: Promise | Question, mass: int, *, on: date | None = None
) -> Ask:
    """Return the ask of a promise or a question for so many units, on its day or another."""
    day = on or day_of(snapshot, need)
    return Ask(
        who=getattr(need, "ref", "?"),
        need=mass,
        lines=tuple(
            AskLine(
                _exact(part.least * mass),
                _exact(part.target * mass),
                _exact(part.most * mass),
                tuple(
                    number
                    for number, lot in enumerate(snapshot.lots)
                    if may_serve(lot, part, need, day)
                ),
            )
            for part in need.furnish
        ),
        whole_or_nothing=getattr(need, "all_or_nothing", False),
    )


def may_serve(lot: PlanLot, part: Part, need: Promise | Question, day: date) -> bool:
    only = getattr(need, "only_lots", None)
    return (
        lot.fibre in part.fibres
        and lot.usable_from <= day
        and (lot.until is None or lot.until >= day)
        and lot.marks.isdisjoint(need.excludes)
        and (only is None or lot.ref in only)
    )


def average_asks(snapshot: Snapshot) -> list[Ask]:
    return [ask_for(snapshot, one, units(one.need_mg)) for one in in_rank_order(snapshot)]


def extra_asks(snapshot: Snapshot, shorts: Sequence[int]) -> list[Ask]:
    """Return what the safe count takes beyond the average one, of those that lack nothing."""
    return [
        replace(
            ask_for(snapshot, one, units(one.safe_need_mg - one.need_mg)), whole_or_nothing=False
        )
        for one, short in zip(in_rank_order(snapshot), shorts, strict=True)
        if not short and one.safe_need_mg > one.need_mg
    ]


def _exact(mass: object) -> int:
    whole = Fraction(str(mass))
    assert whole.denominator == 1, "shares of a need must be whole units"
    return int(whole)
