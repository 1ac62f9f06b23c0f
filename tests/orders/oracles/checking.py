"""What an answer about cover must satisfy by itself, read from its rows alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from orders.calc.covered import Answer, Cover
from orders.calc.planrows import Part, PlanLot, Promise, Snapshot
from tests.orders.oracles.asks import UNIT_MG, day_of, in_rank_order
from tests.orders.oracles.cover_oracle import Best, ready_days
from tests.orders.oracles.flow_oracle import END, START, Network


@dataclass(frozen=True)
class Read:
    """An answer in the words of the oracles; masses in milligrams."""

    shorts: tuple[int, ...]
    deviation: int
    cost: Fraction


def read(snapshot: Snapshot, cover: Cover) -> Read:
    """Read shortage, deviation and cost of lots from the rows of an answer."""
    price = {lot.ref: lot.cost_minor_per_kg for lot in snapshot.lots}
    ranked = in_rank_order(snapshot)
    answers = [_answer(cover, one.ref) for one in ranked]
    return Read(
        tuple(sum(row.usable_mg for row in (*found.short, *found.free)) for found in answers),
        sum(_deviation(one, found) or 0 for one, found in zip(ranked, answers, strict=True)),
        sum(
            (
                Fraction(pick.usable_mg * price[pick.lot], UNIT_MG)
                for found in answers
                for pick in found.picks
            ),
            Fraction(0),
        ),
    )


def _answer(cover: Cover, ref: str) -> Answer:
    found = cover.of(ref)
    assert found is not None, f"no answer for {ref}"
    return found


def faults(snapshot: Snapshot, cover: Cover) -> list[str]:
    """Return what is wrong with the rows of an answer, whatever the best one is."""
    lots = {lot.ref: lot for lot in snapshot.lots}
    found = []
    order = [one.ref for one in in_rank_order(snapshot)]
    if [answer.ref for answer in cover.commissions] != order:
        found.append("not in the order of rank")
    given: Counter[str] = Counter()
    for one in snapshot.commissions:
        answer = _answer(cover, one.ref)
        found += [f"{one.ref}: {fault}" for fault in _pick_faults(snapshot, one, answer, lots)]
        found += [f"{one.ref}: {fault}" for fault in _sum_faults(one, answer)]
        for pick in answer.picks:
            given[pick.lot] += pick.usable_mg
    found += [
        f"{ref} gives {mass} of {lots[ref].usable_mg}"
        for ref, mass in given.items()
        if mass > lots[ref].usable_mg
    ]
    return found


def _pick_faults(
    snapshot: Snapshot, one: Promise, answer: Answer, lots: dict[str, PlanLot]
) -> Iterator[str]:
    day = day_of(snapshot, one)
    for pick in answer.picks:
        lot = lots[pick.lot]
        if pick.fibre != lot.fibre or pick.usable_mg <= 0:
            yield f"{pick.lot}: not a pick of that lot"
        if not lot.usable_from <= day <= (lot.until or day):
            yield f"{pick.lot}: outside its days"
        if lot.marks & one.excludes:
            yield f"{pick.lot}: excluded"
        if one.only_lots is not None and lot.ref not in one.only_lots:
            yield f"{pick.lot}: not one of the only lots"
        for name in ("oven_dry_mg", "as_is_mg"):
            exact = Fraction(pick.usable_mg * getattr(lot, name), lot.usable_mg)
            if not exact <= getattr(pick, name) < exact + 1:
                yield f"{pick.lot}: {name} is not its share of the lot, rounded up"


def _sum_faults(one: Promise, answer: Answer) -> Iterator[str]:
    picked = sum(pick.usable_mg for pick in answer.picks)
    lacking = sum(row.usable_mg for row in (*answer.short, *answer.free))
    if answer.free and (answer.picks or not one.all_or_nothing or not answer.short):
        yield "says what is free though it takes part, or lacks nothing"
    if picked + lacking != one.need_mg or answer.need_mg != one.need_mg:
        yield f"picked {picked} and short {lacking} do not come to {one.need_mg}"
    known = [part.fibres for part in one.furnish]
    if any(lack.fibres not in known or lack.usable_mg <= 0 for lack in answer.short):
        yield "is short of what is not a line"
    elif _deviation(one, answer) is None:
        yield "no split of the picks over the lines keeps to their limits"


def _deviation(one: Promise, answer: Answer) -> int | None:
    """Return how far the lines lie from their targets; None where no split keeps to the limits.

    A pick names its fibre and not its line. Where one fibre may serve more than one line, its
    picks are split so that the lines come as near to their targets as they can.
    """
    net = Network(places=2)
    picked: Counter[str] = Counter()
    for pick in (*answer.picks, *answer.free):
        picked[pick.fibre] += pick.usable_mg
    for fibre, mass in picked.items():
        net.arc(START, ("fibre", fibre), mass, net.price())
    shares, kept, targets = [], 0, 0
    for number, part in enumerate(one.furnish):
        node = "line", number
        lacking = sum(lack.usable_mg for lack in answer.short if lack.fibres == part.fibres)
        net.arc(START, node, lacking, net.price())
        for fibre in set(part.fibres) & set(picked):
            net.arc(("fibre", fibre), node, picked[fibre], net.price())
        least, target, most = _limits(one, part)
        kept, targets = kept + least, targets + target
        for room, inside, away in (
            (least, -1, -1),
            (target - least, 0, -1),
            (most - target, 0, 1),
        ):
            price = net.price(p0=inside, p1=away)
            shares.append((net.arc(node, END, room, price), inside, away))
    net.fill()
    flows = [(net.flow(arc), inside, away) for arc, inside, away in shares]
    if sum(flow for flow, _, _ in flows) != one.need_mg:
        return None
    if -sum(flow * inside for flow, inside, _ in flows) != kept:
        return None
    return targets + sum(flow * away for flow, _, away in flows)


def _limits(one: Promise, part: Part) -> tuple[int, int, int]:
    """Return least, target and most of a line, a milligram a line looser if not whole."""
    exact = [Fraction(str(share)) * one.need_mg for share in (part.least, part.target, part.most)]
    slack = 0 if all(mass.denominator == 1 for mass in exact) else len(one.furnish)
    least, target, most = exact
    return max(0, int(least) - slack), int(target), int(most) + slack


def differences(snapshot: Snapshot, cover: Cover, found: Best) -> list[str]:
    """Return where an answer is not as good as the best one, or says other than it does."""
    wrong = faults(snapshot, cover)
    if wrong:
        return wrong
    own = read(snapshot, cover)
    shorts = tuple(short * UNIT_MG for short in found.shorts)
    if own.shorts != shorts:
        return [f"short {own.shorts}, could be {shorts}"]
    states = expected_states(snapshot, found)
    said = {answer.ref: answer.state for answer in cover.commissions}
    if said != states:
        wrong.append(f"says {said}, should be {states}")
    ours = own.deviation, own.cost
    theirs = found.deviation * UNIT_MG, Fraction(found.cost)
    if ours != theirs:
        wrong.append(f"deviation and cost {ours}, could be {theirs}")
    if cover.lot_cost_minor != own.cost:
        wrong.append(f"says lots cost {cover.lot_cost_minor}, they cost {own.cost}")
    return wrong


def expected_states(snapshot: Snapshot, found: Best) -> dict[str, str]:
    """Return the state of every promise in the words of the contract."""
    ready = ready_days(snapshot, found)
    extras = iter(found.extra_shorts)
    states = {}
    for one, short in zip(in_rank_order(snapshot), found.shorts, strict=True):
        if short:
            states[one.ref] = "later" if ready[one.ref] else "short"
        elif one.safe_need_mg > one.need_mg:
            states[one.ref] = "just covered" if next(extras) else "covered"
        else:
            states[one.ref] = "covered"
    return states
