"""Whose turn it is in the dryer: commissions that dry the same way go in one after another."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

from orders.calc.dates import Capacity, MakingDays, making_days

Rank = tuple[date, int, str]


@dataclass(frozen=True, slots=True)
class Place:
    """A dryer by its name, and what it manages."""

    name: str
    capacity: Capacity


@dataclass(frozen=True, slots=True)
class Turn:
    """Sheets that want a dryer: how many pulls, dried how, from which day on, due when.

    ``usual_days`` are counted from first pull to parcel where no dryer of that kind is known.
    """

    ref: str
    priority: int
    due: date
    pulls: int
    drying: str
    ready: date = date.min
    cure_days: int = 0
    usual_days: int = 0

    @property
    def rank(self) -> Rank:
        """Who goes in first: who is due first; of those due on one day, by rank."""
        return self.due, self.priority, self.ref


@dataclass(frozen=True, slots=True)
class Slot:
    """A turn with its days.

    ``days`` is how long it takes there, None where no dryer is known; ``first_pull`` the day on
    which it begins. ``beside`` is whose turn holds it up: the one before it that it waits for,
    or, of latest days, the one after it that it has to make room for. Empty where none does.
    """

    turn: Turn
    first_pull: date
    finished_on: date
    days: MakingDays | None = None
    dryer: str = ""
    beside: str = ""

    @property
    def making_days(self) -> int:
        """Whole days from the first pull until its parcel has to be ready."""
        return (self.finished_on - self.first_pull).days


def earliest(turns: Iterable[Turn], dryers: Mapping[str, Sequence[Place]]) -> dict[str, Slot]:
    """Return when each turn can begin and be finished, if all begin as soon as they can.

    Parameters
    ----------
    turns : iterable of Turn [days]
        What is to be dried, each with the first day on which it can be pulled.
    dryers : mapping of str to sequence of Place [days]
        Open dryers by the way they dry, the quickest first.

    Returns
    -------
    dict of str to Slot [days]
        By reference.

    Raises
    ------
    RangeError
        If there is nothing to form, or a capacity is not above zero.

    Notes
    -----
    Whenever a dryer of the kind is empty, the next of those that are ready goes in: who is due
    first, of those due on one day by rank. Nobody waits for one that is not ready. Of several
    empty dryers it takes the one in which it is dry first. A making keeps its dryer from its
    first pull until its last load is dry. Going by the day due keeps the greatest lateness least
    on one dryer where all are ready (Jackson's rule, 1955, from memory).

    Examples
    --------
    >>> from decimal import Decimal
    >>> loft = {"loft": [Place("Loft", Capacity(50, Decimal(2)))]}
    >>> day = date(2027, 3, 1)
    >>> found = earliest(
    ...     [Turn("B", 5, date(2027, 3, 9), 50, "loft", day),
    ...      Turn("A", 5, date(2027, 3, 6), 100, "loft", day)], loft)
    >>> found["A"].finished_on.day, found["B"].first_pull.day, found["B"].beside
    (5, 5, 'A')
    """
    found: dict[str, Slot] = {}
    for drying, alike in _by_drying(turns).items():
        places = dryers.get(drying, ())
        if not places:
            found |= {turn.ref: _usual(turn, turn.ready) for turn in alike}
            continue
        found |= _one_after_another(alike, places)
    return found


def latest(turns: Iterable[Turn], dryers: Mapping[str, Sequence[Place]]) -> dict[str, Slot]:
    """Return when each turn has to begin so that all can be ready on the day they are due.

    Parameters
    ----------
    turns : iterable of Turn [days]
        What is to be dried; from when it could be is not looked at.
    dryers : mapping of str to sequence of Place [days]
        Open dryers by the way they dry, the quickest first.

    Returns
    -------
    dict of str to Slot [days]
        By reference; a day may lie in the past.

    Raises
    ------
    RangeError
        If there is nothing to form, or a capacity is not above zero.

    Notes
    -----
    Counted back from the last day due: each is dry by its own day, less cure and packing, and
    before the turn after it in the same dryer begins; of several dryers it takes the one that
    lets it begin latest. Nobody has to begin earlier for one that is due before it. Definition.

    Examples
    --------
    >>> from decimal import Decimal
    >>> loft = {"loft": [Place("Loft", Capacity(50, Decimal(2)))]}
    >>> found = latest(
    ...     [Turn("A", 5, date(2027, 3, 8), 50, "loft"),
    ...      Turn("B", 5, date(2027, 3, 9), 50, "loft")], loft)
    >>> found["B"].first_pull.day, found["A"].first_pull.day, found["A"].beside
    (7, 5, 'B')
    """
    found: dict[str, Slot] = {}
    for drying, alike in _by_drying(turns).items():
        places = dryers.get(drying, ())
        if not places:
            for turn in alike:
                found[turn.ref] = _usual(turn, _back(turn.due, turn.usual_days))
            continue
        taken: list[tuple[date, str]] = [(date.max, "") for _ in places]
        for turn in sorted(alike, key=lambda turn: turn.rank, reverse=True):
            slots = [
                (*_before(turn, taken[n], place), -n, place) for n, place in enumerate(places)
            ]
            first, is_held, minus, place = max(slots, key=lambda one: (one[0], one[2]))
            beside = taken[-minus][1] if is_held else ""
            found[turn.ref] = Slot(turn, first, turn.due, _days(turn, place), place.name, beside)
            taken[-minus] = (first, turn.ref)
    return found


@dataclass(frozen=True, slots=True)
class Load:
    """Sheets of a making that lie in a dryer from a day on, until the day they are dry."""

    ref: str
    first_day: date
    dry_on: date
    pulls: int


def crowded(own: Load, others: Iterable[Load], *, pulls_per_load: int) -> tuple[Load, ...]:
    """Return what lies in the same dryer on the same days and does not fit in beside it.

    Parameters
    ----------
    own : Load [days, pulls]
        The making that is looked at.
    others : iterable of Load [days, pulls]
        Other makings that use the same dryer.
    pulls_per_load : int [pulls]
        What the dryer holds at once.

    Returns
    -------
    tuple of Load [days, pulls]
        In the order of their first days; empty where they have no day in common, or where the
        dryer holds this one and all that share a day with it.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    A making takes up no more of the dryer at once than a load. On the day on which it is dry the
    dryer is empty again. Definition.

    Examples
    --------
    >>> own = Load("M1", date(2027, 3, 1), date(2027, 3, 7), 100)
    >>> other = Load("M2", date(2027, 3, 6), date(2027, 3, 9), 60)
    >>> [load.ref for load in crowded(own, [other], pulls_per_load=150)]
    ['M2']
    >>> crowded(own, [other], pulls_per_load=160)
    ()
    """
    beside = [one for one in others if one.first_day < own.dry_on and own.first_day < one.dry_on]
    together = sum(min(one.pulls, pulls_per_load) for one in (own, *beside))
    if together <= pulls_per_load:
        return ()
    return tuple(sorted(beside, key=lambda one: (one.first_day, one.ref)))


def _by_drying(turns: Iterable[Turn]) -> dict[str, list[Turn]]:
    found: dict[str, list[Turn]] = {}
    for turn in turns:
        found.setdefault(turn.drying, []).append(turn)
    return found


def _one_after_another(turns: list[Turn], places: Sequence[Place]) -> dict[str, Slot]:
    found: dict[str, Slot] = {}
    # Of each dryer the day on which it is empty, and whose sheets were the last in it.
    free: list[tuple[date, str]] = [(date.min, "") for _ in places]
    for turn in _in_turn(turns, lambda: min(free)[0]):
        slots = [
            (_dry(turn, max(turn.ready, free[n][0]), place), n) for n, place in enumerate(places)
        ]
        (slot, dry_on), at = min(slots, key=lambda one: (one[0][1], one[1]))
        found[turn.ref] = replace(slot, beside=free[at][1] if free[at][0] > turn.ready else "")
        free[at] = (dry_on, turn.ref)
    return found


def _in_turn(turns: list[Turn], free_on: Callable[[], date]) -> Iterator[Turn]:
    """Yield who goes in next each time: of those ready when a dryer is empty, the first."""
    coming = sorted(turns, key=lambda turn: (turn.ready, turn.rank), reverse=True)
    waiting: list[tuple[Rank, Turn]] = []
    while coming or waiting:
        now = free_on() if waiting else max(free_on(), coming[-1].ready)
        while coming and coming[-1].ready <= now:
            turn = coming.pop()
            heapq.heappush(waiting, (turn.rank, turn))
        yield heapq.heappop(waiting)[1]


def _dry(turn: Turn, first_pull: date, place: Place) -> tuple[Slot, date]:
    """Return a turn begun on a day, and the day on which the dryer is empty again."""
    days = _days(turn, place)
    finished = days.finished_on(first_pull)
    dry_on = first_pull + timedelta(days=days.days_to_dry)
    return Slot(turn, first_pull, finished, days, place.name), dry_on


def _before(turn: Turn, taken: tuple[date, str], place: Place) -> tuple[date, bool]:
    """Return the latest first pull in a dryer, and whether the turn after it decides that."""
    days = _days(turn, place)
    dry_by = _back(turn.due, days.days - days.days_to_dry)
    is_held = taken[0] < dry_by
    return _back(min(dry_by, taken[0]), days.days_to_dry), is_held


def _usual(turn: Turn, first_pull: date) -> Slot:
    return Slot(turn, first_pull, first_pull + timedelta(days=turn.usual_days))


@lru_cache(maxsize=10_000)
def _days_of(pulls: int, capacity: Capacity) -> MakingDays:
    return making_days(pulls, capacity)


def _days(turn: Turn, place: Place) -> MakingDays:
    """Return how long a turn takes in a dryer; the same sheet is asked for often."""
    return _days_of(turn.pulls, replace(place.capacity, cure_days=turn.cure_days))


def _back(day: date, days: int) -> date:
    """Return a day so many days before another, as far back as days go."""
    return date.fromordinal(max(day.toordinal() - days, 1))
