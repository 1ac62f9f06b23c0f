"""What the chance of cover of a promise rests on, gathered only when somebody asks."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np

from orders.calc._cover.served import Served
from orders.calc.planrows import Snapshot
from orders.calc.sureness import HeldLine, Sureness

NONE = Decimal(0)


class SureOf:
    """Gathers pieces for one promise of an answer: what is held for it, and what is free to it."""

    def __init__(self, served: Served, snapshot: Snapshot, number: int) -> None:
        self._served, self._spread, self._number = served, snapshot.yield_spread, number

    def __call__(self) -> Sureness | None:
        """Return it, or None where the spread of a lot that counts is not known."""
        promise = self._served.promises[self._number]
        if promise.weighed_sheets >= promise.wanted:
            # All its fibre has left the store: what comes of it the vat will show.
            return None
        left = self._served.drawn.left.copy()
        lines = [
            self._line(place, left)
            for place, part in enumerate(promise.furnish)
            if part.target or part.most or self._lying(place)
        ]
        found = [line for line in lines if line is not None]
        if len(found) < len(lines):
            return None
        return Sureness(
            wanted=promise.wanted,
            pull_mg=promise.at_vat.pull_mg if promise.at_vat else promise.pull_mg,
            sheets_per_pull=promise.sheets_per_pull,
            good_share=promise.good_share,
            lines=tuple(line for line in found if line.share),
            learned=promise.learned,
        )

    def _line(self, place: int, left: np.ndarray) -> HeldLine | None:
        served, number = self._served, self._number
        part = served.promises[number].furnish[place]
        mass = self._held(place)
        want = served.wants[number]
        lots = served.stock.eligible(part.fibres, want.need)
        stock = served.stock
        there = lots[(stock.start[lots] <= want.day) & (stock.until[lots] >= want.day)]
        for lot in there.tolist():
            # A lot that is free to two lines counts for the first.
            mass[lot] = mass.get(lot, 0) + int(left[lot])
            left[lot] = 0
        pieces = []
        for lot, mg in sorted(mass.items()):
            spread = stock.lots[lot].spread
            if mg and spread is None:
                return None
            if mg:
                pieces.append((mg, spread or NONE))
        given, lack = served.given(number)[place], served.lacks(number)[place]
        vat = served.promises[number].at_vat
        lying = self._lying(place)
        whole = want.mg + (sum(vat.lying_mg) if vat else 0)
        share = Decimal(given + lack + lying) / whole if whole else part.target
        return HeldLine(
            share=share,
            pieces=tuple(pieces),
            yield_spread=max(self._spread.get(fibre, NONE) for fibre in part.fibres),
            lying_mg=lying - math.ceil(vat.extra_mg * share) if vat else 0,
        )

    def _lying(self, place: int) -> int:
        vat = self._served.promises[self._number].at_vat
        return vat.lying_mg[place] if vat else 0

    def _held(self, place: int) -> dict[int, int]:
        """Return what lots hold for a line, for the average need and for the safe extra."""
        served, mass = self._served, {}
        for want in (self._number, served.extra_of.get(self._number)):
            if want is None:
                continue
            line = served.net.lines.of(want)[place]
            rows = served.drawn.of_lines(range(line, line + 1))
            for lot, mg in zip(
                served.drawn.lot[rows].tolist(), served.drawn.mg[rows].tolist(), strict=True
            ):
                mass[lot] = mass.get(lot, 0) + mg
        return mass
