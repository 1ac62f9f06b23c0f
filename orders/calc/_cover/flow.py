"""The network put to the solver: aims one after another, exactly, and the flow in whole mg.

Every aim has whole-number costs, so its reduced costs are whole too. A column whose reduced cost
is not nothing stays where it is in every answer that is as good: fixing it there, in place of a
row that holds the aim, leaves the matrix a network, and so every corner in whole milligrams.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np

from orders.calc._cover.network import FREE, Network
from orders.calc._cover.stock import NOWHERE, Ints
from orders.calc._highs import engine

Floats = np.ndarray[Any, np.dtype[np.float64]]
COLUMNWISE, MINIMISE = 1, 1
ROUNDING = 1e-3
# A weight this much over what two lots can differ by sets the first solve right nearly always;
# the aims are then solved one by one all the same, so nothing hangs on it.
HEADROOM = 8
# Nothing that is solved here is without bounds.
NO_ANSWER = (
    highspy.HighsModelStatus.kInfeasible,
    highspy.HighsModelStatus.kUnboundedOrInfeasible,
)
# From so many rows on the first corner is mostly found sooner from within than along the edges.
MANY_ROWS = 30_000
# The simplex method mends what is missing by its dual steps and aims anew by its primal ones. It
# weighs all edges alike, which is quicker here: there are many short steps.
SIMPLEX = {"simplex_strategy": 0, "simplex_dual_edge_weight_strategy": 0}


class CoverError(AssertionError):
    """The answer about cover contradicts itself: a fault of the program, never of the input."""


@dataclass(slots=True)
class Clock:
    """Adds up the seconds that the solver itself has run."""

    solver_seconds: float = 0.0


class Flow:
    """One network in the solver, solved again and again from where it stands."""

    def __init__(self, net: Network, cost: Floats, clock: Clock) -> None:
        self.net, self.clock = net, clock
        self.solver = engine(solver="simplex" if net.rows < MANY_ROWS else "ipm", **SIMPLEX)
        self.columns = net.columns
        self.cost = cost
        self.found: Floats | None = None
        has_tail = net.tail != NOWHERE
        start = np.zeros(net.columns + 1, dtype=np.int32)
        np.cumsum(1 + has_tail, out=start[1:])
        index = np.empty(start[-1], dtype=np.int32)
        value = np.ones(start[-1])
        index[start[1:] - 1] = net.head
        index[start[:-1][has_tail]] = net.tail[has_tail]
        value[start[:-1][has_tail]] = -1.0
        demand = net.demand.astype(np.float64)
        upper = _upper(net.upper)
        self.solver.passModel(
            net.columns, net.rows, len(index), COLUMNWISE, MINIMISE, 0.0,
            cost, np.zeros(net.columns), upper, demand, demand,
            start, index, value, np.zeros(net.columns, dtype=np.int32),
        )  # fmt: skip

    def run(self) -> bool:
        """Solve; return whether there is an answer at all."""
        started = time.perf_counter()
        self.solver.run()
        self.clock.solver_seconds += time.perf_counter() - started
        self.found = None
        # From a corner on, the simplex method is the one that goes on from where it stands.
        self.solver.setOptionValue("solver", "simplex")
        status = self.solver.getModelStatus()
        # With no lot that may serve and nothing promised there is nothing to solve.
        if status in (highspy.HighsModelStatus.kOptimal, highspy.HighsModelStatus.kModelEmpty):
            return True
        if status in NO_ANSWER:
            return False
        raise CoverError(f"The solver stopped with {status}.")

    def aim(self, cost: Floats) -> None:
        """Solve for another aim, from the answer that stands."""
        other = np.flatnonzero(cost != self.cost)
        self.solver.changeColsCost(len(other), other.astype(np.int32), cost[other])
        self.cost = cost
        if not self.run():
            raise CoverError("An aim took away every answer.")

    def hold(self) -> None:
        """Keep only the answers that are as good as this one by the aim just solved."""
        reduced = np.fromiter(self.solver.getSolution().col_dual, dtype=np.float64)
        fixed = np.flatnonzero(np.abs(reduced) > 0.5)
        at = np.round(self._raw()[fixed])
        self.bound(fixed, at, at)

    def bound(self, columns: Ints, lower: Floats, upper: Floats) -> None:
        """Set the bounds of columns."""
        self.solver.changeColsBounds(len(columns), columns.astype(np.int32), lower, upper)

    def open_up_to(self, columns: Ints, upper: Floats | float) -> None:
        """Let columns carry anything from nothing to a bound."""
        self.bound(columns, np.zeros(len(columns)), np.broadcast_to(upper, len(columns)).copy())

    def require(self, rows: Ints, demand: Floats) -> None:
        """Set what has to come into rows."""
        self.solver.changeRowsBounds(len(rows), rows.astype(np.int32), demand, demand)

    def add(self, tail: Ints, head: Ints, upper: Floats) -> Ints:
        """Add columns from rows to rows; return their numbers."""
        count = len(tail)
        index = np.stack([tail, head], axis=1).astype(np.int32).ravel()
        value = np.tile([-1.0, 1.0], count)
        start = np.arange(0, 2 * count, 2, dtype=np.int32)
        zeros = np.zeros(count)
        self.solver.addCols(count, zeros, zeros, upper, 2 * count, start, index, value)
        self.columns += count
        return np.arange(self.columns - count, self.columns)

    def row(self) -> int:
        """Add a row that must balance; return its number."""
        none = np.zeros(0, dtype=np.int32)
        self.solver.addRow(0.0, 0.0, 0, none, none.astype(np.float64))
        return int(self.solver.getNumRow()) - 1

    def limit(self, columns: Ints, factors: Floats, lower: float, upper: float) -> int:
        """Add a row that limits columns together; return its number."""
        self.solver.addRow(lower, upper, len(columns), columns.astype(np.int32), factors)
        return int(self.solver.getNumRow()) - 1

    def limit_each(self, groups: Sequence[Ints], most: Floats) -> None:
        """Add a row for each group of columns, which together may carry so much at most."""
        if not groups:
            return
        index = np.concatenate(groups).astype(np.int32)
        start = np.cumsum([0, *map(len, groups[:-1])], dtype=np.int32)
        endless = np.full(len(groups), highspy.kHighsInf)
        self.solver.addRows(
            len(groups), -most, endless, len(index), start, index, -np.ones(len(index))
        )  # fmt: skip

    def leave(self, row: int) -> int:
        """Add a column that takes any mass out of a row; return its number."""
        self.solver.addCol(0.0, 0.0, highspy.kHighsInf, 1, np.array([row]), np.array([-1.0]))
        self.columns += 1
        return self.columns - 1

    def values(self) -> Ints:
        """Return the flow in whole milligrams, checked against every row and every bound."""
        raw = self._raw()
        flow = np.rint(raw).astype(np.int64)
        if len(raw) and np.abs(raw - flow).max() > ROUNDING:
            raise CoverError("A corner of the network is not in whole milligrams.")
        return flow

    def _raw(self) -> Floats:
        """Return the flow as the solver gave it; it is fetched once from each answer."""
        if self.found is None:
            self.found = np.fromiter(self.solver.getSolution().col_value, dtype=np.float64)
        return self.found


def check(net: Network, flow: Ints, demand: Ints, more: tuple[Ints, Ints] | None = None) -> None:
    """Refuse a flow that does not balance or leaves its bounds, in whole numbers."""
    own = flow[: net.columns]
    if (flow < 0).any() or (own > net.upper).any():
        raise CoverError("A column carries less than nothing or more than it may.")
    tail, head = net.tail, net.head
    if more is not None:
        tail, head = np.concatenate([tail, more[0]]), np.concatenate([head, more[1]])
    balance = np.zeros(net.rows, dtype=np.int64)
    np.add.at(balance, head, flow)
    leaves = tail != NOWHERE
    np.subtract.at(balance, tail[leaves], flow[leaves])
    if (balance != demand).any():
        raise CoverError("A row of the network does not balance.")


def _upper(upper: Ints) -> Floats:
    return np.where(upper == FREE, np.inf, upper)


class Aims:
    """What is aimed for, in order, as costs of the columns of a network.

    The first ``drawn`` wants are to be drawn; those after them are only held, so that neither
    the recipe nor the cost of theirs counts.
    """

    def __init__(self, net: Network, drawn: int, *, cost_first: bool) -> None:
        share, lack = net.block["share"], net.block["lack"]
        self.promise = np.zeros(net.columns)
        self.promise[lack] = len(net.lines.mg) - net.lines.want
        nearness, cost, order = (np.zeros(net.columns) for _ in range(3))
        # What goes over one target is missing under another, so either tells of both.
        nearness[share] = net.share_over & (net.lines.want[net.share_line] < drawn)
        cost[net.entry_column] = net.entry_cost
        order[net.entry_column] = np.unique(net.entry_last, return_inverse=True)[1]
        second = [cost, nearness] if cost_first else [nearness, cost]
        self.later = [aim for aim in (*second, order) if aim.any()]

    def together(self) -> Floats:
        """Return one cost that is nearly all aims in order: a place to start from."""
        whole = np.zeros(len(self.promise))
        for aim in reversed(self.later):
            whole = aim + whole / (HEADROOM * max(whole.max(initial=0.0), 1.0))
        return self.promise * (HEADROOM * max(whole.max(initial=0.0), 1.0)) + whole


def lexicographic(flow: Flow, aims: Sequence[Floats]) -> None:
    """Solve for the aims in order, each among the answers that are best by those before."""
    for aim in aims:
        flow.hold()
        flow.aim(aim)
