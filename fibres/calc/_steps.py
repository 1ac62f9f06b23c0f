"""Steps of a price that falls with the number of packs, each a straight line over whole packs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """Packs from ``first`` to ``last`` (None: any number): ``base`` for the first, then more."""

    first: int
    last: int | None
    base: int
    more: int

    def goods(self, packs: int) -> int:
        """Return what so many packs of this step cost."""
        return self.base + self.more * (packs - self.first)

    def reaching(self, packs: int, amount: int) -> int | None:
        """Return the fewest packs of this step, at least ``packs``, that come to an amount."""
        found = max(packs, self.first)
        lacks = amount - self.goods(found)
        if lacks > 0:
            if not self.more:
                return None
            found += -(-lacks // self.more)
        return found if self.last is None or found <= self.last else None


def price_steps(breaks: tuple[tuple[int, int], ...], *, incremental: bool) -> list[Step]:
    """Return the steps of the prices of a pack, given as (from packs, price of a pack)."""
    steps: list[Step] = []
    for index, (first, price) in enumerate(breaks):
        last = breaks[index + 1][0] - 1 if index + 1 < len(breaks) else None
        base = first * price
        if steps and incremental:
            # The packs below this step keep the prices of their own steps.
            base = steps[-1].goods(first - 1) + price
        steps.append(Step(first, last, base, price))
    return steps
