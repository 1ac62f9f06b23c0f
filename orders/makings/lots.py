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
from fractions import Fraction
from math import ceil

from django.db.models import Prefetch

from fibres.calc import moisture as wet
from fibres.models import Fibre, FurnishPart, Lot
from orders import snapshot
from orders.calc.cover import Answer, allocate
from orders.calc.forming import GRAMS_A_LITRE, Forming, ToForm, charged_at, form
from orders.calc.planrows import Part, PlanLot, Promise, Snapshot
from orders.makings.planning import spec_of
from orders.models import Issue, Making
from studio.errors import StudioError
from studio.models import Studio
from studio.sizes import Size
from studio.units import Q, from_um

Shrinkages = dict[tuple[int, str], tuple[Decimal, Decimal]]
# Served when every promise has been: a making for the studio itself waits for the others.
LAST = 10**6
# The step in which shares are kept.
SHARE_STEP = Decimal("0.000001")
# What is still to weigh out below this share of the whole is the slip of a scale.
SLIP = Fraction(1, 100)


def open_makings() -> Iterable[Making]:
    """Return the makings that are not over, with all that they are made with."""
    return (
        Making.objects.filter(state__in=Making.OPEN)
        .select_related("sheet__mould", "sheet__furnish", "commission", "mould", "vat", "dryer")
        .prefetch_related("commission__only_lots")
        .order_by("planned_on", "pk")
    )


def to_form(making: Making, studio: Studio, shrinkages: Shrinkages) -> ToForm:
    """Return a making as the arithmetic takes it."""
    mould, vat = making.mould, making.vat
    return ToForm(
        spec=spec_of(making, studio, shrinkages),
        pulls=making.pulls,
        trial_pulls=studio.trial_pulls,
        opening=Size(mould.width_um, mould.height_um) if mould else None,
        vat=Q(vat.litres, "L") if vat else None,
        draw=from_um(mould.draw_um) if mould and mould.draw_um else None,
        consistency=making.consistency,
        usual_consistency=studio.vat_consistency,
        thick_consistency=making.thick_consistency,
        couched_solids=studio.couched_solids,
        tolerance=studio.grammage_tolerance,
        heel_mg=studio.heel_mg,
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
    """What the lots give to one making: its forming, what was weighed, and what is to come."""

    forming: Forming
    made: Made
    issues: tuple[Issue, ...]
    answer: Answer | None


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
    own = made.get(making.sheet.furnish_id)
    if own is None:
        raise StudioError(
            f"The furnish of {making.sheet.name} has no fibre yet. Give it its fibres and their "
            "shares.",
            field="furnish",
        )
    formed = {making.pk: form(to_form(making, studio, shrinkages))}
    weighed = tuple(issues.get(making.pk, ()))
    if not making.is_open:
        return Drawing(formed[making.pk], own, weighed, None)
    for one in makings:
        # Another that cannot be reckoned holds nothing; its own sheet says why.
        is_other = one.pk != making.pk and one.sheet.furnish_id in made
        if is_other and (found := _formed(one, studio, shrinkages)):
            formed[one.pk] = found
    shot = _with_makings(
        snapshot.read(today), [one for one in makings if one.pk in formed], formed, made, issues
    )
    return Drawing(
        forming=formed[making.pk],
        made=own,
        issues=weighed,
        answer=allocate(shot).of(_ref(making)),
    )


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
    for making in makings:
        forming = formed[making.pk]
        if making.commission is not None:
            ref = making.commission.ref
            forms[ref] = forms.get(ref, 0) + ceil(forming.order_mg)
        need = _still(forming, issues.get(making.pk, ()))
        if need:
            promised.append(_promise(making, forming, made[making.sheet.furnish_id], need))
    rest = (_less(promise, forms.get(promise.ref, 0)) for promise in shot.commissions)
    taken: dict[str, int] = {}
    for rows in issues.values():
        for issue in rows:
            # What is weighed out for no commission is off its lot in every snapshot already.
            if issue.making.commission_id is None:
                continue
            taken[issue.lot.ref] = taken.get(issue.lot.ref, 0) + issue.oven_dry_mg
    return replace(
        shot,
        lots=tuple(_lighter(lot, taken.get(lot.ref, 0)) for lot in shot.lots),
        commissions=(*promised, *(promise for promise in rest if promise.need_mg > 0)),
    )


def _still(forming: Forming, issues: Iterable[Issue]) -> int:
    """Return the usable fibre that is still to be weighed out."""
    weighed = sum(wet.usable_mg(issue.oven_dry_mg, issue.lot.yield_now) for issue in issues)
    still = forming.total_mg - weighed
    return still if still > forming.total_mg * SLIP else 0


def _promise(making: Making, forming: Forming, made: Made, need_mg: int) -> Promise:
    commission, spec = making.commission, forming.asked.spec
    lots = [lot.ref for lot in commission.only_lots.all()] if commission else []
    return Promise(
        ref=_ref(making),
        priority=commission.priority if commission else LAST,
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


def _lighter(lot: PlanLot, taken_mg: int) -> PlanLot:
    """Return a lot without what lies weighed out of it already, oven-dry."""
    if not taken_mg or not lot.oven_dry_mg:
        return lot
    left = max(lot.oven_dry_mg - taken_mg, 0)
    return replace(
        lot,
        oven_dry_mg=left,
        usable_mg=lot.usable_mg * left // lot.oven_dry_mg,
        as_is_mg=lot.as_is_mg * left // lot.oven_dry_mg,
    )


def places_of(refs: Iterable[str]) -> dict[str, Lot]:
    """Return lots by their reference, with where they lie and how wet they are."""
    return {lot.ref: lot for lot in Lot.objects.filter(ref__in=set(refs))}
