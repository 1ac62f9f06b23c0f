"""The lots as arrays, and which of them no promise can tell apart."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from orders.calc.planrows import PlanLot, Promise, Question

Ints = np.ndarray[Any, np.dtype[np.int64]]
NOWHERE = -1


@dataclass(frozen=True, slots=True)
class Want:
    """Usable fibre that has to be there on one day: an average need, or the safe extra to it."""

    need: Promise | Question
    day: int
    mg: int


def ints(values: Iterable[int]) -> Ints:
    """Return whole numbers as an array that holds them exactly."""
    return np.array(list(values), dtype=np.int64)


class Stock:
    """The lots as arrays, in the order in which they should be used up."""

    def __init__(self, lots: Iterable[PlanLot], *, most_mg: int) -> None:
        rows = [lot for lot in lots if lot.usable_mg]
        keys = [
            ((lot.until or date.max).toordinal(), lot.usable_from.toordinal(), lot.ref)
            for lot in rows
        ]
        order = sorted(range(len(rows)), key=keys.__getitem__)
        self.lots = [rows[n] for n in order]
        self.until = ints(keys[n][0] for n in order)
        self.start = ints(keys[n][1] for n in order)
        # More than everybody wants is as good as all of it, and sums stay exact.
        self.mg = ints(min(lot.usable_mg, most_mg) for lot in self.lots)
        self.cost = ints(lot.cost_minor_per_kg for lot in self.lots)
        self.by_fibre: dict[str, list[int]] = {}
        for number, lot in enumerate(self.lots):
            self.by_fibre.setdefault(lot.fibre, []).append(number)
        self._accepted: dict[tuple[str, frozenset[str], frozenset[str] | None], Ints] = {}

    def eligible(self, fibres: Iterable[str], need: Promise | Question) -> Ints:
        """Return the lots of these fibres that no limit of a promise shuts out, on any day."""
        only = getattr(need, "only_lots", None)
        return np.concatenate([self._of(fibre, need.excludes, only) for fibre in fibres])

    def _of(self, fibre: str, excludes: frozenset[str], only: frozenset[str] | None) -> Ints:
        """Return the lots of a fibre within some limits: many promises share the same."""
        if (found := self._accepted.get((fibre, excludes, only))) is None:
            found = self._accepted[fibre, excludes, only] = ints(
                number
                for number in self.by_fibre.get(fibre, ())
                if not self.lots[number].marks & excludes
                and (only is None or self.lots[number].ref in only)
            )
        return found


class Signatures:
    """Which lots no limit can tell apart: lots of one fibre that the same limits accept.

    A lot that some promise names has two: with all others of its kind it serves whoever names no
    lots, and beside that those who name it.
    """

    def __init__(self, stock: Stock, wants: Sequence[Want]) -> None:
        self.pairs: dict[tuple[frozenset[str], frozenset[str] | None], int] = {}
        asked: dict[str, int] = {}
        for want in wants:
            bit = 1 << self._pair(want.need)
            for part in want.need.furnish:
                for fibre in part.fibres:
                    asked[fibre] = asked.get(fibre, 0) | bit
        accepts, open_to_all, named = self._masks()
        marks: dict[frozenset[str], int] = {}
        self.number: dict[tuple[str, int], int] = {}
        of_lot = []
        for lot in stock.lots:
            mask = marks.get(lot.marks)
            if mask is None:
                mask = marks[lot.marks] = sum(
                    1 << n for n, excludes in accepts if not excludes & lot.marks
                )
            mask &= asked.get(lot.fibre, 0)
            of_lot += [
                self.number.setdefault((lot.fibre, own), len(self.number)) if own else NOWHERE
                for own in (mask & open_to_all, mask & named.get(lot.ref, 0))
            ]
        self.of_lots = ints(of_lot).reshape(-1, 2).T  # the one, then the other
        self.count = len(self.number)
        self._by_fibre: dict[str, list[tuple[int, int]]] = {}
        for (fibre, mask), number in self.number.items():
            self._by_fibre.setdefault(fibre, []).append((mask, number))
        self._accepted: dict[tuple[str, int], list[int]] = {}

    def _pair(self, need: Promise | Question) -> int:
        pair = (need.excludes, getattr(need, "only_lots", None))
        return self.pairs.setdefault(pair, len(self.pairs))

    def _masks(self) -> tuple[list[tuple[int, frozenset[str]]], int, dict[str, int]]:
        accepts, open_to_all, named = [], 0, {}
        for (excludes, only), number in self.pairs.items():
            accepts.append((number, excludes))
            if only is None:
                open_to_all |= 1 << number
            for ref in only or ():
                named[ref] = named.get(ref, 0) | 1 << number
        return accepts, open_to_all, named

    def accepted(self, fibres: tuple[str, ...], need: Promise | Question) -> list[int]:
        """Return the signatures that a line of a promise may be fed from."""
        pair, found = self._pair(need), []
        for fibre in dict.fromkeys(fibres):
            if (known := self._accepted.get((fibre, pair))) is None:
                known = self._accepted[fibre, pair] = [
                    number for mask, number in self._by_fibre.get(fibre, ()) if mask >> pair & 1
                ]
            found += known
        return found
