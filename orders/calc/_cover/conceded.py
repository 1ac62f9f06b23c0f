"""Nobody worse off: the network with every shortage conceded, to see what else could be had."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

import highspy
import numpy as np

from orders.calc._cover.flow import Clock, Flow
from orders.calc._cover.lines import lines_of
from orders.calc._cover.network import build
from orders.calc._cover.served import Served, check_total, leave_out
from orders.calc._cover.stock import NOWHERE, Ints, Signatures, Want
from orders.calc.planrows import Promise, Question

ENDLESS = highspy.kHighsInf
# A guess is stepped down and up from, so it need only be near.
NEAR = Fraction(1, 10**7)


class Conceded:
    """Every want keeps what it was given in all, from whichever lots; then more is asked."""

    def __init__(
        self,
        served: Served,
        wants: Sequence[int],
        days: Iterable[tuple[Promise | Question, Iterable[int]]],
        signatures: Signatures,
        clock: Clock,
    ) -> None:
        asked = [served.wants[number] for number in wants]
        self.days = [(need, sorted(set(every))) for need, every in days]
        self.signatures = signatures
        self.net = build(
            served.stock,
            asked,
            self.signatures,
            by_cost=False,
            more_days=sorted(self._more_days()),
        )
        self.pool = {
            (int(sig), int(day)): int(row)
            for sig, day, row in zip(
                self.net.pool_sig, self.net.pool_day, self.net.pool_row, strict=True
            )
            if row != NOWHERE
        }
        self.flow = Flow(self.net, np.zeros(self.net.columns), clock)
        self.demand = self.net.demand.copy()
        self.lack = np.arange(self.net.block["lack"].start, self.net.block["lack"].stop)
        self.flow.open_up_to(self.lack, 0.0)
        self._concede(served, wants)
        # What everybody has is one answer; from there it is never far to the next.
        self.flow.run()

    def _more_days(self) -> set[tuple[int, int]]:
        return {
            (sig, day)
            for need, days in self.days
            for part in need.furnish
            for sig in self.signatures.accepted(part.fibres, need)
            for day in days
        }

    def lacks_of(self, place: int) -> Ints:
        """Return the columns by which a want may lack fibre."""
        lines = self.net.lines.of(place)
        return self.lack[lines.start : lines.stop]

    def _concede(self, served: Served, wants: Sequence[int]) -> None:
        """Let every want lack as much as it does, its lines together no more than that."""
        columns, shorts = [], []
        for place, number in enumerate(wants):
            if number in served.left_out:
                leave_out(self.net, self.flow, self.demand, place)
            elif served.shorts[number]:
                columns.append(self.lacks_of(place))
                shorts.append(float(served.shorts[number]))
        if not columns:
            return
        most = np.array(shorts)
        self.flow.open_up_to(np.concatenate(columns), np.repeat(most, [*map(len, columns)]))
        several = [number for number, own in enumerate(columns) if len(own) > 1]
        self.flow.limit_each([columns[number] for number in several], most[several])

    def draw(self, part_rows: Ints, need: Promise | Question, days: Iterable[int]) -> Ints:
        """Add columns, closed yet, that feed the rows of a need from the pools of some days."""
        tails, heads = [], []
        for row, part in zip(part_rows.tolist(), need.furnish, strict=True):
            for sig in self.signatures.accepted(part.fibres, need):
                for day in days:
                    if (pool := self.pool.get((sig, day))) is not None:
                        tails.append(pool)
                        heads.append(row)
        return self.flow.add(
            np.array(tails, dtype=np.int64), np.array(heads, dtype=np.int64), np.zeros(len(tails))
        )


class Waiting(Conceded):
    """Short promises drawn whole on a later day, each held once it is found."""

    refs: list[str]
    shorts: list[int]
    left_out: set[int]
    kept: Ints  # the columns of the days that were last found enough

    def fills(self, place: int, days: Sequence[int]) -> bool:
        """Return whether a promise could be served whole from the lots of any of these days."""
        net, lines = self.net, self.net.lines.of(place)
        rows = net.line_row[lines.start : lines.stop]
        need = next(need for need, _ in self.days if need.ref == self._ref(place))
        columns = self.draw(rows, need, days)
        self.flow.open_up_to(columns, ENDLESS)
        self._own_day(place, is_open=False)
        if self.flow.run():
            self.kept = columns
            return True
        self.flow.open_up_to(columns, 0.0)
        return False

    def give_back(self, place: int) -> None:
        """Give a promise for which no day was found its own day and what it lacks."""
        self._own_day(place, is_open=True)

    def drop(self) -> None:
        """Close the columns of days that were only looked at together."""
        self.flow.open_up_to(self.kept, 0.0)

    def _ref(self, place: int) -> str:
        return self.refs[place]

    def _own_day(self, place: int, *, is_open: bool) -> None:
        net, lines = self.net, self.net.lines.of(place)
        inside = (net.use_line >= lines.start) & (net.use_line < lines.stop)
        self.flow.open_up_to(
            np.flatnonzero(inside) + net.block["use"].start, ENDLESS if is_open else 0.0
        )
        rows = net.line_row[lines.start : lines.stop].tolist()
        if net.want_row[place] != NOWHERE:
            rows.append(int(net.want_row[place]))
        at = np.array(rows)
        left_out = place in self.left_out
        demand = np.zeros(len(at)) if is_open and left_out else net.demand[at].astype(float)
        self.flow.require(at, demand)
        lacking = float(self.shorts[place]) if is_open and not left_out else 0.0
        self.flow.open_up_to(self.lacks_of(place), lacking)

    @classmethod
    def of(
        cls, served: Served, days: dict[int, Sequence[int]], clock: Clock
    ) -> Waiting:  # fmt: skip
        """Return the network in which these short promises may look for later days."""
        count = len(served.promises)
        found = cls(
            served,
            range(count),
            [(served.promises[number], every) for number, every in days.items()],
            served.signatures,
            clock,
        )
        found.refs = [one.ref for one in served.promises]
        found.shorts = served.shorts[:count]
        found.left_out = served.left_out
        return found


class Asking(Conceded):
    """A question put beside all promises, each of which keeps what it has."""

    def __init__(self, served: Served, question: Question, day: int, clock: Clock) -> None:
        # The question may shut out other lots than any promise does.
        signatures = Signatures(served.stock, [*served.wants, Want(question, day, 0)])
        wants = range(len(served.wants))
        super().__init__(served, wants, [(question, [day])], signatures, clock)
        self.question, self.day = question, day
        flow = self.flow
        self.rows = np.array([flow.row() for _ in question.furnish], dtype=np.int64)
        self.total_row = flow.row()
        uses = self.draw(self.rows, question, [day])
        flow.open_up_to(uses, ENDLESS)
        into = np.full(len(self.rows), self.total_row)
        self.shares = flow.add(self.rows, into, np.full(len(self.rows), ENDLESS))
        self.total = flow.leave(self.total_row)

    def most_pulls(self) -> int:
        """Return the most whole pulls that can be served: guessed, then tried in whole mg."""
        pulls = self._guess()
        while pulls and not self._serves(pulls):
            pulls -= 1
        while self._serves(pulls + 1):
            pulls += 1
        return pulls

    def _guess(self) -> int:
        flow = self.flow
        rows = []
        for column, part in zip(self.shares.tolist(), self.question.furnish, strict=True):
            pair = np.array([column, self.total])
            rows.append(flow.limit(pair, np.array([1.0, -float(part.least)]), 0.0, ENDLESS))
            rows.append(flow.limit(pair, np.array([-1.0, float(part.most)]), 0.0, ENDLESS))
        flow.solver.changeColCost(self.total, -1.0)
        flow.run()
        most = Fraction(flow.solver.getSolution().col_value[self.total])
        flow.solver.changeColCost(self.total, 0.0)
        for row in rows:
            flow.solver.changeRowBounds(row, -ENDLESS, ENDLESS)
        return int(most / self.question.pull_mg + NEAR)

    def _serves(self, pulls: int) -> bool:
        mass = pulls * self.question.pull_mg
        lines = lines_of([Want(self.question, self.day, mass)])
        check_total([Want(self.question, self.day, mass)])
        least, most = lines.least.astype(float), lines.most.astype(float)
        self.flow.bound(self.shares, least, most)
        whole = np.array([float(mass)])
        self.flow.bound(np.array([self.total]), whole, whole)
        return self.flow.run()
