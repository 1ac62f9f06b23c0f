"""The cheapest plan as a mixed-integer model: packs, price steps, orders, thresholds.

Stock of a fibre is kept at its needs only: what arrives between two needs counts for the later
one, and keeping a pack is priced from its arrival to the end of the horizon. The plan is read
back as whole packs and judged by the case's own recount, never by the solver's cost.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from math import gcd, inf, isfinite

import highspy

from orders.calc._buying.case import Case, Plan
from orders.calc._buying.terms import Offer, Step
from orders.calc._highs import engine

# Cuts pay where the model is too large to be settled at once, and where keeping costs money:
# there they nearly close the model, so long as they span what one order brings.
CUTS_FROM = 40
CUT_SPAN, CUT_SPAN_KEPT = 6, 40
# The largest pack counts as this many, so that a milligram is far above the tolerances.
LARGEST_PACK = 10_000
TICK = 0.5
# How far the solver's costs may be off.
CLOSE = 1e-5
# A large model is not left on the instant its time is over.
LARGE_ROWS, LARGE_SHARE = 5_000, 0.8

Stop = Callable[[float, float, float], bool]


@dataclass(frozen=True, slots=True)
class Solved:
    """What the solver found; ``bound`` is a cost that no plan lies below, without what is met."""

    plan: Plan | None
    bound: float
    is_proven: bool


@dataclass(slots=True)
class _Columns:
    """The model while it is being written."""

    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[tuple[float, float, dict[int, float]]] = field(default_factory=list)

    def add(self, cost: float, upper: float, *, whole: bool = True) -> int:
        self.cost.append(cost)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.cost) - 1

    def row(self, lower: float, upper: float, entries: dict[int, float]) -> None:
        self.rows.append((lower, upper, entries))


@dataclass(frozen=True, slots=True)
class _Piece:
    """The columns of one step of one line: packs, and whether the step is used."""

    step: Step
    packs: int
    used: int | None


class Model:
    """A case as rows and columns."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.columns = _Columns()
        self.placed: dict[tuple[str, int], int] = {}
        self.free: dict[tuple[str, int], int] = {}
        self.pieces: dict[tuple[int, int], list[_Piece]] = {}
        self.stock: dict[str, list[int]] = {}
        self.scale: dict[str, int] = {}
        for ref, days in case.order_days.items():
            for day in days:
                self._order(ref, day)
        for fibre, needs in case.needs.items():
            if needs.days:
                self._balance(fibre)
        is_large = sum(len(needs.days) for needs in case.needs.values()) >= CUTS_FROM
        for fibre in case.fibres:
            if case.holding[fibre] and case.needs[fibre].days:
                self._cuts(fibre, CUT_SPAN_KEPT)
            elif is_large:
                self._cuts(fibre, CUT_SPAN)

    def _order(self, ref: str, day: int) -> None:
        case, source = self.case, self.case.sources[ref]
        key = ref, day
        freight = 0 if source.free_from == 0 else source.freight_on(day)
        lines = [
            place
            for place, offer in enumerate(case.offers)
            if offer.source == ref and day in offer.days
        ]
        lines = [place for place in lines if self._cap(place, day, freight)]
        if not lines:
            return
        if freight or source.order_minimum:
            self.placed[key] = self.columns.add(freight, 1)
        for place in lines:
            self._line(place, day, self._cap(place, day, freight))
        if source.order_minimum:
            value = self._value(lines, day)
            value[self.placed[key]] = -source.order_minimum
            self.columns.row(0, inf, value)
        if freight and source.free_from is not None:
            self.free[key] = self.columns.add(-freight, 1)
            self.columns.row(0, inf, {self.placed[key]: 1, self.free[key]: -1})
            value = self._value(lines, day)
            value[self.free[key]] = -source.free_from
            self.columns.row(0, inf, value)

    def _cap(self, place: int, day: int, freight: int) -> int:
        """Return the most packs of a line that can be worth it.

        Enough for all that is still needed, and enough to reach the last price step, the order
        minimum and free freight on its own: beyond the largest of these a pack less is as good.
        """
        offer, source = self.case.offers[place], self.case.sources[self.case.offers[place].source]
        needs = self.case.needs[offer.fibre]
        at = needs.first_served(day + offer.lead)
        needed = -(-needs.from_place(at) // offer.pack_mg) if at < len(needs.days) else 0
        thresholds = [source.order_minimum]
        if freight and source.free_from is not None:
            thresholds.append(source.free_from)
        if not needed and not any(thresholds):
            return 0
        last = offer.last.least
        reached = [
            offer.packs_reaching(minor, at_least=last) or 0 for minor in thresholds if minor
        ]
        return max(needed, last, *reached, 0)

    def _line(self, place: int, day: int, cap: int) -> None:
        offer = self.case.offers[place]
        order = self.placed.get((offer.source, day))
        kept = float(self.case.pack_holding(place, day))
        pieces = []
        simple = len(offer.steps) == 1 and offer.least == 1 and not offer.last.fixed
        for step in offer.steps:
            most = min(cap, step.most) if step.most is not None else cap
            if most < step.least:
                continue
            packs = self.columns.add(step.each + kept, most)
            if simple:
                if order is not None:
                    self.columns.row(-inf, 0, {packs: 1, order: -most})
                pieces.append(_Piece(step, packs, None))
                continue
            used = self.columns.add(step.fixed, 1)
            self.columns.row(0, inf, {packs: 1, used: -step.least})
            self.columns.row(-inf, 0, {packs: 1, used: -most})
            pieces.append(_Piece(step, packs, used))
        self.pieces[place, day] = pieces
        if not simple:
            entries = {piece.used: 1.0 for piece in pieces if piece.used is not None}
            if order is not None:
                self.columns.row(-inf, 0, {**entries, order: -1})
            elif len(entries) > 1:
                self.columns.row(-inf, 1, entries)

    def _value(self, lines: list[int], day: int) -> dict[int, float]:
        """Return the goods of an order as entries of a row."""
        value: dict[int, float] = {}
        for place in lines:
            for piece in self.pieces[place, day]:
                value[piece.packs] = piece.step.each
                if piece.used is not None:
                    value[piece.used] = piece.step.fixed
        return value

    def _scale(self, fibre: str, offers: list[Offer]) -> int:
        masses = [offer.pack_mg for offer in offers] + list(self.case.needs[fibre].by_then)
        largest = max(offer.pack_mg for offer in offers)
        return max(gcd(*masses), largest // LARGEST_PACK, 1)

    def _balance(self, fibre: str) -> None:
        """Stock before a need, what arrives for it and the stock after it."""
        case, needs = self.case, self.case.needs[fibre]
        offers = [case.offers[place] for place in case.places[fibre]]
        scale = self.scale[fibre] = self._scale(fibre, offers)
        arrivals: list[dict[int, float]] = [{} for _ in needs.days]
        for (place, day), pieces in self.pieces.items():
            offer = case.offers[place]
            at = needs.first_served(day + offer.lead)
            if offer.fibre == fibre and at < len(needs.days):
                for piece in pieces:
                    arrivals[at][piece.packs] = offer.pack_mg / scale
        stock = self.stock[fibre] = []
        for at, entries in enumerate(arrivals):
            needed = needs.by_then[at] - (needs.by_then[at - 1] if at else 0)
            stock.append(self.columns.add(0, inf, whole=False))
            entries[stock[at]] = -1
            if at:
                entries[stock[at - 1]] = 1
            self.columns.row(needed / scale, needed / scale, entries)

    def _cuts(self, fibre: str, span: int) -> None:
        """Add that stock carries every need before which no order arrives."""
        case, needs = self.case, self.case.needs[fibre]
        arriving: list[set[int] | None] = [set() for _ in needs.days]
        for place, day in self.pieces:
            offer = case.offers[place]
            at = needs.first_served(day + offer.lead)
            if offer.fibre != fibre or at >= len(needs.days):
                continue
            order = self.placed.get((offer.source, day))
            group = arriving[at]
            if order is None or group is None:
                arriving[at] = None
            else:
                group.add(order)
        for start in range(len(needs.days)):
            for end in range(start, min(start + span, len(needs.days))):
                self._cut(fibre, start, end, arriving)

    def _cut(self, fibre: str, start: int, end: int, arriving: list[set[int] | None]) -> None:
        needs, scale = self.case.needs[fibre], self.scale[fibre]
        entries: dict[int, float] = {}
        carried = (needs.by_then[end] - (needs.by_then[start - 1] if start else 0)) / scale
        for at in range(start, end + 1):
            group = arriving[at]
            if group is None:
                return
            rest = (needs.by_then[end] - (needs.by_then[at - 1] if at else 0)) / scale
            for order in group:
                entries[order] = rest
        if start:
            entries[self.stock[fibre][start - 1]] = 1
        self.columns.row(carried, inf, entries)

    def as_lp(self) -> highspy.HighsLp:
        """Return the model as the solver takes it."""
        columns = self.columns
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(columns.cost), len(columns.rows)
        lp.col_cost_ = columns.cost
        lp.col_lower_ = [0.0] * len(columns.cost)
        lp.col_upper_ = columns.upper
        lp.row_lower_ = [lower for lower, _, _ in columns.rows]
        lp.row_upper_ = [upper for _, upper, _ in columns.rows]
        start, index, value = [0], [], []
        for _, _, entries in columns.rows:
            index.extend(entries)
            value.extend(entries.values())
            start.append(len(index))
        lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        lp.a_matrix_.num_col_, lp.a_matrix_.num_row_ = lp.num_col_, lp.num_row_
        lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = start, index, value
        kinds = highspy.HighsVarType
        lp.integrality_ = [
            kinds.kInteger if whole else kinds.kContinuous for whole in columns.whole
        ]
        return lp

    def values_of(self, plan: Plan) -> list[float] | None:
        """Return a plan as values of the columns; None if it holds a line the model has not."""
        values = [0.0] * len(self.columns.cost)
        case = self.case
        for (ref, day), lines in case.by_order(plan).items():
            goods = 0
            for line, packs in lines.items():
                if not self._fill_line(values, line, packs):
                    return None
                goods += case.offers[line[0]].cost(packs)
            if (ref, day) in self.placed:
                values[self.placed[ref, day]] = 1
            if (ref, day) in self.free and not case.sources[ref].charge(day, goods):
                values[self.free[ref, day]] = 1
        for fibre, stock in self.stock.items():
            spare = case.spare(plan, fibre)
            for column, mg in zip(stock, spare, strict=True):
                values[column] = mg / self.scale[fibre]
        return values

    def _fill_line(self, values: list[float], line: tuple[int, int], packs: int) -> bool:
        for piece in self.pieces.get(line, ()):
            step = piece.step
            if step.least <= packs and (step.most is None or packs <= step.most):
                values[piece.packs] = packs
                if piece.used is not None:
                    values[piece.used] = 1
                return packs <= self.columns.upper[piece.packs]
        return False

    def read(self, values: list[float]) -> Plan:
        """Return the packs of a solution, whole."""
        plan: Plan = {}
        for line, pieces in self.pieces.items():
            packs = sum(round(values[piece.packs]) for piece in pieces)
            if packs:
                plan[line] = packs
        return plan


def solve(case: Case, first: Plan, *, time_limit_s: float, stop: Stop | None = None) -> Solved:
    """Search for the cheapest plan, starting from one that keeps all needs."""
    ends = time.monotonic() + time_limit_s
    model = Model(case)
    solved, is_misled = _search(model, model.values_of(first), ends, stop)
    if is_misled:
        # Presolve may carry a first plan over at too low a cost, and end at once as if it were
        # the cheapest. Without a first plan that cannot happen.
        again, _ = _search(model, None, ends, stop)
        return solved if again.plan is None else again
    return solved


def _search(
    model: Model, start: list[float] | None, ends: float, stop: Stop | None
) -> tuple[Solved, bool]:
    """Return what is found until a moment, and whether the solver believed in a false cost."""
    solver = engine(
        mip_rel_gap=0.0,
        mip_abs_gap=0.999 if model.case.is_whole else 1e-6,
        mip_feasibility_tolerance=1e-8,
        primal_feasibility_tolerance=1e-9,
    )
    solver.passModel(model.as_lp())
    if start is not None:
        given = highspy.HighsSolution()
        given.col_value = start
        solver.setSolution(given)
    faults = [] if stop is None else _listen(solver, stop)
    left = ends - time.monotonic()
    if len(model.columns.rows) > LARGE_ROWS:
        left *= LARGE_SHARE
    if left <= 0:
        return Solved(None, -inf, is_proven=False), False
    solver.setOptionValue("time_limit", left)
    solver.run()
    if faults:
        raise faults[0]
    return _found(solver, model)


def _listen(solver: highspy.Highs, stop: Stop) -> list[Exception]:
    """Tell how far it is about twice a second, and stop when told to or when telling fails.

    The list that is returned takes the failure: the solver would end without a word of it.
    """
    told = [-inf]
    faults: list[Exception] = []

    def tell(event: highspy.HighsCallbackEvent) -> None:
        out = event.data_out
        if out.running_time - told[0] < TICK and told[0] > -inf:
            return
        told[0] = out.running_time
        try:
            ends = stop(out.running_time, out.mip_primal_bound, out.mip_dual_bound)
        except Exception as fault:
            faults.append(fault)
            ends = True
        if ends:
            event.interrupt()

    solver.cbMipInterrupt += tell
    return faults


def _found(solver: highspy.Highs, model: Model) -> tuple[Solved, bool]:
    info = solver.getInfo()
    bound = info.mip_dual_bound if isfinite(info.mip_dual_bound) else -inf
    ended = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return Solved(None, bound, is_proven=False), False
    plan = model.read(list(solver.getSolution().col_value))
    if not model.case.is_kept(plan):
        return Solved(None, bound, is_proven=False), False
    cost = model.case.cost(plan) + model.case.met
    if model.case.is_whole and bound > cost - 1 + CLOSE:
        ended = True
    # The plan is never dearer than the solver says, but for its tolerances.
    is_misled = cost - info.objective_function_value > max(1, CLOSE * cost)
    return Solved(plan, bound, is_proven=ended and not is_misled), is_misled
