"""Fill the frozen rows that planning reads, in a number of queries that does not grow."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import lru_cache

from django.db.models import Prefetch, QuerySet

from fibres.calc.spread import yield_spread
from fibres.models import Fibre, FurnishPart
from orders import planlots, sourcing
from orders.calc.plan import Part, Promise, Snapshot
from orders.calc.sheets import (
    SheetSpec,
    average_pulls,
    need_mg,
    pull_mg,
    safe_need_mg,
    sheets_per_pull,
)
from orders.calc.weighed import Run, after_weighing
from orders.dates import StudioDays, Turns
from orders.makings import atthevat
from orders.models import Commission, Sheet
from orders.sheetsinhand.holding import made_for
from orders.specs import read_shrinkages, spec_of
from studio.errors import StudioError
from studio.models import Studio

WEEKS = 13


def read(
    today: date,
    *,
    with_quoted: bool = False,
    extra: Commission | None = None,
    extra_only_lots: Iterable[str] | None = None,
    with_money: bool = True,
    with_sourcing: bool = False,
    weeks: int = WEEKS,
    with_runs: bool = True,
    takes_a_turn: bool = True,
) -> Snapshot:
    """Read lots and promises as they stand.

    ``extra`` is counted though it is not agreed yet, and in place of what is kept of it: a form
    asks with what was typed, not with what was there before. ``extra_only_lots`` are the lots
    chosen for it in the form, by reference and none for any lot; None means those that are kept.
    ``with_sourcing`` adds what can be bought over so many weeks, with its prices only if
    ``with_money``; a plan of what to buy needs them. What lots cost is always read: it decides
    which are set aside, and everybody has to be told the same lots. A commission wants the good
    sheets that are not made for it yet; one whose sheets are all made holds no fibre.

    What is weighed out for an open making is in no lot any more, whatever it is made for; a
    promise asks for what its runs at the vat still take, and for what no run forms. Without
    ``with_runs`` promises stand whole: who sets the makings among them takes it off himself.

    The day a promise needs its fibre leaves time for all that dry the same way, one after
    another; ``extra`` is one of them, unless it ``takes_a_turn`` of no length that is known.
    """
    return read_with_turns(
        today,
        with_quoted=with_quoted,
        extra=extra,
        extra_only_lots=extra_only_lots,
        with_money=with_money,
        with_sourcing=with_sourcing,
        weeks=weeks,
        with_runs=with_runs,
        takes_a_turn=takes_a_turn,
    )[0]


def read_with_turns(
    today: date,
    *,
    with_quoted: bool = False,
    extra: Commission | None = None,
    extra_only_lots: Iterable[str] | None = None,
    with_money: bool = True,
    with_sourcing: bool = False,
    weeks: int = WEEKS,
    with_runs: bool = True,
    takes_a_turn: bool = True,
) -> tuple[Snapshot, Turns]:
    """Read lots and promises as :func:`read` does, and the turns of the promises in the dryers."""
    studio = Studio.current()
    fibres = {fibre.pk: fibre for fibre in Fibre.objects.all()}
    shrinkages = read_shrinkages()
    vat = atthevat.read(studio, shrinkages)
    reckoning = _Reckoning(
        studio, StudioDays.read(studio), _furnishes(fibres), shrinkages, {}, vat.runs
    )
    promised, left_out, turns = reckoning.promises(
        _commissions(with_quoted=with_quoted, extra=extra),
        {} if extra is None or extra_only_lots is None else {extra.pk: frozenset(extra_only_lots)},
        with_runs=with_runs,
        alone="" if takes_a_turn or extra is None else extra.ref,
    )
    shot = Snapshot(
        today=today,
        currency=studio.currency,
        aims=studio.aims,
        lots=(*planlots.held(fibres, vat.gone_mg), *planlots.on_their_way(fibres, today)),
        commissions=promised,
        left_out=left_out,
        yields={fibre.name: fibre.preparation_yield for fibre in fibres.values()},
        yield_spread=_yield_spreads(fibres.values()),
        sourcing=(
            sourcing.read(today, fibres.values(), weeks=weeks, with_money=with_money)
            if with_sourcing
            else None
        ),
    )
    return shot, turns


def _yield_spreads(fibres: Iterable[Fibre]) -> dict[str, Decimal]:
    return {
        fibre.name: yield_spread(fibre.yield_spread, preparation_yield=fibre.preparation_yield)
        for fibre in fibres
    }


def promises(*, with_quoted: bool = False) -> QuerySet[Commission]:
    """Return the commissions that the store is held for, in order of rank.

    Many are for the same sheet, which is read once for all of them.
    """
    states = [*Commission.PROMISES, *([Commission.State.QUOTED] if with_quoted else [])]
    return (
        Commission.objects.filter(state__in=states)
        .prefetch_related(Prefetch("sheet", Sheet.objects.select_related("mould")))
        .order_by("priority", "due", "ref")
    )


def _commissions(*, with_quoted: bool, extra: Commission | None) -> list[Commission]:
    found = list(promises(with_quoted=with_quoted))
    if extra is None:
        return found
    # In its place, so that a promise asks for itself what everybody else asks for it.
    if any(one.pk == extra.pk for one in found):
        return [extra if one.pk == extra.pk else one for one in found]
    return [*found, extra]


def _only_lots(commissions: Iterable[Commission]) -> dict[int | None, frozenset[str]]:
    """Return the lots that each commission is limited to, where it is limited, in one query."""
    known = {commission.pk for commission in commissions}
    rows = Commission.only_lots.through.objects.filter(
        commission__state__in=Commission.OPEN
    ).values_list("commission_id", "lot__ref")
    found: dict[int | None, set[str]] = {}
    for commission, ref in rows:
        if commission in known:
            found.setdefault(commission, set()).add(ref)
    return {commission: frozenset(refs) for commission, refs in found.items()}


@dataclass(frozen=True, slots=True)
class _Made:
    """What a furnish is made of, and how many days its fibres take to prepare."""

    parts: tuple[Part, ...] = ()
    preparation_days: int = 0


def _furnishes(fibres: dict[int, Fibre]) -> dict[int, _Made]:
    names = FurnishPart.substitutes.through.objects.order_by("fibre__name").values_list(
        "furnishpart_id", "fibre_id"
    )
    stand_ins: dict[int, list[str]] = {}
    for part, fibre in names:
        stand_ins.setdefault(part, []).append(fibres[fibre].name)
    found: dict[int, list[Part]] = {}
    days: dict[int, int] = {}
    for part in FurnishPart.objects.order_by("-share", "pk"):
        fibre, (least, most) = fibres[part.fibre_id], part.limits
        group = (fibre.name, *stand_ins.get(part.pk, ()))
        found.setdefault(part.furnish_id, []).append(Part(group, least, part.share, most))
        days[part.furnish_id] = max(days.get(part.furnish_id, 0), fibre.preparation_days)
    return {furnish: _Made(tuple(parts), days[furnish]) for furnish, parts in found.items()}


def _timed(promise: Promise, turns: Turns) -> Promise:
    """Return a promise with the day it needs its fibre, once all turns are known."""
    is_held = turns.latest[promise.ref].beside
    return replace(
        promise,
        needed_on=turns.needed_on(promise.ref),
        making_days=turns.days_alone(promise.ref) if is_held else None,
    )


@lru_cache(maxsize=10_000)
def _needs(spec: SheetSpec, wanted: int) -> tuple[int, int, int, int]:
    """Return average need, safe need and fibre of a pull, and the pulls on average.

    The same sheet is asked for often, so what it comes to is kept.
    """
    need = need_mg(spec, wanted)
    pulls = average_pulls(spec, wanted)
    return need, max(need, safe_need_mg(spec, wanted)), pull_mg(spec), pulls


@dataclass(frozen=True, slots=True)
class _Reckoning:
    """What commissions are reckoned with; a sheet that many ask for is worked out once."""

    studio: Studio
    days: StudioDays
    furnishes: dict[int, _Made]
    shrinkages: dict[tuple[int, str], tuple[Decimal, Decimal]]
    specs: dict[int, SheetSpec]
    runs: dict[int, list[Run]]

    def promises(
        self,
        commissions: list[Commission],
        chosen: Mapping[int | None, frozenset[str]],
        *,
        with_runs: bool,
        alone: str,
    ) -> tuple[tuple[Promise, ...], tuple[tuple[str, str], ...], Turns]:
        """Return the promises, those that cannot be reckoned with the reason, and their turns.

        ``chosen`` are only lots in place of those that are kept; who is called ``alone`` has the
        dryers to itself.
        """
        only_lots = {**_only_lots(commissions), **chosen}
        made = made_for()
        turns = Turns(self.days.places)
        found: list[tuple[Promise, Turns]] = []
        left_out = []
        for one in commissions:
            wanted = one.good_quantity - sum(made.get(one.pk, ()))
            if wanted <= 0:
                continue
            own = Turns(self.days.places) if one.ref == alone else turns
            try:
                promise = self.promise(one, wanted, only_lots.get(one.pk) or None, own)
            except StudioError as refusal:
                left_out.append((one.ref, str(refusal)))
                continue
            runs = self.runs.get(one.pk, ()) if with_runs else ()
            found.append((after_weighing(promise, runs), own))
        return tuple(_timed(*pair) for pair in found), tuple(left_out), turns

    def promise(
        self,
        commission: Commission,
        wanted: int,
        only_lots: frozenset[str] | None,
        turns: Turns,
    ) -> Promise:
        made = self.furnishes.get(commission.sheet.furnish_id)
        spec = self._spec(commission.sheet)
        if made is None:
            raise StudioError(
                f"The furnish of {commission.sheet.name} has no fibre yet. Give it its fibres and "
                "their shares.",
                field="furnish",
            )
        need, safe, pull, pulls = _needs(spec, wanted)
        turns.add(
            self.days.turn(commission, pulls),
            soaking=made.preparation_days,
            not_before=commission.not_before,
        )
        return Promise(
            ref=commission.ref,
            priority=commission.priority,
            due=commission.due,
            wanted=wanted,
            need_mg=need,
            safe_need_mg=safe,
            pull_mg=pull,
            furnish=made.parts,
            sheets_per_pull=sheets_per_pull(spec),
            good_share=1 - spec.broke - spec.retree,
            learned=spec.learned,
            excludes=frozenset({"scrap"}) if commission.no_scrap else frozenset(),
            only_lots=only_lots,
            all_or_nothing=commission.all_or_nothing,
        )

    def _spec(self, sheet: Sheet) -> SheetSpec:
        """Return a sheet as the arithmetic takes it; one that is typed is not kept in mind."""
        if sheet.pk is None:
            return spec_of(sheet, self.studio, self.shrinkages)
        if sheet.pk not in self.specs:
            self.specs[sheet.pk] = spec_of(sheet, self.studio, self.shrinkages)
        return self.specs[sheet.pk]
