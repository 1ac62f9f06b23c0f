"""The best cover a second way: cheapest paths one after the other, costs compared as tuples.

Fibre flows from lot to line to promise. A cost is a tuple with one place for every aim, the
first in front: least shares (which must be kept), shortage by rank, shortage of the safe count
by rank, then the two aims of the studio. Tuples are compared place by place, so no weight has
to be found that is large enough, and nothing here is a linear programme.
"""

from __future__ import annotations

from collections.abc import Sequence

from orders.calc.planrows import Snapshot
from tests.orders.oracles.asks import Ask, average_asks, extra_asks, held
from tests.orders.oracles.cover_oracle import Best

Price = tuple[int, ...]
START, END = "start", "end"


class Network:
    """Arcs with room and price; an arc and its way back stand side by side."""

    def __init__(self, places: int) -> None:
        self.places = places
        self.heads: list[object] = []
        self.room: list[int] = []
        self.prices: list[Price] = []
        self.out: dict[object, list[int]] = {START: [], END: []}

    def price(self, **at: int) -> Price:
        found = [0] * self.places
        for place, amount in at.items():
            found[int(place[1:])] = amount
        return tuple(found)

    def arc(self, tail: object, head: object, room: int, price: Price) -> int:
        for end, start, free, cost in (
            (head, tail, room, price),
            (tail, head, 0, tuple(-part for part in price)),
        ):
            self.out.setdefault(start, []).append(len(self.heads))
            self.out.setdefault(end, [])
            self.heads.append(end)
            self.room.append(free)
            self.prices.append(cost)
        return len(self.heads) - 2

    def fill(self) -> None:
        """Send flow along the cheapest path until none is left."""
        while (path := self._cheapest()) is not None:
            amount = min(self.room[arc] for arc in path)
            for arc in path:
                self.room[arc] -= amount
                self.room[arc ^ 1] += amount

    def _cheapest(self) -> list[int] | None:
        least: dict[object, Price] = {START: (0,) * self.places}
        came: dict[object, int] = {}
        waiting = [START]
        while waiting:
            following: list[object] = []
            for node in waiting:
                for arc in self.out[node]:
                    if not self.room[arc]:
                        continue
                    head = self.heads[arc]
                    cost = tuple(map(sum, zip(least[node], self.prices[arc], strict=True)))
                    if head not in least or cost < least[head]:
                        least[head], came[head] = cost, arc
                        if head not in following:
                            following.append(head)
            waiting = following
        if END not in least:
            return None
        path, node = [], END
        while node != START:
            arc = came[node]
            path.append(arc)
            node = self.heads[arc ^ 1]
        return path

    def flow(self, arc: int) -> int:
        return self.room[arc ^ 1]


def best(snapshot: Snapshot) -> Best:
    """Find the best cover of a snapshot in which no promise is all or nothing."""
    asks = average_asks(snapshot)
    shorts = _solve(snapshot, asks, []).shorts
    return _solve(snapshot, asks, extra_asks(snapshot, shorts))


def _solve(snapshot: Snapshot, asks: Sequence[Ask], extras: Sequence[Ask]) -> Best:
    wanted = [*asks, *extras]
    count = len(wanted)
    net = Network(places=count + 3)
    deviation_at, cost_at = (
        (count + 1, count + 2) if snapshot.aims == "recipe first" else (count + 2, count + 1)
    )
    for number, mass in enumerate(held(snapshot)):
        net.arc(START, ("lot", number), mass, net.price())
    short_arcs: list[list[int]] = []
    use_arcs: list[tuple[int, int]] = []
    share_arcs: list[tuple[int, int]] = []
    for place, ask in enumerate(wanted):
        own = place < len(asks)
        short_arcs.append([])
        net.arc(("ask", place), END, ask.need, net.price())
        for number, line in enumerate(ask.lines):
            node = "line", place, number
            arc = net.arc(START, node, ask.need, net.price(**{f"p{place + 1}": 1}))
            short_arcs[-1].append(arc)
            for lot in line.lots:
                cost = snapshot.lots[lot].cost_minor_per_kg if own else 0
                arc = net.arc(("lot", lot), node, ask.need, net.price(**{f"p{cost_at}": cost}))
                use_arcs.append((arc, cost))
            for room, kept, away in (
                (line.least, -1, -1),
                (line.target - line.least, 0, -1),
                (line.most - line.target, 0, 1),
            ):
                away = away if own else 0
                price = net.price(**{"p0": kept, f"p{deviation_at}": away})
                share_arcs.append((net.arc(node, ("ask", place), room, price), away))
    net.fill()
    found = [sum(map(net.flow, arcs)) for arcs in short_arcs]
    targets = sum(line.target for ask in asks for line in ask.lines)
    return Best(
        shorts=tuple(found[: len(asks)]),
        extra_shorts=tuple(found[len(asks) :]),
        deviation=targets + sum(away * net.flow(arc) for arc, away in share_arcs),
        cost=sum(cost * net.flow(arc) for arc, cost in use_arcs),
    )
