"""Fill the frozen rows that planning reads, in a number of queries that does not grow."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from django.db.models import QuerySet

from fibres.calc import moisture as wet
from fibres.models import Drying, Fibre, FurnishPart, Lot, Shrinkage
from orders.calc.plan import Part, PlanLot, Promise, Snapshot
from orders.calc.sheets import SheetSpec, need_mg, pull_mg, safe_need_mg, sheets_per_pull
from orders.models import Commission, Sheet
from studio.errors import StudioError
from studio.models import Studio
from studio.sizes import Size

MG_PER_KG = 1_000_000
NO_SHRINKAGE = (Decimal(0), Decimal(0))


def read(
    today: date,
    *,
    with_quoted: bool = False,
    extra: Commission | None = None,
    with_money: bool = True,
) -> Snapshot:
    """Read lots and promises as they stand; without money, what lots cost is not even read.

    ``extra`` is counted though it is not agreed yet, and in place of what is kept of it: a form
    asks with what was typed, not with what was there before.
    """
    studio = Studio.current()
    fibres = {fibre.pk: fibre for fibre in Fibre.objects.all()}
    furnishes = _furnishes(fibres)
    shrinkages = read_shrinkages()
    commissions = list(promises(with_quoted=with_quoted))
    if extra is not None:
        commissions = [found for found in commissions if found.pk != extra.pk]
        commissions.append(extra)
    reckoned, left_out = [], []
    for found in commissions:
        try:
            spec = spec_of(found.sheet, studio, shrinkages)
            reckoned.append(_promise(found, furnishes, spec))
        except StudioError as refusal:
            left_out.append((found.ref, str(refusal)))
    return Snapshot(
        today=today,
        currency=studio.currency,
        lots=tuple(_lots(fibres, with_money=with_money)),
        commissions=tuple(reckoned),
        left_out=tuple(left_out),
        yields={fibre.name: fibre.preparation_yield for fibre in fibres.values()},
    )


def promises(*, with_quoted: bool = False) -> QuerySet[Commission]:
    """Return the commissions that the store is held for, in order of rank."""
    states = [*Commission.PROMISES, *([Commission.State.QUOTED] if with_quoted else [])]
    return (
        Commission.objects.filter(state__in=states)
        .select_related("sheet__mould", "sheet__furnish")
        .order_by("priority", "due", "ref")
    )


def read_shrinkages() -> dict[tuple[int, str], tuple[Decimal, Decimal]]:
    """Return shrinkage across and along by furnish and drying."""
    rows = Shrinkage.objects.values_list("furnish_id", "drying", "across", "along")
    return {(furnish, drying): (across, along) for furnish, drying, across, along in rows}


def spec_of(
    sheet: Sheet,
    studio: Studio,
    shrinkages: dict[tuple[int, str], tuple[Decimal, Decimal]],
) -> SheetSpec:
    """Return a sheet as the arithmetic takes it; a cut sheet needs its mould to be laid out."""
    cut = sheet.edges == Sheet.Edges.TRIMMED and sheet.mould is not None
    mould = sheet.mould
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
    )


def _lots(fibres: dict[int, Fibre], *, with_money: bool) -> Iterable[PlanLot]:
    money = ("paid_minor", "received_oven_dry_mg") if with_money else ()
    rows = (
        Lot.objects.filter(oven_dry_mg__gt=0)
        .order_by("pk")
        .values_list(
            "ref", "fibre_id", "oven_dry_mg", "moisture", "preparation_yield", "received_on",
            "keep_until", *money,
        )
    )  # fmt: skip
    marks = {pk: frozenset(fibre.marks) for pk, fibre in fibres.items()}
    for ref, fibre_id, oven_dry, moisture, own_yield, received_on, until, *paid in rows:
        share = fibres[fibre_id].preparation_yield if own_yield is None else own_yield
        usable = wet.usable_mg(oven_dry, share)
        yield PlanLot(
            ref=ref,
            fibre=fibres[fibre_id].name,
            usable_mg=usable,
            oven_dry_mg=oven_dry,
            as_is_mg=wet.as_is_mg(oven_dry, moisture),
            usable_from=received_on,
            until=until,
            cost_minor_per_kg=_cost_of_usable(*paid, share) if paid else 0,
            marks=marks[fibre_id],
        )


def _cost_of_usable(paid_minor: int | None, received_oven_dry_mg: int, share: Decimal) -> int:
    """Return what a usable kilogram of a lot cost; 0 where that is not known."""
    usable_mg = wet.usable_mg(received_oven_dry_mg, share)
    return round(Fraction(paid_minor * MG_PER_KG, usable_mg)) if paid_minor and usable_mg else 0


def _furnishes(fibres: dict[int, Fibre]) -> dict[int, tuple[Part, ...]]:
    found: dict[int, list[Part]] = {}
    rows = FurnishPart.objects.order_by("-share", "pk").values_list(
        "furnish_id", "fibre_id", "share"
    )
    for furnish, fibre, share in rows:
        found.setdefault(furnish, []).append(Part((fibres[fibre].name,), share, share, share))
    return {furnish: tuple(parts) for furnish, parts in found.items()}


@lru_cache(maxsize=10_000)
def _needs(spec: SheetSpec, wanted: int) -> tuple[int, int, int]:
    """Return average need, safe need and fibre of a pull; the same sheet is asked for often."""
    need = need_mg(spec, wanted)
    return need, max(need, safe_need_mg(spec, wanted)), pull_mg(spec)


def _promise(
    commission: Commission, furnishes: dict[int, tuple[Part, ...]], spec: SheetSpec
) -> Promise:
    furnish = furnishes.get(commission.sheet.furnish_id)
    if not furnish:
        raise StudioError(
            f"The furnish of {commission.sheet.name} has no fibre yet. Give it its fibres and "
            "their shares.",
            field="furnish",
        )
    need, safe, pull = _needs(spec, commission.good_quantity)
    return Promise(
        ref=commission.ref,
        priority=commission.priority,
        due=commission.due,
        wanted=commission.good_quantity,
        need_mg=need,
        safe_need_mg=safe,
        pull_mg=pull,
        furnish=furnish,
        sheets_per_pull=sheets_per_pull(spec),
        good_share=1 - spec.broke - spec.retree,
        excludes=frozenset({"scrap"}) if commission.no_scrap else frozenset(),
    )
