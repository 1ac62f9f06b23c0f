"""What a reason for a shortage must add up to, reckoned from lots and promises alone."""

from __future__ import annotations

from collections.abc import Iterator

from orders.calc.covered import Binding, Cover
from orders.calc.planrows import Promise, Snapshot
from tests.orders.oracles.asks import day_of, may_serve


def forced_mg(snapshot: Snapshot, one: Promise, lots: set[str]) -> int:
    """Return what a promise cannot but take from these lots, or lack.

    Of a line that only these lots can serve, its least is forced; and so is what is left of the
    need once every other line takes its most.
    """
    least, others_most = 0, 0
    for part in one.furnish:
        may = {
            lot.ref
            for lot in snapshot.lots
            if lot.usable_mg and may_serve(lot, part, one, day_of(snapshot, one))
        }
        if may <= lots:
            least += int(part.least * one.need_mg)
        else:
            others_most += int(part.most * one.need_mg)
    return max(least, one.need_mg - others_most)


def binding_faults(snapshot: Snapshot, cover: Cover) -> Iterator[str]:
    """Yield what is wrong with the reasons given for all that is short.

    A reason has a proof in it: these promises cannot but take so much from lots that hold less.
    All reasons together must prove all that is short, and none may claim more than it proves.
    """
    short = sum(lack.usable_mg for found in cover.commissions for lack in found.short)
    said = sum(bind.short_mg for bind in cover.binding)
    if said != short:
        yield f"the reasons come to {said}, and {short} is short"
    lots = [ref for bind in cover.binding for ref in bind.lots]
    if len(set(lots)) < len(lots):
        yield f"a lot stands in two reasons: {lots}"
    needs = {
        one.ref: forced_mg(snapshot, one, set(lots))
        for one in snapshot.commissions
        if any(one.ref in bind.commissions for bind in cover.binding)
    }
    if sum(needs.values()) != sum(bind.need_mg for bind in cover.binding):
        yield f"{needs} are forced, and {[bind.need_mg for bind in cover.binding]} is said"
    for bind in cover.binding:
        yield from _faults_of(snapshot, cover, bind)


def _faults_of(snapshot: Snapshot, cover: Cover, bind: Binding) -> Iterator[str]:
    lots = [lot for lot in snapshot.lots if lot.ref in bind.lots]
    if sum(lot.usable_mg for lot in lots) != bind.supply_mg:
        yield f"{bind.lots} do not hold {bind.supply_mg}"
    if not {lot.fibre for lot in lots} <= set(bind.fibres):
        yield f"{bind.lots} are of other fibres than {bind.fibres}"
    promises = [one for one in snapshot.commissions if one.ref in bind.commissions]
    most = sum(forced_mg(snapshot, one, set(bind.lots)) for one in promises)
    if bind.need_mg > most:
        yield f"{bind.commissions} need no more than {most}, and {bind.need_mg} is said"
    lacks = [
        lack
        for found in cover.commissions
        if found.ref in bind.commissions
        for lack in found.short
        if set(lack.fibres) <= set(bind.fibres)
    ]
    if bind.short_mg <= 0 or sum(lack.usable_mg for lack in lacks) < bind.short_mg:
        yield f"{bind.commissions} lack less of {bind.fibres} than {bind.short_mg}"
