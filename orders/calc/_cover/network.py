"""The network that cover is solved on: lots merged to classes, chained through time.

A class is what lots of one fibre hold that no promise can tell apart: the same promises accept
them, the same first and last day of need falls into their days, and they cost the same. Classes
that keep to the last day of need share a chain, one node for each day of need, in which fibre
waits from one day to the next. Classes that are there from the first day on share a chain that
runs the other way: what is good until some day may be drawn on that day or on any before it. The
few that are limited both ways enter by a tree of spans of days. All that one signature has to
give on a day meets in a pool, and the lines of promises drawn on that day are fed from there.
Every column leaves one row and enters another, so the matrix is that of a network.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from orders.calc._cover.entering import Entries, Marks, Sources, Ways
from orders.calc._cover.lines import Lines, lines_of
from orders.calc._cover.stock import NOWHERE, Ints, Signatures, Stock, Want, ints

FREE = int(np.iinfo(np.int64).max)


@dataclass(frozen=True, slots=True)
class Network:
    """Rows that must balance, and columns each of which leaves a row and enters another.

    A row that is not there is ``NOWHERE``. Rows come in the order nodes of chains, pools, spans,
    sources, lines, wants. A source is what lots that serve the same days
    hold together, a grade what those among them hold that cost the same.
    """

    rows: int
    demand: Ints  # of each row: what has to come in, less what goes out
    tail: Ints
    head: Ints
    upper: Ints
    block: dict[str, slice]  # columns: supply, give, carry, pool, span, use, share, lack
    lines: Lines
    line_row: Ints
    want_row: Ints
    nodes: int
    node_pool: Ints
    pool_sig: Ints
    pool_day: Ints
    pool_row: Ints
    leaf: int  # the place of the first pool in the tree of spans
    row_place: Ints  # of each row its place in that tree, or NOWHERE
    lot_source: Ints
    lot_grade: Ints  # within its source, by cost
    lot_supply: Ints  # the column by which it comes in, with all that is like it
    entry_column: Ints  # columns by which fibre enters, by source, drawn before held
    entry_source: Ints
    entry_grade: Ints  # of what is drawn; NOWHERE of what is held
    entry_cost: Ints
    entry_last: Ints  # the last day, in order, on which what enters there may serve
    use_pool: Ints
    use_line: Ints
    share_line: Ints
    share_over: Marks

    @property
    def columns(self) -> int:
        """How many columns there are."""
        return len(self.tail)


def build(
    stock: Stock,
    wants: Sequence[Want],
    signatures: Signatures,
    *,
    apart: int | None = None,
    by_cost: bool = True,
    more_days: Iterable[tuple[int, int]] = (),
) -> Network:
    """Return the network through which lots serve these wants.

    Parameters
    ----------
    stock : Stock [mg]
        The lots, in the order in which they should be used up.
    wants : sequence of Want [mg]
        What has to be there on which day, in the order in which it is served.
    signatures : Signatures [-]
        Which lots these wants accept.
    apart : int or None [-]
        Wants from this number on are fed by chains of their own: what they hold costs nothing,
        so that their fibre must be told from that of the others.
    by_cost : bool [-]
        Whether lots that cost differently are told apart.
    more_days : iterable of pairs [days]
        Signatures with further days on which something may be drawn.

    Returns
    -------
    Network
        Rows and columns; demand and bounds in whole milligrams.

    Raises
    ------
    StudioError
        Never; the rows are checked when they are read.

    Notes
    -----
    Its size does not hang on the days that pass, but on those on which fibre is drawn. Source:
    definition.

    Examples
    --------
    >>> from datetime import date
    >>> from decimal import Decimal
    >>> from orders.calc.planrows import Part, PlanLot, Question
    >>> one, day = Decimal(1), date(2027, 3, 1)
    >>> lots = [PlanLot(ref, "abaca", 500, 500, 500, day) for ref in ("A1", "A2")]
    >>> want = Want(Question(day, 10, (Part(("abaca",), one, one, one),)), day.toordinal(), 900)
    >>> stock = Stock(lots, most_mg=10_000)
    >>> net = build(stock, [want], Signatures(stock, [want]))
    >>> net.rows, net.columns, net.upper[net.block["supply"]].tolist()
    (2, 3, [1000])
    """
    lines = lines_of(wants)
    use_line, use_sig = _uses(lines, wants, signatures)
    sides = 1 if apart is None else 2
    if apart is not None:
        use_sig += (lines.want[use_line] >= apart) * signatures.count
    days = _Days(ints(want.day for want in wants), list(more_days))
    use_key = days.key(use_sig, days.of_want[lines.want[use_line]])
    more_key = ints(int(sig) * days.span + day - days.base + 1 for sig, day in days.more)
    keys = np.unique(np.concatenate([use_key, more_key]))
    sig = np.concatenate([signatures.of_lots + side * signatures.count for side in range(sides)])
    first = np.searchsorted(keys, days.key(sig, stock.start[None, :]))
    last = np.searchsorted(keys, days.key(sig, stock.until[None, :]), side="right") - 1
    serves = (np.tile(signatures.of_lots, (sides, 1)) != NOWHERE) & (first <= last)
    first[~serves] = last[~serves] = NOWHERE
    ways = Ways(keys // days.span)
    cost = stock.cost if by_cost else np.zeros_like(stock.cost)
    drawn = first[: len(signatures.of_lots)]
    spread = ways.of(first, last)[-1].any(axis=0) | ((drawn != NOWHERE).sum(axis=0) > 1)
    sources = Sources(stock.mg, cost, first, last, spread)
    entries = Entries(sources, ways, len(keys))
    return _Assembly(lines, keys, days, sources, entries, use_line, use_key).network()


class _Days:
    """One axis for the days of all signatures; days far off lie at the ends of each stretch."""

    def __init__(self, of_want: Ints, more: list[tuple[int, int]]) -> None:
        self.of_want, self.more = of_want, more
        every = [*of_want.tolist(), *(day for _, day in more)]
        self.base = min(every, default=0)
        self.span = max(every, default=0) - self.base + 3

    def key(self, signature: Ints, day: Ints) -> Ints:
        return signature * self.span + np.clip(day - self.base + 1, 0, self.span - 1)


def _uses(lines: Lines, wants: Sequence[Want], signatures: Signatures) -> tuple[Ints, Ints]:
    use_line: list[int] = []
    use_sig: list[int] = []
    for line, (want, part) in enumerate(zip(lines.want.tolist(), lines.part, strict=True)):
        found = signatures.accepted(part.fibres, wants[want].need)
        use_sig += found
        use_line += [line] * len(found)
    return ints(use_line), ints(use_sig)


class _Assembly:
    """Numbers rows and columns."""

    def __init__(
        self,
        lines: Lines,
        keys: Ints,
        days: _Days,
        sources: Sources,
        entries: Entries,
        use_line: Ints,
        use_key: Ints,
    ) -> None:
        self.lines, self.keys, self.days = lines, keys, days
        self.sources, self.entries = sources, entries
        self.nodes = self.rows = len(entries.node_pool)
        self.pool_row = np.full(len(keys), NOWHERE, dtype=np.int64)
        self.pool_row[entries.node_pool] = np.arange(self.nodes)
        self.place_row = np.full(2 * entries.leaf, NOWHERE, dtype=np.int64)
        self._number_spans()
        use_pool = np.searchsorted(keys, use_key)
        kept = self.pool_row[use_pool] != NOWHERE
        self.use_pool, self.use_line = use_pool[kept], use_line[kept]

    def _number_spans(self) -> None:
        """Give a row to each span that is entered or lies below one; its pools get one too."""
        entries = self.entries
        reached = np.zeros(2 * entries.leaf, dtype=bool)
        reached[entries.place[entries.place > 0]] = True
        level = 1
        while level < entries.leaf:
            inner = np.flatnonzero(reached[level : 2 * level]) + level
            reached[2 * inner] = reached[2 * inner + 1] = True
            level *= 2
        # A pool where two chains meet is a row of its own too.
        meets = np.bincount(entries.node_pool, minlength=len(self.keys)) > 1
        reached[entries.leaf : entries.leaf + len(meets)] |= meets
        leaves = np.flatnonzero(reached[entries.leaf :])
        self.pool_row[leaves] = self._new_rows(len(leaves))
        self.place_row[entries.leaf + leaves] = self.pool_row[leaves]
        self.inner = np.flatnonzero(reached[: entries.leaf])
        self.place_row[self.inner] = self._new_rows(len(self.inner))

    def _new_rows(self, count: int) -> Ints:
        self.rows += count
        return np.arange(self.rows - count, self.rows)

    def network(self) -> Network:
        """Return the whole."""
        lines, entries = self.lines, self.entries
        supply, give, entry = self._enter()
        line_row = self._new_rows(len(lines.want))
        count = len(lines.mg)
        several = np.diff(lines.first) > 1
        roomy = several & (np.bincount(lines.want, lines.most - lines.least, count) > 0)
        want_row = np.full(count, NOWHERE, dtype=np.int64)
        want_row[roomy] = self._new_rows(int(roomy.sum()))
        share, over, room = _shares(lines, want_row)
        blocks = {
            "supply": supply,
            "give": give,
            **self._through_time(),
            "use": (self.pool_row[self.use_pool], line_row[self.use_line], _free(self.use_line)),
            "share": (line_row[share], want_row[lines.want[share]], room),
            "lack": (_none(line_row), line_row, lines.most),
        }
        columns, at = {}, 0
        for name, (_, head, _) in blocks.items():
            columns[name], at = slice(at, at + len(head)), at + len(head)
        tail, head, upper = (
            np.concatenate([block[n] for block in blocks.values()]) for n in range(3)
        )
        row_place = np.full(self.rows, NOWHERE, dtype=np.int64)
        placed = np.flatnonzero(self.place_row != NOWHERE)
        row_place[self.place_row[placed]] = placed
        days = self.days
        return Network(
            self.rows, _demand(lines, line_row, want_row, self.rows), tail, head, upper, columns,
            lines, line_row, want_row, self.nodes, entries.node_pool,
            self.keys // days.span, self.keys % days.span + days.base - 1, self.pool_row,
            entries.leaf, row_place, self.sources.of_lot, self.sources.grade_of_lot, *entry,
            self.use_pool, self.use_line, share, over,
        )  # fmt: skip

    def _through_time(self) -> dict[str, tuple[Ints, Ints, Ints]]:
        """Return the columns by which fibre waits, comes to its pools and down to their spans."""
        entries = self.entries
        carry = np.flatnonzero(np.diff(entries.node_chain, append=NOWHERE) == 0)
        pool = np.flatnonzero(self.pool_row[entries.node_pool] >= self.nodes)
        below = np.stack([2 * self.inner, 2 * self.inner + 1], axis=1).ravel()
        return {
            "carry": (carry, carry + 1, _free(carry)),
            "pool": (pool, self.pool_row[entries.node_pool[pool]], _free(pool)),
            "span": (
                np.repeat(self.place_row[self.inner], 2),
                self.place_row[below],
                _free(below),
            ),
        }

    def _enter(self) -> tuple[Any, Any, Any]:
        """Feed sources in where they serve, by a row of their own where that is in many places.

        What is drawn enters grade by grade, for it counts what it costs; what is held does not.
        """
        sources, entries = self.sources, self.entries
        at = np.lexsort((entries.place, entries.side, entries.source))
        drawn = entries.side[at] == 0
        times = np.where(drawn, sources.grades[entries.source[at]], 1)
        nth = np.arange(int(times.sum())) - np.repeat(np.cumsum(times) - times, times)
        at, drawn = np.repeat(at, times), np.repeat(drawn, times)
        source, place = entries.source[at], entries.place[at]
        first_grade = np.cumsum(sources.grades) - sources.grades
        grade = np.where(drawn, first_grade[source] + nth, NOWHERE)
        most = np.where(drawn, sources.grade_mg[grade], sources.mg[source])
        into = np.where(place < 0, -1 - place, self.place_row[place])
        many = np.bincount(entries.source, minlength=len(sources.mg)) > 1
        row = np.full(len(many), NOWHERE, dtype=np.int64)
        row[many] = self._new_rows(int(many.sum()))
        gives = many[source]
        supplies = int(many.sum()) + int((~gives).sum())
        column = np.empty(len(gives), dtype=np.int64)
        column[~gives] = np.arange(int(many.sum()), supplies)
        column[gives] = np.arange(supplies, supplies + int(gives.sum()))
        supply_of = np.full(len(many), NOWHERE, dtype=np.int64)
        supply_of[many] = np.arange(int(many.sum()))
        supply_of[source[~gives & ~drawn]] = column[~gives & ~drawn]
        # Lots that serve nothing look into the place after the last.
        of_grade = np.append(supply_of[sources.grade_source], NOWHERE)
        of_grade[grade[~gives & drawn]] = column[~gives & drawn]
        head = np.concatenate([row[many], into[~gives]])
        supply = (_none(head), head, np.concatenate([sources.mg[many], most[~gives]]))
        give = (row[source[gives]], into[gives], most[gives])
        cost = np.where(drawn, sources.grade_cost[grade], 0)
        pool_day = np.append(self.keys % self.days.span, 0)
        last_day = pool_day[sources.last].max(axis=0)
        return (
            supply,
            give,
            (of_grade[sources.grade_of_lot], column, source, grade, cost, last_day[source]),
        )


def _none(like: Ints) -> Ints:
    return np.full(len(like), NOWHERE, dtype=np.int64)


def _free(like: Ints) -> Ints:
    return np.full(len(like), FREE, dtype=np.int64)


def _demand(lines: Lines, line_row: Ints, want_row: Ints, rows: int) -> Ints:
    """Return what must come into lines and wants: shares at least, and what is left to share."""
    sole = np.diff(lines.first) == 1
    demand = np.zeros(rows, dtype=np.int64)
    demand[line_row] = np.where(sole[lines.want], lines.mg[lines.want], lines.least)
    held = np.zeros(len(lines.mg), dtype=np.int64)
    np.add.at(held, lines.want, lines.least)
    roomy = want_row != NOWHERE
    demand[want_row[roomy]] = (lines.mg - held)[roomy]
    return demand


def _shares(lines: Lines, want_row: Ints) -> tuple[Ints, Any, Ints]:
    """Return the columns from a line to its want: up to the target, and what goes over it."""
    has_room = want_row[lines.want] != NOWHERE
    under = np.flatnonzero(has_room & (lines.target > lines.least))
    over = np.flatnonzero(has_room & (lines.most > lines.target))
    line = np.concatenate([under, over])
    is_over = np.arange(len(line)) >= len(under)
    room = np.where(is_over, (lines.most - lines.target)[line], (lines.target - lines.least)[line])
    return line, is_over, room
