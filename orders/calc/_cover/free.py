"""What is free for promises that take all or nothing, so that only the rest need be bought."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from orders.calc._cover.served import Served
from orders.calc._cover.stock import Ints


@dataclass(frozen=True, slots=True)
class Free:
    """What one promise would take of what is left over: of each line lots and milligrams."""

    lots: list[Ints]
    mg: list[Ints]

    @property
    def by_line(self) -> list[int]:
        """Milligrams of each line."""
        return [int(taken.sum()) for taken in self.mg]


def left_over(served: Served) -> Ints:
    """Return what each lot has left once all average needs are served; safe extras give way."""
    first_extra = int(served.net.lines.first[len(served.promises)])
    held = served.drawn.line >= first_extra
    left = served.drawn.left.copy()
    np.add.at(left, served.drawn.lot[held], served.drawn.mg[held])
    return left


def free_for_left_out(served: Served) -> dict[int, Free]:
    """Set aside, in order of rank, what those who were left out would find; none of it twice."""
    left = left_over(served)
    found = {}
    for number in sorted(want for want in served.left_out if want < len(served.promises)):
        need, day = served.promises[number], served.wants[number].day
        lots, mg = [], []
        for part, want in zip(need.furnish, served.lacks(number), strict=True):
            there = served.stock.eligible(part.fibres, need)
            stock = served.stock
            there = there[(stock.start[there] <= day) & (stock.until[there] >= day)]
            before = np.cumsum(left[there]) - left[there]
            taken = np.clip(want - before, 0, left[there])
            left[there] -= taken
            lots.append(there[taken > 0])
            mg.append(taken[taken > 0])
        found[number] = Free(lots, mg)
    return found
