"""The best cover by exhaustive search: every split of every need over every lot is looked at.

``best`` keeps, commission by commission in rank order, every possible state of the store that
leaves this commission as little short as can be; nothing is cut off that could turn out better
later, because rank comes before everything else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from orders.calc.planrows import Promise, Snapshot
from tests.orders.oracles.asks import (
    UNIT_MG,
    Ask,
    AskLine,
    ask_for,
    average_asks,
    day_of,
    extra_asks,
    held,
    in_rank_order,
)

Held = tuple[int, ...]
# What is left of every lot: the least deviation and cost with which that can be reached, the
# one that comes first by the aims in front.
Shelf = dict[Held, tuple[int, int]]


@dataclass(frozen=True)
class Best:
    """The best that can be done: units short by rank, extras short, deviation, cost of lots."""

    shorts: tuple[int, ...]
    extra_shorts: tuple[int, ...]
    deviation: int
    cost: int

    @property
    def total_short(self) -> int:
        return sum(self.shorts)


def best(snapshot: Snapshot) -> Best:
    """Search for the best cover: shorts by rank, extras by rank, then the aims."""
    costs = [lot.cost_minor_per_kg for lot in snapshot.lots]
    aim = _aim(snapshot.aims)
    shelf: Shelf = {held(snapshot): (0, 0)}
    shorts, extra_shorts = [], []
    for ask in average_asks(snapshot):
        short, shelf = serve(shelf, ask, costs, aim)
        shorts.append(short)
    # Extras have no target and no cost of their own: they are looked at, not drawn.
    for ask in extra_asks(snapshot, shorts):
        short, shelf = _hold(shelf, ask)
        extra_shorts.append(short)
    first, second = min(shelf.values())
    deviation, cost = (first, second) if snapshot.aims == "recipe first" else (second, first)
    return Best(tuple(shorts), tuple(extra_shorts), deviation, cost)


def _aim(aims: str) -> Callable[[int, int], tuple[int, int]]:
    if aims == "recipe first":
        return lambda deviation, cost: (deviation, cost)
    return lambda deviation, cost: (cost, deviation)


def serve(
    shelf: Shelf, ask: Ask, costs: Sequence[int], aim: Callable[[int, int], tuple[int, int]]
) -> tuple[int, Shelf]:
    """Return how little short the ask can be, and every state of the store that leaves it so."""
    ways = all_ways(shelf, ask, costs, aim)
    least = min(short for _, short in ways)
    if ask.whole_or_nothing and least:
        return ask.need, shelf
    return least, {left: aims for (left, short), aims in ways.items() if short == least}


def _hold(shelf: Shelf, ask: Ask) -> tuple[int, Shelf]:
    """As :func:`serve`, with neither deviation nor cost: fibre is held and not drawn."""
    nothing = [0] * len(next(iter(shelf)))
    return serve(shelf, ask, nothing, lambda deviation, cost: (0, 0))


def all_ways(
    shelf: Shelf, ask: Ask, costs: Sequence[int], aim: Callable[[int, int], tuple[int, int]]
) -> dict[tuple[Held, int], tuple[int, int]]:
    """Return every store and shortage that serving the ask can lead to."""
    part: dict[tuple[Held, int, int], tuple[int, int]] = {
        (left, 0, 0): aims for left, aims in shelf.items()
    }
    for line in ask.lines:
        part = _with_line(part, line, ask.need, costs, aim)
    return {
        (left, short): aims for (left, given, short), aims in part.items() if given == ask.need
    }


def _with_line(
    part: dict[tuple[Held, int, int], tuple[int, int]],
    line: AskLine,
    need: int,
    costs: Sequence[int],
    aim: Callable[[int, int], tuple[int, int]],
) -> dict[tuple[Held, int, int], tuple[int, int]]:
    found: dict[tuple[Held, int, int], tuple[int, int]] = {}
    draws: dict[Held, list[tuple[Held, int, int]]] = {}
    for (left, given, short), (first, second) in part.items():
        if left not in draws:
            draws[left] = list(_draws(left, line.lots, line.most, costs))
        for after, drawn, cost in draws[left]:
            for mass in range(max(line.least, drawn), min(line.most, need - given) + 1):
                more, then = aim(abs(mass - line.target), cost)
                key = after, given + mass, short + mass - drawn
                aims = first + more, second + then
                if key not in found or aims < found[key]:
                    found[key] = aims
    return found


def _draws(
    left: Held, lots: Sequence[int], most: int, costs: Sequence[int]
) -> Iterator[tuple[Held, int, int]]:
    """Yield every way to draw up to ``most`` units from these lots: what is left, drawn, cost."""
    if not lots:
        yield left, 0, 0
        return
    number, rest = lots[0], lots[1:]
    for taken in range(min(left[number], most) + 1):
        lower = (*left[:number], left[number] - taken, *left[number + 1 :])
        for after, drawn, cost in _draws(lower, rest, most - taken, costs):
            yield after, drawn + taken, cost + taken * costs[number]


# --- questions of whether ---------------------------------------------------------------------


def can_serve(store: Held, asks: Sequence[Ask]) -> bool:
    """Whether all asks can be served at once, none lacking more than it says it may."""
    return bool(left_after({store: (0, 0)}, asks))


def left_after(shelf: Shelf, asks: Sequence[Ask]) -> Shelf:
    """Return every store that is left when no ask lacks more than it says it may."""
    for ask in asks:
        nothing = [0] * len(next(iter(shelf), ()))
        allowed = ask.most_short or 0
        ways = all_ways(shelf, ask, nothing, lambda deviation, cost: (0, 0))
        shelf = {left: (0, 0) for left, short in ways if short <= allowed}
    return shelf


def ready_days(snapshot: Snapshot, found: Best) -> dict[str, date | None]:
    """Return for each short promise the first later day on which its whole need is there.

    In rank order: who waits is held to no one's loss, neither of who was served nor of who
    waits before.
    """
    ranked = in_rank_order(snapshot)
    asks = [
        ask.lacking_at_most(short)
        for ask, short in zip(average_asks(snapshot), found.shorts, strict=True)
    ]
    ready: dict[str, date | None] = {}
    for place, (one, short) in enumerate(zip(ranked, found.shorts, strict=True)):
        if not short:
            continue
        ready[one.ref] = None
        for day in later_days(snapshot, one):
            tried = ask_for(snapshot, one, asks[place].need, on=day).lacking_at_most(0)
            if can_serve(held(snapshot), [*asks[:place], tried, *asks[place + 1 :]]):
                ready[one.ref] = day
                asks[place] = tried
                break
    return ready


def later_days(snapshot: Snapshot, one: Promise) -> list[date]:
    own = day_of(snapshot, one)
    return sorted({lot.usable_from for lot in snapshot.lots if lot.usable_from > own})


def extra_good_sheets(snapshot: Snapshot, found: Best) -> int:
    """Return how many good sheets of the question could be promised, by trying every number."""
    question = snapshot.question
    assert question is not None
    asks = [
        ask.lacking_at_most(short)
        for ask, short in zip(average_asks(snapshot), found.shorts, strict=True)
    ]
    asks += [
        ask.lacking_at_most(short)
        for ask, short in zip(extra_asks(snapshot, found.shorts), found.extra_shorts, strict=True)
    ]
    shelf = left_after({held(snapshot): (0, 0)}, asks)
    pull = question.pull_mg // UNIT_MG
    pulls = 0
    while left_after(shelf, [ask_for(snapshot, question, (pulls + 1) * pull)]):
        pulls += 1
    return int(pulls * question.sheets_per_pull * Fraction(str(question.good_share)))
