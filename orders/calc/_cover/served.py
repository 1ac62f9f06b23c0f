"""Who is served with what: the promises put to the network, and the answer line by line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from orders.calc._cover.flow import Aims, Clock, Flow, check, lexicographic
from orders.calc._cover.network import Network, build
from orders.calc._cover.picks import Drawn, check_picks, take_apart
from orders.calc._cover.stock import NOWHERE, Ints, Signatures, Stock, Want
from orders.calc.planrows import Promise, Snapshot
from studio.errors import RangeError

# Whole numbers are exact in the solver up to 2 to the power of 53; a sum needs some room.
MOST_MG = 2**51


@dataclass(slots=True)
class Served:
    """What every want is given: first the average needs by rank, then the safe extras by rank."""

    promises: list[Promise]
    wants: list[Want]
    extra_of: dict[int, int]  # of a promise the want that is its safe extra
    stock: Stock
    signatures: Signatures
    net: Network
    flow: Ints
    drawn: Drawn
    lack: Ints  # of each line
    left_out: set[int]  # wants that get nothing at all
    shorts: list[int] = field(init=False)  # what each want lacks

    def __post_init__(self) -> None:
        shorts = np.zeros(len(self.wants), dtype=np.int64)
        np.add.at(shorts, self.net.lines.want, self.lack)
        self.shorts = shorts.tolist()
        for want in self.left_out:
            self.shorts[want] = self.wants[want].mg

    @property
    def waiting(self) -> list[int]:
        """Promises that lack fibre, in order of rank."""
        return [number for number in range(len(self.promises)) if self.shorts[number]]

    def given(self, want: int) -> list[int]:
        """Return what each line of a want holds."""
        lines = self.net.lines.of(want)
        rows = self.drawn.of_lines(lines)
        held = np.zeros(len(lines), dtype=np.int64)
        np.add.at(held, self.drawn.line[rows] - lines.start, self.drawn.mg[rows])
        return [int(mg) for mg in held]

    def lacks(self, want: int) -> list[int]:
        """Return what each line of a want lacks; by the targets where it gets nothing."""
        lines = self.net.lines.of(want)
        if want in self.left_out:
            return [int(mg) for mg in self.net.lines.target[lines.start : lines.stop]]
        return [int(mg) for mg in self.lack[lines.start : lines.stop]]


def day_of(snapshot: Snapshot, day: int) -> int:
    """Return the day on which fibre is drawn: none is drawn before today."""
    return max(day, snapshot.today.toordinal())


def serve(snapshot: Snapshot, clock: Clock) -> Served:
    """Serve the promises: rank by rank, then recipe and cost in the order that is chosen."""
    promises = sorted(snapshot.commissions, key=lambda one: one.rank)
    days = [day_of(snapshot, one.fibre_day.toordinal()) for one in promises]
    wants = [Want(one, day, one.need_mg) for one, day in zip(promises, days, strict=True)]
    extra_of = {}
    for number, (one, day) in enumerate(zip(promises, days, strict=True)):
        if one.safe_need_mg > one.need_mg:
            extra_of[number] = len(wants)
            wants.append(Want(one, day, one.safe_need_mg - one.need_mg))
    total = check_total(wants)
    held = sum(lot.usable_mg for lot in snapshot.lots)
    stock = Stock(snapshot.lots, most_mg=MOST_MG if held <= MOST_MG else total)
    signatures = Signatures(stock, wants)
    apart = len(promises) if extra_of and len(set(stock.cost.tolist())) > 1 else None
    net = build(stock, wants, signatures, apart=apart)
    flow, left_out = _solve(snapshot, net, promises, extra_of, clock)
    drawn = take_apart(net, stock, flow)
    check_picks(stock, drawn, net, wants)
    return Served(
        promises, wants, extra_of, stock, signatures, net, flow, drawn, flow[net.block["lack"]],
        left_out,
    )  # fmt: skip


def check_total(wants: Iterable[Want]) -> int:
    """Return what is wanted in all; refuse more than can be reckoned exactly."""
    total = sum(want.mg for want in wants)
    if total > MOST_MG:
        raise RangeError(
            f"The promises come to {total} mg of fibre; up to {MOST_MG} mg can be reckoned "
            "exactly. Look for a quantity that was typed with too many noughts.",
            value=total,
        )
    return total


def _solve(
    snapshot: Snapshot,
    net: Network,
    promises: list[Promise],
    extra_of: dict[int, int],
    clock: Clock,
) -> tuple[Ints, set[int]]:
    left_out: set[int] = set()
    if not net.columns:
        return np.zeros(0, dtype=np.int64), left_out
    aims = Aims(net, len(promises), cost_first=snapshot.aims == "cost first")
    flow = Flow(net, aims.together(), clock)
    _first_corner(flow, net, len(promises))
    demand = net.demand.copy()
    flow.aim(aims.promise)
    while fallen := _falls(net, flow.values(), promises, extra_of, left_out):
        left_out |= fallen
        for want in fallen:
            leave_out(net, flow, demand, want)
        flow.aim(aims.promise)
    lexicographic(flow, aims.later)
    found = flow.values()
    check(net, found, demand)
    return found, left_out


def _first_corner(flow: Flow, net: Network, drawn: int) -> None:
    """Solve for the average needs alone, then for the safe extras beside them.

    All at once would do as well, and on large studios takes twice as long.
    """
    later = np.concatenate([net.line_row[net.lines.want >= drawn], net.want_row[drawn:]])
    later = later[later != NOWHERE]
    flow.require(later, np.zeros(len(later)))
    flow.run()
    flow.require(later, net.demand[later].astype(float))
    flow.run()


def _falls(
    net: Network,
    flow: Ints,
    promises: list[Promise],
    extra_of: dict[int, int],
    left_out: set[int],
) -> set[int]:
    """Return who gets nothing: the first that takes all or nothing, then extras of the short."""
    count = len(net.lines.mg)
    short = np.zeros(count, dtype=np.int64)
    np.add.at(short, net.lines.want, flow[net.block["lack"]])
    for number in np.flatnonzero(short[: len(promises)]).tolist():
        if promises[number].all_or_nothing and number not in left_out:
            return {number, extra_of[number]} if number in extra_of else {number}
    return {extra for number, extra in extra_of.items() if short[number] and extra not in left_out}


def leave_out(net: Network, flow: Flow, demand: Ints, want: int) -> None:
    """Let a want ask for nothing, and so get nothing."""
    lines = net.lines.of(want)
    rows = [*net.line_row[lines.start : lines.stop].tolist()]
    if net.want_row[want] != NOWHERE:
        rows.append(int(net.want_row[want]))
    demand[rows] = 0
    flow.require(np.array(rows), np.zeros(len(rows)))
