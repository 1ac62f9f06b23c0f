"""Which lots the open makings are weighed out of: one answer for all of them.

Every making that is not over stands among the promises with all the fibre it takes, and what it
forms is taken off the commission that it is for; so no two sheets on the wall name the same
fibre. What has been weighed out already is off its lot, though the store has not moved yet.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from math import ceil

from django.db.models import Prefetch

from fibres.calc import moisture as wet
from fibres.models import Fibre, FurnishPart, Lot
from orders import snapshot
from orders.allocated import allocated
from orders.calc.cover import Answer
from orders.calc.forming import GRAMS_A_LITRE, Forming, charged_at, form
from orders.calc.planrows import Part, PlanLot, Promise, Snapshot
from orders.calc.taken import Taken, taken_from
from orders.calc.weighed import recipe_of, still_to_weigh
from orders.makings.atthevat import usable_by_fibre
from orders.makings.forming import Shrinkages, to_form
from orders.models import Issue, Making
from studio.errors import StudioError
from studio.models import Studio

# Served when every promise has been: a making for the studio itself waits for the others.
LAST = 10**6
# The step in which shares are kept.
SHARE_STEP = Decimal("0.000001")


def open_makings() -> Iterable[Making]:
    """Return the makings that are not over, with all that they are made with."""
    return (
        Making.objects.filter(state__in=Making.OPEN)
        .select_related("sheet__mould", "sheet__furnish", "commission", "mould", "vat", "dryer")
        .prefetch_related("commission__only_lots")
        .order_by("planned_on", "pk")
    )


def consistency_of(making: Making) -> Decimal:
    """Return the share of fibre in the vat that the making sheet charges it to.

    It is what was said for the making, else what the draw of its mould asks for, else the usual.
    """
    charged = charged_at(to_form(making, Studio.current(), snapshot.read_shrinkages()))
    share: Decimal = charged.to("g/L").magnitude / GRAMS_A_LITRE
    # As it is kept, and as it can be typed in percent.
    return share.quantize(SHARE_STEP)


@dataclass(frozen=True, slots=True)
class Made:
    """The parts of a furnish, and the fibres that may go into it."""

    parts: tuple[Part, ...]
    fibres: tuple[Fibre, ...]

    @property
    def preparation_days(self) -> int:
        """Days before the vat on which the slowest of them has to be begun."""
        return max((fibre.preparation_days for fibre in self.fibres), default=0)


def furnishes(keys: Iterable[int]) -> dict[int, Made]:
    """Return what furnishes are made of."""
    rows = (
        FurnishPart.objects.filter(furnish__in=set(keys))
        .select_related("fibre")
        .prefetch_related(Prefetch("substitutes", Fibre.objects.order_by("name")))
        .order_by("-share", "pk")
    )
    found: dict[int, Made] = {}
    for row in rows:
        group = (row.fibre, *row.substitutes.all())
        least, most = row.limits
        part = Part(tuple(fibre.name for fibre in group), least, row.share, most)
        before = found.get(row.furnish_id, Made((), ()))
        found[row.furnish_id] = Made((*before.parts, part), (*before.fibres, *group))
    return found


@dataclass(frozen=True, slots=True)
class Drawing:
    """What the lots give to one making: its forming, what was weighed, and what is to come.

    ``taken`` is what promises lack because of it.
    """

    forming: Forming
    made: Made
    issues: tuple[Issue, ...]
    answer: Answer | None
    taken: tuple[Taken, ...] = ()


def drawing_for(making: Making, today: date) -> Drawing:
    """Return what one making takes out of which lots, with all other makings and promises.

    Of one that is over it is what was weighed out for it.
    """
    studio, shrinkages = Studio.current(), snapshot.read_shrinkages()
    others = open_makings() if making.is_open else ()
    # In one order whichever sheet is asked for: all of them have to be given the same answer.
    makings = sorted(
        [making, *(one for one in others if one.pk != making.pk)],
        key=lambda one: (one.planned_on, one.pk),
    )
    made = furnishes(one.sheet.furnish_id for one in makings)
    issues = _issues(makings)
    own = _own_of(making, made)
    formed = {making.pk: form(to_form(making, studio, shrinkages))}
    weighed = tuple(issues.get(making.pk, ()))
    if not making.is_open:
        return Drawing(formed[making.pk], own, weighed, None)
    for one in makings:
        # Another that cannot be reckoned holds nothing; its own sheet says why.
        is_other = one.pk != making.pk and one.sheet.furnish_id in made
        if is_other and (found := _formed(one, studio, shrinkages)):
            formed[one.pk] = found
    shot = snapshot.read(today, with_runs=False)
    reckoned = [one for one in makings if one.pk in formed]
    found = allocated(_with_makings(shot, reckoned, formed, made, issues))
    rest = [one for one in reckoned if one.pk != making.pk]
    without = allocated(_with_makings(_put_back(shot, weighed), rest, formed, made, issues))
    own_ref = making.commission.ref if making.commission else ""
    promised = {promise.ref for promise in shot.commissions} - {own_ref}
    return Drawing(
        forming=formed[making.pk],
        made=own,
        issues=weighed,
        answer=found.of(_ref(making)),
        taken=taken_from(promised, before=without, after=found),
    )


def _own_of(making: Making, made: Mapping[int, Made]) -> Made:
    own = made.get(making.sheet.furnish_id)
    if own is None:
        raise StudioError(
            f"The furnish of {making.sheet.name} has no fibre yet. Give it its fibres and their "
            "shares.",
            field="furnish",
        )
    return own


def _formed(making: Making, studio: Studio, shrinkages: Shrinkages) -> Forming | None:
    try:
        return form(to_form(making, studio, shrinkages))
    except StudioError:
        return None


def _ref(making: Making) -> str:
    """Return how it is called among the promises: before what is left of its commission."""
    return f"{making.commission.ref} {making.ref}" if making.commission else making.ref


def _issues(makings: Iterable[Making]) -> dict[int, list[Issue]]:
    rows = (
        Issue.objects.filter(making__in=[making.pk for making in makings])
        .select_related("lot__fibre", "making")
        .order_by("pk")
    )
    found: dict[int, list[Issue]] = {}
    for issue in rows:
        found.setdefault(issue.making_id, []).append(issue)
    return found


def _with_makings(
    shot: Snapshot,
    makings: list[Making],
    formed: Mapping[int, Forming],
    made: Mapping[int, Made],
    issues: Mapping[int, list[Issue]],
) -> Snapshot:
    """Set the makings among the promises, in place of what they form of their commissions."""
    forms: dict[str, int] = {}
    promised: list[Promise] = []
    known = {promise.ref for promise in shot.commissions}
    weighed = usable_by_fibre(issue for rows in issues.values() for issue in rows)
    for making in makings:
        forming = formed[making.pk]
        if making.commission is not None:
            ref = making.commission.ref
            forms[ref] = forms.get(ref, 0) + ceil(forming.order_mg)
        own = made[making.sheet.furnish_id]
        still = still_to_weigh(own.parts, forming.total_mg, weighed.get(making.pk, {}))
        need, recipe = recipe_of(own.parts, still)
        if need:
            is_promised = making.commission is not None and making.commission.ref in known
            rest = replace(own, parts=recipe)
            promised.append(_promise(making, forming, rest, need, is_promised=is_promised))
    rest = (_less(promise, forms.get(promise.ref, 0)) for promise in shot.commissions)
    return replace(
        shot,
        commissions=(*promised, *(promise for promise in rest if promise.need_mg > 0)),
    )


def _promise(
    making: Making, forming: Forming, made: Made, need_mg: int, *, is_promised: bool
) -> Promise:
    """Return what a making still takes; one that nobody waits for is served last."""
    commission, spec = making.commission, forming.asked.spec
    lots = [lot.ref for lot in commission.only_lots.all()] if commission else []
    return Promise(
        ref=_ref(making),
        priority=commission.priority if commission and is_promised else LAST,
        due=commission.due if commission else making.planned_on,
        wanted=making.wanted_good,
        need_mg=need_mg,
        safe_need_mg=need_mg,
        pull_mg=ceil(spec.drawn_per_pull_mg),
        furnish=made.parts,
        sheets_per_pull=spec.at_least_one_per_pull(),
        good_share=Decimal(1) - spec.broke - spec.retree,
        excludes=frozenset({"scrap"}) if commission and commission.no_scrap else frozenset(),
        only_lots=frozenset(lots) or None,
        needed_on=making.planned_on - timedelta(days=made.preparation_days),
    )


def _less(promise: Promise, formed_mg: int) -> Promise:
    """Return a promise without what its makings form; they are served before the rest of it."""
    if not formed_mg:
        return promise
    need = max(promise.need_mg - formed_mg, 0)
    return replace(
        promise,
        ref=f"{promise.ref} ~",
        need_mg=need,
        safe_need_mg=max(promise.safe_need_mg - formed_mg, need),
    )


def _put_back(shot: Snapshot, issues: Iterable[Issue]) -> Snapshot:
    """Return a snapshot in which what was weighed out lies in its lots again."""
    lots = {lot.ref: lot for lot in shot.lots}
    for issue in issues:
        lot, dry = issue.lot, issue.oven_dry_mg
        found = lots.get(lot.ref) or PlanLot(
            ref=lot.ref,
            fibre=lot.fibre.name,
            usable_mg=0,
            oven_dry_mg=0,
            as_is_mg=0,
            usable_from=lot.received_on,
            until=lot.keep_until,
            marks=frozenset(lot.fibre.marks),
        )
        lots[lot.ref] = replace(
            found,
            usable_mg=found.usable_mg + wet.usable_mg(dry, lot.yield_now),
            oven_dry_mg=found.oven_dry_mg + dry,
            as_is_mg=found.as_is_mg + wet.as_is_mg(dry, lot.moisture),
        )
    return replace(shot, lots=tuple(lots.values()))


def places_of(refs: Iterable[str]) -> dict[str, Lot]:
    """Return lots by their reference, with where they lie and how wet they are."""
    return {lot.ref: lot for lot in Lot.objects.filter(ref__in=set(refs))}
