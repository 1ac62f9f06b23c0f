"""From which day on a short promise could be served whole, nobody else worse off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from orders.calc._cover.conceded import Waiting
from orders.calc._cover.flow import Clock
from orders.calc._cover.free import left_over
from orders.calc._cover.served import Served
from orders.calc._cover.stock import Ints


def ready_days(served: Served, clock: Clock) -> dict[int, int | None]:
    """Return the first later day of every short promise, in order of rank, or None.

    A day is looked for first among what is left over, with everybody's lots where they are. Only
    where an earlier day cannot be ruled out by its mass is the flow solved anew.
    """
    search = _Search(served, clock)
    return {number: search.first_day(number) for number in served.waiting}


class _Search:
    def __init__(self, served: Served, clock: Clock) -> None:
        self.served, self.clock = served, clock
        self.left = left_over(served)
        self.days = {number: self._later(number) for number in served.waiting}
        self.found: dict[int, int] = {}
        self.network: Waiting | None = None
        self.moved = False  # whether the flow has put lots elsewhere than where they are noted

    def _lots(self, number: int) -> list[Ints]:
        need = self.served.promises[number]
        return [self.served.stock.eligible(part.fibres, need) for part in need.furnish]

    def _later(self, number: int) -> list[int]:
        """Return the days after its own on which a lot comes that may serve the promise.

        Between two such days its lots only grow fewer, so no day there is better than the one
        before. Before the first, lots that others leave by waiting may be enough: then that is
        so on the first day on which any lot comes.
        """
        day = self.served.wants[number].day
        start = self.served.stock.start
        any_lot = start[start > day]
        own = start[np.concatenate(self._lots(number))]
        days = set(own[own > day].tolist())
        if len(any_lot):
            days.add(int(any_lot.min()))
        return sorted(days)

    def first_day(self, number: int) -> int | None:
        walked = None if self.moved else self._walk(number)
        earlier = [
            day
            for day in self.days[number]
            if (walked is None or day < walked) and self._may(number, day)
        ]
        day = self._by_flow(number, earlier) if earlier else None
        if day is None and walked is not None:
            day = walked
            self._take(number, day)
            if self.network is not None:
                self.network.fills(number, [day])
        if day is not None:
            self.found[number] = day
        return day

    def _may(self, number: int, day: int) -> bool:
        """Return whether mass alone does not rule a day out."""
        stock, served = self.served.stock, self.served
        lines = served.net.lines.of(number)
        every = []
        for line, lots in zip(lines, self._lots(number), strict=True):
            there = lots[(stock.start[lots] <= day) & (stock.until[lots] >= day)]
            if stock.mg[there].sum() < served.net.lines.least[line]:
                return False
            every.append(there)
        mass = stock.mg[np.unique(np.concatenate(every))].sum()
        is_left = self.moved or int(self.left.sum()) >= served.shorts[number]
        return bool(mass >= served.wants[number].mg) and is_left

    # --- by walking ---------------------------------------------------------------------------

    def _walk(self, number: int) -> int | None:
        return next((day for day in self.days[number] if self._rows(number, day)), None)

    def _rows(self, number: int, day: int) -> list[tuple[Ints, Ints]]:
        """Return what each line would draw of what is left, or nothing where it falls short."""
        stock, left = self.served.stock, self._free(number)
        wants = [
            given + lack
            for given, lack in zip(
                self.served.given(number), self.served.lacks(number), strict=True
            )
        ]
        rows = []
        for want, lots in zip(wants, self._lots(number), strict=True):
            there = lots[(stock.start[lots] <= day) & (stock.until[lots] >= day)]
            before = np.cumsum(left[there]) - left[there]
            drawn = np.clip(want - before, 0, left[there])
            if drawn.sum() < want:
                return []
            left[there] -= drawn
            rows.append((there, drawn))
        return rows

    def _free(self, number: int) -> Ints:
        """Return what is left with the promise's own lots laid back."""
        left = self.left.copy()
        rows = self.served.drawn.of_lines(self.served.net.lines.of(number))
        np.add.at(left, self.served.drawn.lot[rows], self.served.drawn.mg[rows])
        return left

    def _take(self, number: int, day: int) -> None:
        rows = self._rows(number, day)
        self.left = self._free(number)
        for lots, drawn in rows:
            self.left[lots] -= drawn

    # --- by flow ------------------------------------------------------------------------------

    def _by_flow(self, number: int, days: Sequence[int]) -> int | None:
        """Return the first of some days that the flow allows.

        What lots of any of the first days allow grows with the number of days, so where that is
        not enough is found by halving; single days are tried from there on, one by one, since
        lots that have gone off by then make single days come and go.
        """
        network = self._network()
        if not network.fills(number, days):
            network.give_back(number)
            return None
        network.drop()
        low, high = 0, len(days) - 1
        while low < high:
            middle = (low + high) // 2
            if network.fills(number, days[: middle + 1]):
                network.drop()
                high = middle
            else:
                low = middle + 1
        for day in days[low:]:
            if network.fills(number, [day]):
                self.moved = True
                return day
        network.give_back(number)
        return None

    def _network(self) -> Waiting:
        if self.network is None:
            self.network = Waiting.of(self.served, self.days, self.clock)
            for number, day in self.found.items():
                self.network.fills(number, [day])
        return self.network
