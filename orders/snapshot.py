"""Fill the frozen rows that planning reads, in a number of queries that does not grow."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache

from django.db.models import Prefetch, QuerySet, TextField
from django.db.models.functions import Cast

from fibres.calc.spread import Known, lot_spread, yield_spread
from fibres.models import Drying, Fibre, FurnishPart, Lot, Shrinkage
from fibres.queries import packs_to_come
from orders import sourcing
from orders.calc.plan import Part, PlanLot, Promise, Snapshot
from orders.calc.sheets import (
    SheetSpec,
    average_pulls,
    need_mg,
    pull_mg,
    safe_need_mg,
    sheets_per_pull,
)
from orders.dates import StudioDays
from orders.learning.spreads import Spreads, read_spreads
from orders.makings.standing import in_the_vat_mg
from orders.models import Commission, Sheet
from orders.sheetsinhand.holding import made_for
from studio.errors import StudioError
from studio.models import Studio
from studio.sizes import Size

MG_PER_KG = 1_000_000
# The most that a snapshot may name as a price; a milligram that cost a fortune comes to more.
DEAREST_MINOR = 10**12
NO_SHRINKAGE = (Decimal(0), Decimal(0))
WEEKS = 13
A_DAY = timedelta(days=1)


def read(
    today: date,
    *,
    with_quoted: bool = False,
    extra: Commission | None = None,
    extra_only_lots: Iterable[str] | None = None,
    with_money: bool = True,
    with_sourcing: bool = False,
    weeks: int = WEEKS,
) -> Snapshot:
    """Read lots and promises as they stand.

    ``extra`` is counted though it is not agreed yet, and in place of what is kept of it: a form
    asks with what was typed, not with what was there before. ``extra_only_lots`` are the lots
    chosen for it in the form, by reference and none for any lot; None means those that are kept.
    ``with_sourcing`` adds what can be bought over so many weeks, with its prices only if
    ``with_money``; a plan of what to buy needs them. What lots cost is always read: it decides
    which are set aside, and everybody has to be told the same lots. A commission wants the good
    sheets that are not made for it yet; one whose sheets are all made holds no fibre. What lies
    in the vat for the studio's own stock is in no lot any more.
    """
    studio = Studio.current()
    fibres = {fibre.pk: fibre for fibre in Fibre.objects.all()}
    commissions = _commissions(with_quoted=with_quoted, extra=extra)
    only_lots = _only_lots(commissions)
    if extra is not None and extra_only_lots is not None:
        only_lots[extra.pk] = frozenset(extra_only_lots)
    reckoning = _Reckoning(
        studio, StudioDays.read(studio), _furnishes(fibres), read_shrinkages(), {}
    )
    promised, left_out, made = [], [], made_for()
    for found in commissions:
        wanted = found.good_quantity - sum(made.get(found.pk, ()))
        if wanted <= 0:
            continue
        try:
            promised.append(reckoning.promise(found, wanted, only_lots.get(found.pk) or None))
        except StudioError as refusal:
            left_out.append((found.ref, str(refusal)))
    return Snapshot(
        today=today,
        currency=studio.currency,
        aims=studio.aims,
        lots=(*_lots(fibres), *_on_their_way(fibres, today)),
        commissions=tuple(promised),
        left_out=tuple(left_out),
        yields={fibre.name: fibre.preparation_yield for fibre in fibres.values()},
        yield_spread={
            fibre.name: yield_spread(fibre.yield_spread, preparation_yield=fibre.preparation_yield)
            for fibre in fibres.values()
        },
        sourcing=(
            sourcing.read(today, fibres.values(), weeks=weeks, with_money=with_money)
            if with_sourcing
            else None
        ),
    )


def needed_on(commission: Commission, *, making_days: int, preparation_days: int) -> date:
    """Return the day its fibre has to be in the store, so that there is time to make the sheets.

    What may not be made before a day needs its fibre no earlier, however little time that leaves.
    """
    day = commission.due - timedelta(days=making_days + preparation_days)
    return max(day, commission.not_before) if commission.not_before else day


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


class Shrinkages(dict[tuple[int, str], tuple[Decimal, Decimal]]):
    """Shrinkage across and along by furnish and drying, and how far good shares were learned."""

    spreads: Spreads | None = None


def read_shrinkages() -> Shrinkages:
    """Return what sheets are reckoned with beside their own figures."""
    rows = Shrinkage.objects.values_list("furnish_id", "drying", "across", "along")
    known = Shrinkages(
        ((furnish, drying), (across, along)) for furnish, drying, across, along in rows
    )
    known.spreads = read_spreads()
    return known


def spec_of(
    sheet: Sheet,
    studio: Studio,
    shrinkages: dict[tuple[int, str], tuple[Decimal, Decimal]],
) -> SheetSpec:
    """Return a sheet as the arithmetic takes it; a cut sheet needs its mould to be laid out."""
    cut = sheet.edges == Sheet.Edges.TRIMMED and sheet.mould is not None
    mould = sheet.mould
    spreads = shrinkages.spreads if isinstance(shrinkages, Shrinkages) else None
    return SheetSpec(
        size=Size(sheet.width_um, sheet.height_um),
        grammage=sheet.grammage,
        sheet_moisture=(
            studio.sheet_moisture if sheet.sheet_moisture is None else sheet.sheet_moisture
        ),
        non_fibre_share=sheet.non_fibre_share,
        retention=sheet.retention,
        broke=sheet.broke,
        retree=sheet.retree,
        assurance=studio.assurance,
        mould=Size(mould.width_um, mould.height_um) if cut and mould else None,
        shrinkage=shrinkages.get((sheet.furnish_id, Drying(sheet.drying)), NO_SHRINKAGE),
        trim_um=sheet.trim_um if cut else 0,
        learned=spreads.of(sheet) if spreads else None,
    )


def _commissions(*, with_quoted: bool, extra: Commission | None) -> list[Commission]:
    found = list(promises(with_quoted=with_quoted))
    if extra is None:
        return found
    return [*(one for one in found if one.pk != extra.pk), extra]


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


def _lots(fibres: dict[int, Fibre]) -> Iterable[PlanLot]:
    gone = in_the_vat_mg()
    rows = (
        Lot.objects.filter(oven_dry_mg__gt=0)
        .order_by("pk")
        .values_list(
            "pk", "ref", "fibre_id", "oven_dry_mg", _text("moisture"), _text("preparation_yield"),
            _text("received_on"), _text("keep_until"), "moisture_known", _text("band"),
            "paid_minor", "received_oven_dry_mg",
        )
    )  # fmt: skip
    usual = {
        key: (fibre.name, _ratio(fibre.preparation_yield), frozenset(fibre.marks))
        for key, fibre in fibres.items()
    }
    for (
        pk, ref, fibre, in_book, moisture, own_yield, received_on, until, known, band, paid,
        received,
    ) in rows:  # fmt: skip
        oven_dry = in_book - gone.get(pk, 0)
        if oven_dry <= 0:
            continue
        name, yielded, marks = usual[fibre]
        if own_yield is not None:
            yielded = _ratio(_share(own_yield))
        yield PlanLot(
            ref=ref,
            fibre=name,
            usable_mg=_part(oven_dry, yielded),
            oven_dry_mg=oven_dry,
            as_is_mg=_over(oven_dry, _dry(moisture)),
            usable_from=_day(received_on),
            until=None if until is None else _day(until),
            cost_minor_per_kg=_cost_of_usable(paid, _part(received, yielded)),
            marks=marks,
            spread=_spread(moisture, known, band),
        )


def _on_their_way(fibres: dict[int, Fibre], today: date) -> Iterable[PlanLot]:
    """Return what is ordered as lots that can be used from the day they are expected.

    What should have come by now is looked for tomorrow.
    """
    for packs in packs_to_come():
        fibre = fibres[packs.fibre_id]
        usable = _part(packs.oven_dry_mg, _ratio(fibre.preparation_yield))
        yield PlanLot(
            ref=packs.ref,
            fibre=fibre.name,
            usable_mg=usable,
            oven_dry_mg=packs.oven_dry_mg,
            as_is_mg=packs.as_is_mg,
            usable_from=packs.expected_on if packs.expected_on >= today else today + A_DAY,
            cost_minor_per_kg=_cost_of_usable(packs.paid_minor, usable),
            marks=frozenset(fibre.marks),
            # The moisture agreed is what the label will say.
            spread=lot_spread(packs.moisture, known="label", band=Decimal(0)),
        )


# A store of ten thousand lots has few different shares and days: they are read as they are
# written, what each comes to is kept, and lots are reckoned in whole numbers alone, as exactly as
# fibres.calc.moisture does with fractions.
Ratio = tuple[int, int]
_day = lru_cache(maxsize=100_000)(date.fromisoformat)
_share = lru_cache(maxsize=100_000)(Decimal)


def _text(field: str) -> Cast:
    return Cast(field, TextField())


@lru_cache(maxsize=100_000)
def _spread(moisture: str, known: Known, band: str) -> Decimal:
    return lot_spread(Decimal(moisture), known=known, band=Decimal(band))


@lru_cache(maxsize=100_000)
def _ratio(share: Decimal) -> Ratio:
    return share.as_integer_ratio()


@lru_cache(maxsize=100_000)
def _dry(moisture: str) -> Ratio:
    """Return the share of a lot that is not water."""
    return (1 - Decimal(moisture)).as_integer_ratio()


def _part(mass_mg: int, share: Ratio) -> int:
    """Return a share of a mass, rounded down."""
    return mass_mg * share[0] // share[1]


def _over(mass_mg: int, share: Ratio) -> int:
    """Return a mass over a share, rounded half-even."""
    whole, rest = divmod(mass_mg * share[1], share[0])
    return whole + (2 * rest > share[0] or (2 * rest == share[0] and whole % 2))


def _cost_of_usable(paid_minor: int | None, usable_mg: int) -> int:
    """Return what a usable kilogram cost, rounded half-even; 0 where that is not known."""
    if not paid_minor or not usable_mg:
        return 0
    return min(_over(paid_minor * MG_PER_KG, (usable_mg, 1)), DEAREST_MINOR)


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

    def promise(
        self, commission: Commission, wanted: int, only_lots: frozenset[str] | None
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
            needed_on=needed_on(
                commission,
                making_days=self.days.days(commission.sheet, pulls),
                preparation_days=made.preparation_days,
            ),
        )

    def _spec(self, sheet: Sheet) -> SheetSpec:
        """Return a sheet as the arithmetic takes it; one that is typed is not kept in mind."""
        if sheet.pk is None:
            return spec_of(sheet, self.studio, self.shrinkages)
        if sheet.pk not in self.specs:
            self.specs[sheet.pk] = spec_of(sheet, self.studio, self.shrinkages)
        return self.specs[sheet.pk]
