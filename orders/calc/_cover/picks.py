"""A flow taken apart again: which lot serves which line with how many milligrams.

Along a chain fibre is drawn first in, first out, whichever way in time the chain runs: that never
takes a lot before its first day nor after its last. At a pool the lot that has to be used first
goes to the line served first. All of it is done by laying two rows of masses along each other and
cutting where either ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from orders.calc._cover.flow import CoverError
from orders.calc._cover.network import Network
from orders.calc._cover.stock import NOWHERE, Ints, Stock, Want


@dataclass(frozen=True, slots=True)
class Drawn:
    """So many milligrams of a lot for a line, row by row, in order of lines; and what is left."""

    lot: Ints
    line: Ints
    mg: Ints
    left: Ints  # of each lot
    first: list[int]  # of each line its first row, and one more at the end

    def of_lines(self, lines: range) -> slice:
        """Return the rows of lines that follow on each other."""
        return slice(self.first[lines.start], self.first[lines.stop])


def take_apart(net: Network, stock: Stock, flow: Ints) -> Drawn:
    """Return the rows of lots and lines that make up a flow."""
    lot, row, mg, left = _entering(net, stock, flow)
    chained = row < net.nodes
    lot, pool, mg = _join(
        _through_chains(net, flow, lot[chained], row[chained], mg[chained]),
        _down_spans(net, flow, lot[~chained], net.row_place[row[~chained]], mg[~chained]),
    )
    order = np.lexsort((lot, pool))
    lot, pool, mg = lot[order], pool[order], mg[order]
    use = flow[net.block["use"]]
    used = np.flatnonzero(use)
    used = used[np.lexsort((net.use_line[used], net.use_pool[used]))]
    piece, place, mg = along(mg, use[used])
    if (pool[piece] != net.use_pool[used[place]]).any():
        raise CoverError("A pool gives what did not come into it.")
    lot, line, mg = _merged(lot[piece], net.use_line[used[place]], mg)
    first = np.searchsorted(line, np.arange(len(net.line_row) + 1))
    return Drawn(lot, line, mg, left, first.tolist())


def _join(*parts: tuple[Ints, ...]) -> tuple[Ints, ...]:
    return tuple(np.concatenate(column) for column in zip(*parts, strict=True))


def _merged(lot: Ints, line: Ints, mg: Ints) -> tuple[Ints, Ints, Ints]:
    """Add up what one lot gives to one line in several pieces."""
    order = np.lexsort((lot, line))
    lot, line, mg = lot[order], line[order], mg[order]
    starts = np.flatnonzero((np.diff(line, prepend=-1) != 0) | (np.diff(lot, prepend=-1) != 0))
    total = np.add.reduceat(mg, starts) if len(starts) else mg
    return lot[starts], line[starts], total


def _through_chains(
    net: Network, flow: Ints, lot: Ints, node: Ints, mg: Ints
) -> tuple[Ints, Ints, Ints]:
    """Return what comes out of chains as lot, pool and mass."""
    order = np.lexsort((lot, node))
    lot, mg = lot[order], mg[order]
    drawn = np.zeros(net.nodes, dtype=np.int64)
    to_pool = net.block["pool"]
    drawn[net.tail[to_pool]] = flow[to_pool]
    row = net.pool_row[net.use_pool]
    alone = row < net.nodes
    np.add.at(drawn, row[alone], flow[net.block["use"]][alone])
    at = np.flatnonzero(drawn)
    piece, place, mg = along(mg, drawn[at])
    return lot[piece], net.node_pool[at[place]], mg


def _down_spans(
    net: Network, flow: Ints, lot: Ints, place: Ints, mg: Ints
) -> tuple[Ints, Ints, Ints]:
    """Return what comes down the tree of spans as lot, pool and mass."""
    span = net.block["span"]
    moved = np.flatnonzero(flow[span]) + span.start
    parent, child = net.row_place[net.tail[moved]], net.row_place[net.head[moved]]
    level = 1
    while level < net.leaf:
        here = (place >= level) & (place < 2 * level)
        out = (parent >= level) & (parent < 2 * level)
        order = np.lexsort((lot[here], place[here]))
        out_order = np.argsort(child[out])
        piece, to, split = along(mg[here][order], flow[moved[out]][out_order])
        lot, place, mg = _join(
            (lot[~here], place[~here], mg[~here]),
            (lot[here][order][piece], child[out][out_order][to], split),
        )
        level *= 2
    return lot, place - net.leaf, mg


def along(ones: Ints, others: Ints) -> tuple[Ints, Ints, Ints]:
    """Lay two rows of masses along each other; return the pieces that both are cut into.

    >>> one, other, mass = along(np.array([5, 3]), np.array([2, 6]))
    >>> one.tolist(), other.tolist(), mass.tolist()
    ([0, 0, 1], [0, 1, 1], [2, 3, 3])
    """
    ends, other_ends = np.cumsum(ones), np.cumsum(others)
    if ones.sum() != others.sum():
        raise CoverError("What comes in is not what goes out.")
    # Either is sorted, and a stable sort is quick to merge two of them.
    cuts = np.sort(np.concatenate([ends, other_ends]), kind="stable")
    cuts = cuts[np.diff(cuts, prepend=0) > 0]
    return (
        np.searchsorted(ends, cuts),
        np.searchsorted(other_ends, cuts),
        np.diff(cuts, prepend=0),
    )


def _entering(net: Network, stock: Stock, flow: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """Return what of every lot enters which row, first what is drawn, then what is held."""
    left = stock.mg.copy()
    entering, into = flow[net.entry_column], net.head[net.entry_column]
    drawn = net.entry_grade != NOWHERE
    found = _join(
        _dealt(left, net.lot_grade, net.entry_grade[drawn], into[drawn], entering[drawn]),
        _dealt(left, net.lot_source, net.entry_source[~drawn], into[~drawn], entering[~drawn]),
    )
    return *found, left


def _dealt(left: Ints, of_lot: Ints, kind: Ints, into: Ints, mg: Ints) -> tuple[Ints, ...]:
    """Take what enters of each kind from its lots, of alike lots the first to use first."""
    lots = np.flatnonzero(of_lot != NOWHERE)
    lots = lots[np.argsort(of_lot[lots], kind="stable")]
    kinds = int(of_lot.max(initial=NOWHERE)) + 1
    unused = np.zeros(kinds, dtype=np.int64)
    np.add.at(unused, of_lot[lots], left[lots])
    np.subtract.at(unused, kind, mg)
    if (unused < 0).any():
        raise CoverError("More enters the network than the lots hold.")
    # Of each kind what enters, then what stays in the store.
    order = np.argsort(np.concatenate([kind, np.arange(kinds)]), kind="stable")
    piece, place, mass = along(left[lots], np.concatenate([mg, unused])[order])
    lot, row = lots[piece], np.concatenate([into, np.full(kinds, NOWHERE)])[order][place]
    enters = row != NOWHERE
    np.subtract.at(left, lot[enters], mass[enters])
    return lot[enters], row[enters], mass[enters]


def check_picks(stock: Stock, drawn: Drawn, net: Network, wants: list[Want]) -> None:
    """Refuse rows that no lot can give: its mass, its days and the limits of the promise."""
    given: Any = np.zeros(len(stock.lots), dtype=np.int64)
    np.add.at(given, drawn.lot, drawn.mg)
    want = net.lines.want[drawn.line]
    day = np.array([one.day for one in wants], dtype=np.int64)[want]
    if (given > stock.mg).any() or (drawn.mg <= 0).any():
        raise CoverError("A lot gives more than it holds.")
    if ((stock.start[drawn.lot] > day) | (stock.until[drawn.lot] < day)).any():
        raise CoverError("A lot serves outside its days.")
    _check_limits(stock, drawn, net, wants)


def _check_limits(stock: Stock, drawn: Drawn, net: Network, wants: list[Want]) -> None:
    """Refuse lots of a kind that a line does not take, and others than the only lots."""
    of_line, kinds = net.lines.want.tolist(), max(len(stock.kinds), 1)
    for pair in np.unique(drawn.line * kinds + stock.kind[drawn.lot]).tolist():
        line, kind = divmod(pair, kinds)
        fibre, marks = stock.kinds[kind]
        if fibre not in net.lines.part[line].fibres or marks & wants[of_line[line]].need.excludes:
            raise CoverError(f"Lots of {fibre} may not serve this line.")
    for number, asked in enumerate(wants):
        if (only := getattr(asked.need, "only_lots", None)) is None:
            continue
        for lot in drawn.lot[drawn.of_lines(net.lines.of(number))].tolist():
            if stock.lots[lot].ref not in only:
                raise CoverError(f"{stock.lots[lot].ref} is not one of the only lots.")
