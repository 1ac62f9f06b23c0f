"""The best cover a third way: the lot-level linear programme, one aim after the other.

Columns are what every line takes from every lot that may serve it, what the line takes in all
and what it lacks. Each aim is minimised in turn and then held; scipy solves.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import linprog

from orders.calc.planrows import Snapshot
from tests.orders.oracles.asks import Ask, average_asks, extra_asks, held
from tests.orders.oracles.cover_oracle import Best

NEAR = 1e-6


class Programme:
    """Columns, rows and bounds, put down one by one."""

    def __init__(self) -> None:
        self.bounds: list[tuple[float, float | None]] = []
        self.equal: list[tuple[dict[int, float], float]] = []
        self.at_most: list[tuple[dict[int, float], float]] = []

    def column(self, least: float = 0, most: float | None = None) -> int:
        self.bounds.append((least, most))
        return len(self.bounds) - 1

    def least(self, aim: dict[int, float]) -> float:
        """Return the least value of an aim, and hold it there from now on."""
        found = linprog(
            self._row(aim),
            A_eq=self._matrix(self.equal),
            b_eq=[right for _, right in self.equal],
            A_ub=self._matrix(self.at_most),
            b_ub=[right for _, right in self.at_most],
            bounds=self.bounds,
            method="highs",
        )
        assert found.status == 0, found.message
        self.at_most.append((aim, found.fun + NEAR))
        return float(found.fun)

    def _row(self, entries: dict[int, float]) -> np.ndarray:
        row = np.zeros(len(self.bounds))
        for column, entry in entries.items():
            row[column] = entry
        return row

    def _matrix(self, rows: list[tuple[dict[int, float], float]]) -> np.ndarray | None:
        return np.array([self._row(entries) for entries, _ in rows]) if rows else None


def best(snapshot: Snapshot) -> Best:
    """Find the best cover of a snapshot in which no promise is all or nothing."""
    asks = average_asks(snapshot)
    shorts = _solve(snapshot, asks, []).shorts
    return _solve(snapshot, asks, extra_asks(snapshot, shorts))


def _solve(snapshot: Snapshot, asks: list[Ask], extras: list[Ask]) -> Best:
    programme = Programme()
    taken: dict[int, dict[int, float]] = {lot: {} for lot in range(len(snapshot.lots))}
    cost: dict[int, float] = {}
    deviation: dict[int, float] = {}
    shorts: list[dict[int, float]] = []
    for place, ask in enumerate([*asks, *extras]):
        own = place < len(asks)
        whole: dict[int, float] = {}
        shorts.append({})
        for line in ask.lines:
            mass = programme.column(line.least, line.most)
            short = programme.column()
            balance = {short: 1.0, mass: -1.0}
            whole[mass] = shorts[-1][short] = 1.0
            for lot in line.lots:
                use = programme.column()
                balance[use] = taken[lot][use] = 1.0
                cost[use] = snapshot.lots[lot].cost_minor_per_kg if own else 0.0
            programme.equal.append((balance, 0.0))
            if own:
                away = programme.column()
                deviation[away] = 1.0
                programme.at_most.append(({mass: 1.0, away: -1.0}, line.target))
                programme.at_most.append(({mass: -1.0, away: -1.0}, -line.target))
        programme.equal.append((whole, ask.need))
    for lot, mass in enumerate(held(snapshot)):
        if taken[lot]:
            programme.at_most.append((taken[lot], mass))
    found = [programme.least(aim) for aim in shorts]
    recipe_first = snapshot.aims == "recipe first"
    first = programme.least(deviation if recipe_first else cost)
    second = programme.least(cost if recipe_first else deviation)
    return Best(
        tuple(round(short) for short in found[: len(asks)]),
        tuple(round(short) for short in found[len(asks) :]),
        round(first if recipe_first else second),
        round(second if recipe_first else first),
    )
