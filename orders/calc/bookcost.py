"""What the fibre in a store cost by the book: first in, first out, or at a moving average.

A pool is fibre that nothing tells apart in the book: all lots of one fibre, or one lot alone
where a commission names it. Flows go through a pool in the order of the ledger. Amounts are
Decimal minor units, kept to a billionth: what goes out is taken off what stays, so that nothing
is lost by rounding, however often it is parted.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Literal

from studio.errors import RangeError

Way = Literal["fifo", "average"]
FIRST_IN_FIRST_OUT: Way = "fifo"
AVERAGE: Way = "average"
WAYS: tuple[Way, ...] = (FIRST_IN_FIRST_OUT, AVERAGE)
BOUGHT, ISSUED, LOST, FOUND, RETURNED = "bought", "issued", "lost", "found", "returned"
INTO_STORE = (BOUGHT, FOUND, RETURNED)
KINDS = (*INTO_STORE, ISSUED, LOST)
FINENESS = Decimal("0.000000001")
MG_PER_KG = Decimal(1_000_000)
NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Flow:
    """One movement of a pool: oven-dry milligrams without a sign, and what came in cost.

    ``minor`` is what was paid for all of it, purchase and freight less what was taken off; None
    where no price is known, and for all that is not bought: the book gives that its cost.
    """

    key: int
    kind: str
    mg: int
    lot: str = ""
    minor: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """Fibre of one cost; ``minor`` is for all of it, None where no price is known."""

    lot: str
    mg: int
    minor: Decimal | None

    @property
    def minor_per_kg(self) -> Decimal | None:
        """What an oven-dry kilogram of it cost."""
        return None if self.minor is None else self.minor * MG_PER_KG / self.mg

    def cut(self, mg: int) -> tuple[Piece, Piece | None]:
        """Part it in two: so much of it, and what is left, whose costs add up to its own."""
        if mg >= self.mg:
            return self, None
        if self.minor is None:
            return Piece(self.lot, mg, None), Piece(self.lot, self.mg - mg, None)
        taken = (self.minor * mg / self.mg).quantize(FINENESS, rounding=ROUND_HALF_EVEN)
        return Piece(self.lot, mg, taken), Piece(self.lot, self.mg - mg, self.minor - taken)


@dataclass(frozen=True, slots=True)
class Out:
    """What one movement out of the store took along, piece by piece."""

    pieces: tuple[Piece, ...]

    @property
    def mg(self) -> int:
        """Fibre of it, oven-dry."""
        return sum(piece.mg for piece in self.pieces)

    @property
    def minor(self) -> Decimal:
        """What it cost as far as prices are known."""
        return total_minor(self.pieces)

    @property
    def unpriced_mg(self) -> int:
        """Fibre of it that no price is known for."""
        return sum(piece.mg for piece in self.pieces if piece.minor is None)


@dataclass(frozen=True, slots=True)
class Book:
    """A pool as the book has it: what lies in it, and what each movement out of it cost."""

    way: Way
    held: tuple[Piece, ...]
    outs: Mapping[int, Out]
    in_minor: Decimal
    out_minor: Decimal

    @property
    def held_mg(self) -> int:
        """Fibre in the store, oven-dry."""
        return sum(piece.mg for piece in self.held)

    @property
    def value_minor(self) -> Decimal:
        """What the fibre in the store cost, as far as prices are known."""
        return total_minor(self.held)

    @property
    def unpriced_mg(self) -> int:
        """Fibre in the store that no price is known for."""
        return sum(piece.mg for piece in self.held if piece.minor is None)

    def next_out(self, mg: int, *, after_mg: int = 0) -> tuple[Piece, ...]:
        """Return what would go out next, after so much has gone before it; less if less is there.

        Nothing is written: this is the cost of fibre that is set aside and still lies here.
        """
        store = _store(self.way, self.held)
        store.take(min(after_mg, store.mg))
        return tuple(store.take(min(mg, store.mg)))


def total_minor(pieces: Iterable[Piece]) -> Decimal:
    """Return what pieces of fibre cost together, as far as prices are known.

    Parameters
    ----------
    pieces : sequence of Piece
        Their costs in minor units; those without a price are passed over.

    Returns
    -------
    Decimal [minor units]
        Not rounded.

    Raises
    ------
    Nothing
        Every sequence has a sum.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> total_minor([Piece("L1", 10, Decimal(910)), Piece("L2", 5, None)])
    Decimal('910')
    """
    return sum((piece.minor for piece in pieces if piece.minor is not None), NOTHING)


def book(flows: Iterable[Flow], *, way: Way) -> Book:
    """Return what a pool of fibre holds and what each movement out of it cost.

    Parameters
    ----------
    flows : sequence of Flow
        Every movement of the pool, in the order of the ledger. Masses in milligrams oven-dry,
        amounts in minor units.
    way : str
        ``fifo``, what came first goes first; or ``average``, all of it at one price that moves
        with each receipt.

    Returns
    -------
    Book
        Amounts in minor units, kept to a billionth; cost in = cost out + cost in store, exactly.

    Raises
    ------
    RangeError
        If the way or a kind is another word, a mass is not above 0, or more goes out of the pool
        than ever comes into it.

    Notes
    -----
    Perpetual: each movement is costed where it stands. After [IAS2] 10 to 27, read in summaries:
    cost is purchase and freight less what was taken off; fibre that nothing tells apart is costed
    by one formula, first in first out or weighted average; fibre kept for one commission by name
    is a pool of its own, which is specific identification; what is lost leaves at its cost and is
    not spread over the rest. What is found in a count comes in at the average cost of what lies
    there; what comes back costs what it cost when it went. A gift cost nothing; fibre without a
    price keeps that up to the end, and its mass is told. Where a movement was put right later so
    that for a while more had gone out than was there, the next fibre in makes up for it. Worked
    examples: [STUDYFIFO], [STUDYAVERAGE].

    Examples
    --------
    >>> bought = [Flow(1, "bought", 10, "L1", Decimal(910)),
    ...           Flow(2, "bought", 15, "L2", Decimal(1590))]
    >>> found = book([*bought, Flow(3, "issued", 20)], way="fifo")
    >>> found.outs[3].minor, found.value_minor
    (Decimal('1970.000000000'), Decimal('530.000000000'))
    >>> book([*bought, Flow(3, "issued", 20)], way="average").outs[3].minor
    Decimal('2000.000000000')
    """
    if way not in WAYS:
        raise RangeError(
            f"A book cost is kept by {WAYS[0]} or by {WAYS[1]}, got {way!r}.", field="book_cost"
        )
    keeper = _Keeper(way)
    for flow in flows:
        keeper.enter(flow)
    return keeper.close()


# --- beneath -------------------------------------------------------------------------------------


class _Layers:
    """Fibre in the order in which it goes: the oldest first; and what all of it comes to."""

    def __init__(self, pieces: Iterable[Piece] = ()) -> None:
        self.pieces: deque[Piece] = deque()
        self.mg = self.priced_mg = 0
        self.minor = NOTHING
        for piece in pieces:
            self.put(piece)

    def _count(self, piece: Piece, sign: int) -> None:
        self.mg += sign * piece.mg
        if piece.minor is not None:
            self.priced_mg += sign * piece.mg
            self.minor += sign * piece.minor

    def put(self, piece: Piece, *, first: bool = False) -> None:
        self._count(piece, 1)
        if first:
            self.pieces.appendleft(piece)
        else:
            self.pieces.append(piece)

    def take(self, mg: int) -> list[Piece]:
        taken: list[Piece] = []
        while mg:
            piece, rest = self.pieces.popleft().cut(mg)
            if rest is not None:
                self.pieces.appendleft(rest)
            self._count(piece, -1)
            taken.append(piece)
            mg -= piece.mg
        return taken


class _Average:
    """Fibre at one price; what no price is known for lies beside it and goes in step with it."""

    def __init__(self, pieces: Iterable[Piece] = ()) -> None:
        self.priced_mg = self.unpriced_mg = 0
        self.minor = NOTHING
        for piece in pieces:
            self.put(piece)

    @property
    def mg(self) -> int:
        return self.priced_mg + self.unpriced_mg

    @property
    def pieces(self) -> list[Piece]:
        """What lies here, as one piece with a price and one without."""
        found = [Piece("", self.priced_mg, self.minor)] if self.priced_mg else []
        return [*found, Piece("", self.unpriced_mg, None)] if self.unpriced_mg else found

    def put(self, piece: Piece, *, first: bool = False) -> None:
        if piece.minor is None:
            self.unpriced_mg += piece.mg
        else:
            self.priced_mg += piece.mg
            self.minor += piece.minor

    def take(self, mg: int) -> list[Piece]:
        if not mg:
            return []
        unpriced = mg * self.unpriced_mg // self.mg
        taken = [Piece("", unpriced, None)] if unpriced else []
        if mg > unpriced:
            piece, rest = Piece("", self.priced_mg, self.minor).cut(mg - unpriced)
            self.minor = rest.minor or NOTHING if rest else NOTHING
            taken.insert(0, piece)
        self.priced_mg -= mg - unpriced
        self.unpriced_mg -= unpriced
        return taken


def _store(way: Way, pieces: Iterable[Piece] = ()) -> _Layers | _Average:
    return _Layers(pieces) if way == FIRST_IN_FIRST_OUT else _Average(pieces)


class _Keeper:
    """The book while it is being written."""

    def __init__(self, way: Way) -> None:
        self.way = way
        self.store = _store(way)
        self.outs: dict[int, list[Piece]] = {}
        # What went out before it was there: its movement, how much is wanting, and whether issued.
        self.owed: deque[tuple[int, int, bool]] = deque()
        self.issued: list[Piece] = []
        self.in_minor = self.out_minor = NOTHING
        # What a milligram last cost, for what is found where nothing lies.
        self.last: Decimal | None = None

    def enter(self, flow: Flow) -> None:
        _check(flow)
        if flow.kind == BOUGHT:
            self._bring(Piece(flow.lot, flow.mg, flow.minor))
        elif flow.kind == FOUND:
            self._bring(self._found(flow.lot, flow.mg))
        elif flow.kind == RETURNED:
            self._bring_back(flow)
        else:
            self._take(flow)

    def close(self) -> Book:
        if self.owed:
            wanting = sum(mg for _, mg, _ in self.owed)
            raise RangeError(
                f"{wanting} mg more have gone out than came in. Enter what came first, or correct "
                "what went out.",
                field="mass",
                value=wanting,
            )
        outs = {key: Out(tuple(pieces)) for key, pieces in self.outs.items()}
        return Book(self.way, tuple(self.store.pieces), outs, self.in_minor, self.out_minor)

    def _bring(self, piece: Piece) -> None:
        """Take fibre in that was not in the book before."""
        self.in_minor += piece.minor or NOTHING
        if piece.minor is not None:
            self.last = piece.minor / piece.mg
        self._put(piece)

    def _put(self, piece: Piece, *, first: bool = False) -> None:
        """Put fibre into the store, after what is owed of it."""
        rest: Piece | None = piece
        while rest is not None and self.owed:
            key, wanting, is_issue = self.owed.popleft()
            paid, rest = rest.cut(wanting)
            self._note(key, paid, is_issue=is_issue)
            if paid.mg < wanting:
                self.owed.appendleft((key, wanting - paid.mg, is_issue))
        if rest is not None:
            self.store.put(rest, first=first)

    def _found(self, lot: str, mg: int) -> Piece:
        """Return fibre found in a count, at the average cost of what lies there."""
        held = self.store.priced_mg
        each = self.store.minor / held if held else self.last
        minor = None if each is None else (each * mg).quantize(FINENESS)
        return Piece(lot, mg, minor)

    def _bring_back(self, flow: Flow) -> None:
        """Put fibre back at what it cost when it went, the last that went first."""
        wanting = flow.mg
        while wanting and self.issued:
            back, kept = self.issued.pop().cut(wanting)
            if kept is not None:
                self.issued.append(kept)
            self.out_minor -= back.minor or NOTHING
            self._put(back, first=True)
            wanting -= back.mg
        if wanting:
            self._bring(self._found(flow.lot, wanting))

    def _take(self, flow: Flow) -> None:
        there, is_issue = min(flow.mg, self.store.mg), flow.kind == ISSUED
        self.outs.setdefault(flow.key, [])
        for piece in self.store.take(there):
            self._note(flow.key, piece, is_issue=is_issue)
        if there < flow.mg:
            self.owed.append((flow.key, flow.mg - there, is_issue))

    def _note(self, key: int, piece: Piece, *, is_issue: bool) -> None:
        self.outs[key].append(piece)
        self.out_minor += piece.minor or NOTHING
        if is_issue:
            self.issued.append(piece)


def _check(flow: Flow) -> None:
    if flow.kind not in KINDS:
        raise RangeError(f"A flow is {', '.join(KINDS[:-1])} or {KINDS[-1]}, got {flow.kind!r}.")
    if flow.mg <= 0:
        raise RangeError(
            f"A flow must hold more than 0 mg of fibre, got {flow.mg}.",
            field="mass",
            value=flow.mg,
        )
    if flow.minor is not None and flow.minor < 0:
        raise RangeError(
            f"What was paid must be 0 or more, got {flow.minor}.", field="paid", value=flow.minor
        )
