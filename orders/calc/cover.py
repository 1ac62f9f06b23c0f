"""Does the store cover what was promised? One answer for all commissions, in order of rank.

Each commission in turn takes what it needs at the average count, fibre by fibre, from lots that
may serve it: first the lot that has to be used first, then the one that came first. When all
have been served, what is left is looked through again for receipts that come later and for the
fibre that the safe count would take. Nothing here is in floating point.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from orders.calc.covered import (
    COVERED,
    JUST_COVERED,
    LATER,
    SHORT,
    Answer,
    Binding,
    Cover,
    Lack,
    Pick,
)
from orders.calc.plan import Part, PlanLot, Promise, Question, Snapshot

__all__ = [
    "COVERED",
    "JUST_COVERED",
    "LATER",
    "SHORT",
    "Answer",
    "Binding",
    "Cover",
    "Lack",
    "Pick",
    "allocate",
    "good_sheets",
    "split",
]
MG_PER_KG = 1_000_000


def allocate(snapshot: Snapshot) -> Cover:
    """Return how far the store covers the promises.

    Parameters
    ----------
    snapshot : Snapshot
        Lots and commissions on one day, masses in integer milligrams of usable fibre.

    Returns
    -------
    Cover
        One answer per commission in order of rank (priority, day due, reference), with picks
        per lot, shortages per fibre, and what binds. A short commission keeps what it was
        given, so that what is listed as short is what to buy.

    Raises
    ------
    StudioError
        Never for a shortage: a shortage is an answer.

    Notes
    -----
    Shares of the furnish are fixed at their targets. Within those, and while no commission
    excludes a lot, taking the lot that must be used first serves as many promises as can be
    served; a later commission never takes from an earlier one. The day of need is the day due,
    or today where that has passed; the last day of use of a lot is inclusive. Source:
    definition, and the order of lots is common practice, no source.

    Examples
    --------
    >>> from orders.calc.plan import from_json
    >>> share = {"fibres": ["abaca"], "least": "1", "target": "1", "most": "1"}
    >>> answer = allocate(from_json({
    ...     "halfstuff_snapshot": 1, "today": "2027-03-01", "currency": "GBP",
    ...     "lots": [{"ref": "A1", "fibre": "abaca", "usable_mg": 900, "from": "2027-02-01"}],
    ...     "commissions": [{"ref": "C1", "due": "2027-03-06", "wanted": 10, "need_mg": 1000,
    ...                      "pull_mg": 100, "furnish": [share]}],
    ... }))
    >>> answer.commissions[0].state, answer.commissions[0].covered_sheets
    ('short', 9)
    """
    shelf = _Shelf(snapshot)
    desks = [_Desk(promise) for promise in sorted(snapshot.commissions, key=lambda c: c.rank)]
    for desk in desks:
        desk.take(shelf)
    for desk in desks:
        desk.wait(shelf)
    for desk in desks:
        desk.look_for_safe(shelf)
    extra = None if snapshot.question is None else _extra_sheets(snapshot.question, shelf)
    return Cover(
        today=snapshot.today,
        commissions=tuple(desk.answer(shelf) for desk in desks),
        binding=_bindings(desks),
        lot_cost_minor=_lot_cost(desks),
        extra_good_sheets=extra,
        left_out=snapshot.left_out,
    )


class _Shelf:
    """What is left of every lot while commissions are served."""

    def __init__(self, snapshot: Snapshot) -> None:
        self.today = snapshot.today
        self.yields = snapshot.yields
        self.left = {lot.ref: lot.usable_mg for lot in snapshot.lots}
        self.by_fibre: dict[str, list[PlanLot]] = {}
        self.ratio: dict[str, Fraction] = {}
        for lot in sorted(snapshot.lots, key=_first_to_use):
            self.by_fibre.setdefault(lot.fibre, []).append(lot)
            if lot.usable_mg:
                self.ratio[lot.fibre] = Fraction(lot.oven_dry_mg, lot.usable_mg)

    def day_of(self, due: date) -> date:
        return max(due, self.today)

    def lots(self, part: Part, need: Promise | Question, day: date) -> Iterable[PlanLot]:
        """Yield lots that may serve a line on a day and have something left."""
        only = getattr(need, "only_lots", None)
        for fibre in part.fibres:
            for lot in self.by_fibre.get(fibre, ()):
                if (
                    self.left[lot.ref]
                    and lot.usable_from <= day
                    and (lot.until is None or day <= lot.until)
                    and not (lot.marks & need.excludes)
                    and (only is None or lot.ref in only)
                ):
                    yield lot

    def draw(self, part: Part, need: Promise | Question, day: date, wanted: int) -> _Drawn:
        """Take up to ``wanted`` milligrams, first the lot that has to be used first."""
        drawn: _Drawn = []
        for lot in self.lots(part, need, day):
            if wanted <= 0:
                break
            amount = min(wanted, self.left[lot.ref])
            self.left[lot.ref] -= amount
            wanted -= amount
            drawn.append((lot, amount))
        return drawn

    def put_back(self, drawn: _Drawn) -> None:
        for lot, amount in drawn:
            self.left[lot.ref] += amount

    def tidy(self, fibres: Iterable[str]) -> None:
        """Forget lots that are used up, so that no later commission looks at them."""
        for fibre in fibres:
            lots = self.by_fibre.get(fibre)
            if lots and not self.left[lots[0].ref]:
                self.by_fibre[fibre] = [lot for lot in lots if self.left[lot.ref]]

    def oven_dry(self, fibres: tuple[str, ...], usable_mg: int) -> int:
        """Return the oven-dry fibre to buy for so much usable fibre, rounded up."""
        share = self.yields.get(fibres[0])
        ratio = 1 / Fraction(share) if share else self.ratio.get(fibres[0], Fraction(1))
        return -(-usable_mg * ratio.numerator // ratio.denominator)


_Drawn = list[tuple[PlanLot, int]]


def _first_to_use(lot: PlanLot) -> tuple[date, date, str]:
    return lot.until or date.max, lot.usable_from, lot.ref


@dataclass(slots=True)
class _Desk:
    """One commission while it is being served."""

    promise: Promise
    wants: list[int] = field(default_factory=list)
    drawn: list[_Drawn] = field(default_factory=list)
    ready_on: date | None = None
    is_safe: bool = False

    def take(self, shelf: _Shelf) -> None:
        """Take what the average count needs, from what can be there by the day due."""
        promise = self.promise
        day = shelf.day_of(promise.due)
        self.wants = split(promise.need_mg, promise.furnish)
        self.drawn = [
            shelf.draw(part, promise, day, want)
            for part, want in zip(promise.furnish, self.wants, strict=True)
        ]
        if promise.all_or_nothing and any(self.lacks):
            for drawn in self.drawn:
                shelf.put_back(drawn)
            self.drawn = [[] for _ in self.drawn]
        for part in promise.furnish:
            shelf.tidy(part.fibres)

    @property
    def given(self) -> list[int]:
        return [sum(amount for _, amount in drawn) for drawn in self.drawn]

    @property
    def lacks(self) -> list[int]:
        return [want - given for want, given in zip(self.wants, self.given, strict=True)]

    def wait(self, shelf: _Shelf) -> None:
        """Find the first later day on which receipts fill the gap, and keep them for it."""
        lacks = self.lacks
        due = shelf.day_of(self.promise.due)
        if not any(lacks):
            self.ready_on = self._all_in(shelf.today)
            return
        days = {
            lot.usable_from
            for part in self.promise.furnish
            for fibre in part.fibres
            for lot in shelf.by_fibre.get(fibre, ())
            if lot.usable_from > due and shelf.left[lot.ref]
        }
        for day in sorted(days):
            if any(lot.until and lot.until < day for drawn in self.drawn for lot, _ in drawn):
                return
            drawn = [
                shelf.draw(part, self.promise, day, lack)
                for part, lack in zip(self.promise.furnish, lacks, strict=True)
            ]
            got = [sum(amount for _, amount in lots) for lots in drawn]
            if got == lacks:
                self.ready_on = day
                return
            for lots in drawn:
                shelf.put_back(lots)

    def _all_in(self, today: date) -> date:
        days = [lot.usable_from for drawn in self.drawn for lot, _ in drawn]
        return max([today, *days])

    def look_for_safe(self, shelf: _Shelf) -> None:
        """See whether what is left would also serve the safe count, and hold it if so."""
        promise = self.promise
        if any(self.lacks):
            return
        extra = split(promise.safe_need_mg - promise.need_mg, promise.furnish)
        day = shelf.day_of(promise.due)
        drawn = [
            shelf.draw(part, promise, day, more)
            for part, more in zip(promise.furnish, extra, strict=True)
        ]
        self.is_safe = [sum(amount for _, amount in lots) for lots in drawn] == extra
        if not self.is_safe:
            for lots in drawn:
                shelf.put_back(lots)

    @property
    def state(self) -> str:
        if any(self.lacks):
            return LATER if self.ready_on else SHORT
        return COVERED if self.is_safe else JUST_COVERED

    def answer(self, shelf: _Shelf) -> Answer:
        promise = self.promise
        lines = zip(promise.furnish, self.lacks, strict=True)
        return Answer(
            ref=promise.ref,
            due=promise.due,
            wanted=promise.wanted,
            state=self.state,
            covered_sheets=(
                min(promise.wanted, good_sheets(self.given, promise))
                if any(self.lacks)
                else promise.wanted
            ),
            ready_on=self.ready_on,
            need_mg=promise.need_mg,
            short=tuple(
                Lack(part.fibres, lack, shelf.oven_dry(part.fibres, lack))
                for part, lack in lines
                if lack
            ),
            picks=tuple(_pick(lot, amount) for drawn in self.drawn for lot, amount in drawn),
        )


def split(mass_mg: int, furnish: tuple[Part, ...]) -> list[int]:
    """Split a mass by the target shares of a furnish, so that the parts add up to the whole.

    Parameters
    ----------
    mass_mg : int [mg]
        Usable fibre.
    furnish : tuple of Part
        Lines of the furnish; their targets add up to 1.

    Returns
    -------
    list of int [mg]
        One per line, in order; the last takes what rounding leaves.

    Raises
    ------
    StudioError
        Never; a furnish is checked when it is read.

    Notes
    -----
    Rounded down for all but the last line, so that none is negative. Source: definition.

    Examples
    --------
    >>> from decimal import Decimal
    >>> third = Decimal("0.333333")
    >>> part = lambda share: Part((str(share),), share, share, share)
    >>> split(100, (part(third), part(third), part(Decimal("0.333334"))))
    [33, 33, 34]
    """
    parts = [int(mass_mg * part.target) for part in furnish[:-1]]
    return [*parts, mass_mg - sum(parts)]


def good_sheets(given_mg: list[int], need: Promise | Question) -> int:
    """Return the good sheets, on average, that so much of each fibre makes.

    Parameters
    ----------
    given_mg : list of int [mg]
        Usable fibre of each line of the furnish, in order.
    need : Promise or Question
        Furnish, fibre a pull takes out of the store, sheets a pull and share of good ones.

    Returns
    -------
    int [sheets]
        Whole good sheets: whole pulls by the scarcest fibre, times the good share, rounded down.

    Raises
    ------
    StudioError
        Never; the rows are checked when they are read.

    Notes
    -----
    min over fibres of floor(usable / (share × fibre per pull)). Source: definition.

    Examples
    --------
    >>> from datetime import date
    >>> from decimal import Decimal
    >>> half = Decimal("0.5")
    >>> furnish = (Part(("linter",), half, half, half), Part(("abaca",), half, half, half))
    >>> good_sheets([1000, 260], Question(date(2027, 3, 1), 50, furnish, 1, Decimal("0.9")))
    9
    """
    pulls = [
        Fraction(given) / (Fraction(part.target) * need.pull_mg)
        for part, given in zip(need.furnish, given_mg, strict=True)
        if part.target
    ]
    whole_pulls = int(min(pulls, default=Fraction(0)))
    return int(whole_pulls * need.sheets_per_pull * Fraction(need.good_share))


def _pick(lot: PlanLot, usable_mg: int) -> Pick:
    return Pick(
        lot=lot.ref,
        fibre=lot.fibre,
        usable_mg=usable_mg,
        oven_dry_mg=_up(usable_mg, lot.oven_dry_mg, lot.usable_mg),
        as_is_mg=_up(usable_mg, lot.as_is_mg, lot.usable_mg),
    )


def _up(amount: int, whole: int, of: int) -> int:
    """Return amount × whole / of, rounded up: weigh out a milligram too much, not too little."""
    return -(-amount * whole // of)


def _lot_cost(desks: list[_Desk]) -> int:
    total = sum(
        amount * lot.cost_minor_per_kg
        for desk in desks
        for drawn in desk.drawn
        for lot, amount in drawn
    )
    return round(Fraction(total, MG_PER_KG))


def _bindings(desks: list[_Desk]) -> tuple[Binding, ...]:
    """Gather, for each fibre that is missing, who needs it and which lots hold it."""
    missing: dict[tuple[str, ...], int] = {}
    for desk in desks:
        for part, lack in zip(desk.promise.furnish, desk.lacks, strict=True):
            if lack:
                missing[part.fibres] = missing.get(part.fibres, 0) + lack
    found = []
    for fibres, short_mg in missing.items():
        refs, lots, supply = [], {}, 0
        for desk in desks:
            lines = zip(desk.promise.furnish, desk.drawn, strict=True)
            touching = [drawn for part, drawn in lines if set(part.fibres) & set(fibres)]
            if touching:
                refs.append(desk.promise.ref)
                lots.update({lot.ref: None for drawn in touching for lot, _ in drawn})
                supply += sum(amount for drawn in touching for _, amount in drawn)
        found.append(Binding(fibres, supply + short_mg, supply, tuple(refs), tuple(lots)))
    return tuple(found)


def _extra_sheets(question: Question, shelf: _Shelf) -> int:
    """Count good sheets that what is left would make, after every promise has taken its own."""
    day = shelf.day_of(question.due)
    held = sum(
        shelf.left[lot.ref] for part in question.furnish for lot in shelf.lots(part, question, day)
    )

    def serves(pulls: int) -> bool:
        wants = split(pulls * question.pull_mg, question.furnish)
        drawn = [
            shelf.draw(part, question, day, want)
            for part, want in zip(question.furnish, wants, strict=True)
        ]
        for lots in drawn:
            shelf.put_back(lots)
        return [sum(amount for _, amount in lots) for lots in drawn] == wants

    least, most = 0, held // question.pull_mg
    while least < most:
        middle = (least + most + 1) // 2
        least, most = (middle, most) if serves(middle) else (least, middle - 1)
    return int(least * question.sheets_per_pull * Fraction(question.good_share))
