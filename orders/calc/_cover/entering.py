"""Where lots enter the network: gathered to sources, and fed to chains and spans of days."""

from __future__ import annotations

from typing import Any

import numpy as np

from orders.calc._cover.stock import NOWHERE, Ints

Marks = np.ndarray[Any, np.dtype[np.bool_]]
# With whoever names no lots, and with whoever names them.
SIGNATURES_OF_A_LOT = 2


class Ways:
    """How what serves from one pool to another enters: the pools of signatures, first to last."""

    def __init__(self, of_pool: Ints) -> None:
        # What serves no pool at all looks into the place after the last.
        self.starts = np.append(np.searchsorted(of_pool, of_pool), NOWHERE)
        self.ends = np.append(np.searchsorted(of_pool, of_pool, side="right") - 1, NOWHERE)

    def of(self, first: Ints, last: Ints) -> tuple[Marks, Marks, Marks]:
        """Return what keeps to the end, what else is there from the start, and the others."""
        serves = first != NOWHERE
        kept = serves & (self.ends[last] == last)
        early = serves & ~kept & (self.starts[first] == first)
        return kept, early, serves & ~kept & ~early


class Sources:
    """Lots gathered by the pools that they may serve, and within these by what they cost.

    Lots of one source that cost the same are a grade of it. What enters in several places has
    to cost the same in all of them, so a source that is drawn from several is of one grade.
    """

    def __init__(self, mg: Ints, cost: Ints, first: Ints, last: Ints, spread: Marks) -> None:
        serves = np.flatnonzero((first != NOWHERE).any(axis=0))
        mg, cost = mg[serves], cost[serves]
        apart = np.where(spread[serves], cost, NOWHERE)
        keys = np.concatenate([first[:, serves], last[:, serves], apart[None]])
        found, number = _distinct(keys)
        self.first, self.last = found[: len(first)], found[len(first) : -1]
        (self.grade_source, self.grade_cost), grade = _distinct(np.stack([number, cost]))
        self.of_lot, self.grade_of_lot = np.full((2, first.shape[1]), NOWHERE, dtype=np.int64)
        self.of_lot[serves], self.grade_of_lot[serves] = number, grade
        self.mg = _sums(number, mg, found.shape[1])
        self.grade_mg = _sums(grade, mg, len(self.grade_cost))
        self.grades = np.bincount(self.grade_source, minlength=len(self.mg))


def _distinct(columns: Ints) -> tuple[Ints, Ints]:
    """Return the distinct columns of a table, sorted, and of each column which of them it is."""
    order = np.lexsort(columns[::-1])
    along = columns[:, order]
    starts = np.ones(len(order), dtype=bool)
    starts[1:] = (along[:, 1:] != along[:, :-1]).any(axis=0)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(starts) - 1
    return along[:, starts], number


def _sums(number: Ints, mg: Ints, count: int) -> Ints:
    total = np.zeros(count, dtype=np.int64)
    np.add.at(total, number, mg)
    return total


class Entries:
    """Where sources enter: chains for what serves to the end or from the start, else spans.

    What keeps to the end waits from day to day in a chain. What is there from the start goes
    through a chain that runs back in time from the last day on which it is good. Pools are the
    leaves of a binary tree as well; whatever is limited both ways is handed to the few spans of
    the tree that make up just its pools, and from there down.
    """

    def __init__(self, sources: Sources, ways: Ways, pools: int) -> None:
        self.leaf = 1 << max(pools - 1, 0).bit_length()
        number = np.tile(np.arange(len(sources.mg)), len(sources.first))
        side = np.repeat(np.arange(len(sources.first)) // SIGNATURES_OF_A_LOT, len(sources.mg))
        first, last = sources.first.ravel(), sources.last.ravel()
        kept, early, limited = (
            (number[kind], side[kind], first[kind], last[kind]) for kind in ways.of(first, last)
        )
        chains = _Chains(pools, kept, early)
        self.node_pool, self.node_chain = chains.node_pool, chains.node_chain
        self.source, self.side, self.place = (
            np.concatenate(column).astype(np.int64)
            for column in zip(*chains.entries, *self._spans(*limited), strict=True)
        )

    def _spans(
        self, number: Ints, side: Ints, first: Ints, last: Ints
    ) -> list[tuple[Ints, Ints, Ints]]:
        found = []
        low, high = first + self.leaf, last + self.leaf + 1
        while len(number):
            for takes, place in ((low & 1 == 1, low), (high & 1 == 1, high - 1)):
                takes &= low < high
                found.append((number[takes], side[takes], place[takes]))
            low, high = (low + 1) >> 1, high >> 1
            going = low < high
            number, side, low, high = number[going], side[going], low[going], high[going]
        return found


class _Chains:
    """Nodes in the order in which fibre runs through them: on in time, or back in it.

    Rows of sources are number, side, first and last pool; what enters is told by number, side and
    node. A node is told from a place in the tree of spans by being negative.
    """

    def __init__(self, pools: int, kept: tuple[Ints, ...], early: tuple[Ints, ...]) -> None:
        begin = np.full(pools, pools, dtype=np.int64)
        np.minimum.at(begin, kept[3], kept[2])
        finish = np.full(pools, NOWHERE, dtype=np.int64)
        np.maximum.at(finish, early[2], early[3])
        on, back = np.flatnonzero(begin < pools), np.flatnonzero(finish != NOWHERE)
        since = np.concatenate([begin[on], finish[back]])
        length = np.concatenate([on - begin[on], finish[back] - back]) + 1
        step = np.repeat([1, -1], [len(on), len(back)])
        base = np.cumsum(length) - length
        self.node_chain = np.repeat(np.arange(len(length)), length)
        along = np.arange(int(length.sum())) - base[self.node_chain]
        self.node_pool = since[self.node_chain] + step[self.node_chain] * along
        on_base, back_base = np.zeros((2, pools), dtype=np.int64)
        on_base[on], back_base[back] = base[: len(on)], base[len(on) :]
        self.entries = [
            (number, side, -1 - node)
            for (number, side, _, _), node in (
                (kept, on_base[kept[3]] + kept[2] - begin[kept[3]]),
                (early, back_base[early[2]] + finish[early[2]] - early[3]),
            )
        ]
