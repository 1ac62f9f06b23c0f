"""The lots as arrays, and which of them no promise can tell apart."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from operator import attrgetter
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
    return np.fromiter(values, dtype=np.int64)


class Stock:
    """The lots as arrays, in the order in which they should be used up."""

    def __init__(self, lots: Iterable[PlanLot], *, most_mg: int) -> None:
        rows = sorted((lot for lot in lots if lot.usable_mg), key=attrgetter("ref"))
        until = ints((lot.until or date.max).toordinal() for lot in rows)
        start = ints(lot.usable_from.toordinal() for lot in rows)
        order = np.lexsort((start, until))  # lots that are alike in both stay in order of ref
        self.lots = [rows[n] for n in order.tolist()]
        self.until, self.start = until[order], start[order]
        # More than everybody wants is as good as all of it, and sums stay exact.
        self.mg = ints(min(lot.usable_mg, most_mg) for lot in self.lots)
        self.cost = ints(lot.cost_minor_per_kg for lot in self.lots)
        kinds: dict[tuple[str, frozenset[str]], int] = {}
        self.kind = ints(kinds.setdefault((lot.fibre, lot.marks), len(kinds)) for lot in self.lots)
        self.kinds = list(kinds)  # fibre and marks, in the order of the first lot of each
        self._accepted: dict[tuple[str, frozenset[str], frozenset[str] | None], Ints] = {}

    def eligible(self, fibres: Iterable[str], need: Promise | Question) -> Ints:
        """Return the lots of these fibres that no limit of a promise shuts out, on any day."""
        only = getattr(need, "only_lots", None)
        return np.concatenate([self._of(fibre, need.excludes, only) for fibre in fibres])

    def _of(self, fibre: str, excludes: frozenset[str], only: frozenset[str] | None) -> Ints:
        """Return the lots of a fibre within some limits: many promises share the same."""
        if (found := self._accepted.get((fibre, excludes, only))) is None:
            kinds = [
                kind
                for kind, (own, marks) in enumerate(self.kinds)
                if own == fibre and not marks & excludes
            ]
            found = np.flatnonzero(np.isin(self.kind, kinds))
            if only is not None:
                found = ints(lot for lot in found.tolist() if self.lots[lot].ref in only)
            self._accepted[fibre, excludes, only] = found
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
        masks = [
            asked.get(fibre, 0) & sum(1 << n for n, excludes in accepts if not excludes & marks)
            for fibre, marks in stock.kinds
        ]
        self.number: dict[tuple[str, int], int] = {}
        of_kind = np.full(len(masks), NOWHERE)
        by_name = np.full(len(stock.lots), NOWHERE)
        for lot in self._telling(stock, named):
            kind = int(stock.kind[lot])
            of_kind[kind] = self._numbered(stock, kind, masks[kind] & open_to_all)
            own = masks[kind] & named.get(stock.lots[lot].ref, 0)
            by_name[lot] = self._numbered(stock, kind, own)
        self.of_lots = np.stack([of_kind[stock.kind], by_name])
        self.count = len(self.number)
        self._by_fibre: dict[str, list[tuple[int, int]]] = {}
        for (fibre, mask), number in self.number.items():
            self._by_fibre.setdefault(fibre, []).append((mask, number))
        self._accepted: dict[tuple[tuple[str, ...], int], list[int]] = {}

    @staticmethod
    def _telling(stock: Stock, named: Mapping[str, int]) -> list[int]:
        """Return, in order, the first lot of every kind and those that are named."""
        firsts = np.unique(stock.kind, return_index=True)[1].tolist()
        if not named:
            return sorted(firsts)
        return sorted({*firsts, *(n for n, lot in enumerate(stock.lots) if lot.ref in named)})

    def _numbered(self, stock: Stock, kind: int, mask: int) -> int:
        if not mask:
            return NOWHERE
        return self.number.setdefault((stock.kinds[kind][0], mask), len(self.number))

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
        pair = self._pair(need)
        if (found := self._accepted.get((fibres, pair))) is None:
            found = self._accepted[fibres, pair] = [
                number
                for fibre in dict.fromkeys(fibres)
                for mask, number in self._by_fibre.get(fibre, ())
                if mask >> pair & 1
            ]
        return found
