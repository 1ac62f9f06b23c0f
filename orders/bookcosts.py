"""The store by the book: what each movement out of it cost, and what lies in it, the studio's way.

A movement that was put right counts as if it had been right from the start, at the place of the
first; so does what a moisture test corrected of a receipt. A lot that a commission names is a
pool of its own from its receipt on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from typing import Any

from fibres.models import Lot, Movement
from orders.calc.bookcost import (
    BOUGHT,
    FOUND,
    ISSUED,
    LOST,
    RETURNED,
    Book,
    Flow,
    Out,
    Piece,
    Way,
    book,
)
from orders.calc.cover import Cover
from orders.models import Commission

Kind = Movement.Kind
KINDS = {Kind.ISSUED: ISSUED, Kind.DISCARDED: LOST, Kind.RETURNED: RETURNED}
# Oven-dry milligrams by the reference of the lot.
Masses = Mapping[str, int]
Row = dict[str, Any]
FIELDS = ("pk", "lot_id", "kind", "oven_dry_mg", "reverses_id", "entry_id")
ROWS_AT_A_TIME = 2000


@dataclass(frozen=True, slots=True)
class StoreBook:
    """The pools of the store, each with its book; ``pools`` says which pool a lot belongs to."""

    books: Mapping[str, Book]
    pools: Mapping[str, str]
    fibres: Mapping[str, int]

    def next_out(self, masses: Masses, *, ahead: Masses) -> tuple[Piece, ...]:
        """Return what fibre set aside from lots would cost, after what goes before it."""
        before = self._by_pool(ahead)
        return tuple(
            piece
            for pool, mg in self._by_pool(masses).items()
            for piece in self.books[pool].next_out(mg, after_mg=before.get(pool, 0))
        )

    def out_of(self, movement: int, lot: str) -> Out:
        """Return what a movement out of a lot cost; nothing where it was taken back."""
        pool = self.pools.get(lot)
        found = self.books[pool].outs.get(movement) if pool in self.books else None
        return found or Out(())

    def by_fibre(self) -> dict[int, list[Book]]:
        """Return the books of each fibre, by its key."""
        found: dict[int, list[Book]] = defaultdict(list)
        for pool, kept in self.books.items():
            found[self.fibres[pool]].append(kept)
        return dict(found)

    def _by_pool(self, masses: Masses) -> dict[str, int]:
        found: dict[str, int] = {}
        for lot, mg in masses.items():
            pool = self.pools.get(lot)
            if pool in self.books:
                found[pool] = found.get(pool, 0) + mg
        return found


def read(way: str, fibres: Iterable[int] | None = None) -> StoreBook:
    """Read the book of some fibres, or of all, in three queries."""
    lots = Lot.objects.all() if fibres is None else Lot.objects.filter(fibre__in=list(fibres))
    rows = {
        row["pk"]: row
        for row in lots.order_by("pk").values(
            "pk", "ref", "fibre_id", "paid_minor", "received_oven_dry_mg"
        )
    }
    named = set(Commission.only_lots.through.objects.values_list("lot_id", flat=True))
    pools = {
        pk: f"lot {row['ref']}" if pk in named else f"fibre {row['fibre_id']}"
        for pk, row in rows.items()
    }
    movements = Movement.objects.order_by("lot__fibre_id", "pk")
    if fibres is not None:
        movements = movements.filter(lot__in=lots)
    known: Way = "average" if way == "average" else "fifo"
    books: dict[str, Book] = {}
    # No pool holds two fibres, so the rows of one are let go before those of the next are read.
    read_on = movements.values(*FIELDS).iterator(chunk_size=ROWS_AT_A_TIME)
    for _, part in groupby(read_on, key=lambda row: rows[row["lot_id"]]["fibre_id"]):
        flows: dict[str, list[tuple[int, Flow]]] = defaultdict(list)
        for place, flow, lot in _flows(list(part), rows):
            flows[pools[lot]].append((place, flow))
        for pool, found in flows.items():
            in_order = (flow for _, flow in sorted(found, key=_place))
            books[pool] = book(in_order, way=known)
    return StoreBook(
        books=books,
        pools={row["ref"]: pools[pk] for pk, row in rows.items()},
        fibres={pools[pk]: row["fibre_id"] for pk, row in rows.items()},
    )


def ahead_of(cover: Cover, ref: str) -> dict[str, int]:
    """Return what promises that need their fibre sooner take of each lot before a commission.

    Of two that need it on one day the one that is served first goes first.
    """
    order = {
        answer.ref: (answer.fibre_day, number) for number, answer in enumerate(cover.commissions)
    }
    if ref not in order:
        return {}
    found: dict[str, int] = {}
    for answer in cover.commissions:
        if order[answer.ref] < order[ref]:
            for pick in answer.picks:
                found[pick.lot] = found.get(pick.lot, 0) + pick.oven_dry_mg
    return found


# --- beneath -------------------------------------------------------------------------------------


def _place(entry: tuple[int, Flow]) -> int:
    return entry[0]


def _flows(movements: list[Row], lots: Mapping[int, Row]) -> Iterator[tuple[int, Flow, int]]:
    """Yield what stands of the ledger: its place, the flow, and the key of its lot."""
    corrections: dict[int, int] = defaultdict(int)
    receipts: dict[int, tuple[Row, int]] = {}
    for row, place in _standing(movements):
        lot, mg = row["lot_id"], row["oven_dry_mg"]
        if row["kind"] == Kind.RECEIVED:
            receipts[lot] = (row, place)
        elif row["kind"] == Kind.CORRECTED:
            corrections[lot] += mg
        elif mg:
            kind = KINDS.get(row["kind"]) or (FOUND if mg > 0 else LOST)
            yield place, Flow(row["pk"], kind, abs(mg), lots[lot]["ref"]), lot
    for lot, (row, place) in receipts.items():
        known = lots[lot]
        # What a test corrected belongs to the receipt, as far as it came with it.
        received = known["received_oven_dry_mg"]
        rest = row["oven_dry_mg"] + corrections.pop(lot, 0) - received
        if received:
            paid = known["paid_minor"]
            minor = None if paid is None else Decimal(paid)
            yield place, Flow(row["pk"], BOUGHT, received, known["ref"], minor), lot
        if rest:
            kind = FOUND if rest > 0 else LOST
            yield place, Flow(-row["pk"], kind, abs(rest), known["ref"]), lot
    for lot, rest in corrections.items():
        if rest:
            kind = FOUND if rest > 0 else LOST
            yield 0, Flow(-lot, kind, abs(rest), lots[lot]["ref"]), lot


def _standing(movements: list[Row]) -> Iterator[tuple[Row, int]]:
    """Yield the movements that stand, each with the place of the one that it puts right."""
    taken_back = {row["reverses_id"]: row for row in movements if row["reverses_id"]}
    put_right = {row["entry_id"] for row in taken_back.values()}
    right = {
        (row["entry_id"], row["lot_id"], row["kind"]): row["pk"]
        for row in movements
        if not row["reverses_id"] and row["entry_id"] in put_right
    }
    places: dict[int, int] = {}
    for row in movements:
        place = places.get(row["pk"], row["pk"])
        contrary = taken_back.get(row["pk"])
        if contrary is not None:
            key = (contrary["entry_id"], row["lot_id"], row["kind"])
            if right.get(key):
                places[right[key]] = place
        elif not row["reverses_id"]:
            yield row, place
