"""Why promises are short: the sink-side minimum cut, split where nothing connects it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from orders.calc._cover.free import Free
from orders.calc._cover.served import Served
from orders.calc._cover.stock import NOWHERE, Ints
from orders.calc.covered import Binding

Marks = np.ndarray[Any, np.dtype[np.bool_]]


def reasons(served: Served, free: Mapping[int, Free]) -> tuple[Binding, ...]:
    """Return who needs, together, more of which fibres than which lots can give."""
    net = served.net
    drawn = int(net.lines.first[len(served.promises)])
    lacking = np.flatnonzero(served.lack[:drawn] > 0)
    found = []
    if len(lacking):
        inside = _behind(served, net.line_row[lacking])
        label = _joined(served, inside)
        into = np.flatnonzero(inside[net.head])
        found = [
            _binding(served, inside & (label == one), into[label[net.head[into]] == one])
            for one in np.unique(label[inside]).tolist()
        ]
    found += [_of_left_out(served, number, there) for number, there in free.items()]
    order = {one.ref: number for number, one in enumerate(served.promises)}
    return tuple(sorted(found, key=lambda one: [order[ref] for ref in one.commissions]))


def _behind(served: Served, rows: Ints) -> Marks:
    """Return the rows from which more could still be sent to these, were there more in them."""
    net, flow = served.net, served.flow
    inner = net.tail != NOWHERE
    tail, head = net.tail[inner], net.head[inner]
    is_open = flow < net.upper
    # A grade that is drawn up may still be all that its source holds.
    is_open[net.block["give"]] = True
    open_up, open_back = is_open[inner], (flow > 0)[inner]
    up_from, up_to = tail[open_up], head[open_up]
    back_from, back_to = tail[open_back], head[open_back]
    inside = np.zeros(net.rows, dtype=bool)
    inside[rows] = True
    count = 0
    while count < (count := int(inside.sum())):
        inside[up_from[inside[up_to]]] = True
        inside[back_to[inside[back_from]]] = True
    return inside


def _joined(served: Served, inside: Marks) -> Ints:
    """Return one number for all rows that columns or the lines of one promise connect."""
    net = served.net
    both = (net.tail != NOWHERE) & inside[net.tail] & inside[net.head]
    lines = np.flatnonzero(inside[net.line_row])
    _, first, of = np.unique(net.lines.want[lines], return_index=True, return_inverse=True)
    one = np.concatenate([net.tail[both], net.line_row[lines[first[of]]]])
    other = np.concatenate([net.head[both], net.line_row[lines]])
    label = np.arange(net.rows)
    while True:
        before = label.copy()
        np.minimum.at(label, one, label[other])
        np.minimum.at(label, other, label[one])
        label = label[label]
        if (label == before).all():
            return label


def _binding(served: Served, inside: Marks, into: Ints) -> Binding:
    """Say what is needed in some rows, and what can be given by the columns that lead there."""
    net, flow = served.net, served.flow
    lines = np.flatnonzero(inside[net.line_row]).tolist()
    need = int(net.demand[inside].sum())
    comes_in = (net.tail[into] != NOWHERE) & ~inside[net.tail[into]]
    need -= int(flow[into[comes_in]].sum())
    supply = net.block["supply"]  # the first block, so that its columns count from 0
    sources = into[into < supply.stop]
    lots = np.flatnonzero(np.isin(net.lot_supply, sources))
    named = [served.stock.lots[number] for number in lots.tolist()]
    wants = dict.fromkeys(net.lines.want[lines].tolist())
    wants |= dict.fromkeys(
        np.flatnonzero((net.want_row != NOWHERE) & inside[net.want_row]).tolist()
    )
    fibres = {fibre for line in lines for fibre in net.lines.part[line].fibres}
    return Binding(
        tuple(sorted(fibres)),
        need,
        int(flow[sources].sum()),
        tuple(served.promises[want].ref for want in sorted(wants)),
        tuple(lot.ref for lot in named),
    )


def _of_left_out(served: Served, number: int, free: Free) -> Binding:
    one = served.promises[number]
    lots = dict.fromkeys(int(lot) for lots in free.lots for lot in lots)
    return Binding(
        _fibres(one.furnish),
        served.wants[number].mg,
        sum(free.by_line),
        (one.ref,),
        tuple(served.stock.lots[lot].ref for lot in lots),
    )


def _fibres(furnish: Any) -> tuple[str, ...]:
    return tuple(dict.fromkeys(fibre for part in furnish for fibre in part.fibres))
