"""The three everyday questions, answered in sentences from what is in the database."""

from __future__ import annotations

from collections import Counter
from datetime import date
from fractions import Fraction

from fibres.calc import moisture as wet
from fibres.models import Lot
from orders import services, snapshot, wording
from orders.calc.cover import Cover
from orders.calc.sheets import pulls_possible, sheets_per_pull
from orders.calc.spec import SheetSpec
from orders.models import Commission, Sheet
from studio.models import Studio
from studio.money import show_money
from studio.units import show_mass, show_share


def does_it_cover(today: date) -> list[str]:
    """Say how the promises stand, one by one, and fibre by fibre where one falls short."""
    cover = services.cover(today)
    titles = dict(
        Commission.objects.filter(
            ref__in=[answer.ref for answer in cover.commissions]
        ).values_list("ref", "title")
    )
    lines = [wording.lede(cover)]
    for answer in cover.commissions:
        due = wording.day(answer.due, today)
        lines.append(
            f"{answer.ref}, {answer.wanted} good sheets, {titles[answer.ref]}, due {due}: "
            f"{wording.finding(answer, today)}"
        )
    return [*lines, *_by_fibre(cover)]


def _by_fibre(cover: Cover) -> list[str]:
    """Set what is needed beside what is there, for the fibres that are promised."""
    needed: Counter[str] = Counter()
    short: Counter[str] = Counter()
    for answer in cover.commissions:
        for plan in services.plan_by_fibre(answer):
            needed[plan.fibre] += plan.needs_mg
            short[plan.fibre] += plan.short_mg
    held: Counter[str] = Counter()
    rows = Lot.objects.filter(fibre__name__in=list(needed), oven_dry_mg__gt=0)
    for name, mass in rows.values_list("fibre__name", "oven_dry_mg"):
        held[name] += mass
    lines = [
        f"{name}: {_kg(needed[name])} promised, {_kg(held[name])} in store"
        + (f", {_kg(short[name])} short." if short[name] else ".")
        for name in needed
    ]
    if len(needed) > 1:
        lines.append(
            f"In all {_kg(needed.total())} oven-dry is promised and {_kg(held.total())} of these "
            "fibres is in store."
        )
    return lines


def what_it_costs(commission: Commission, today: date) -> list[str]:
    """Say what a good sheet of a commission costs, of what, and the price that follows."""
    _, answer = services.cover_of(commission, today)
    found = services.cost_of(commission, picks=answer.picks if answer else ())

    def money(minor: object) -> str:
        return show_money(minor, found.currency)  # type: ignore[arg-type]

    parts = [
        f"{part.label.lower()} {money(part.minor_per_sheet)}"
        for part in found.parts
        if part.minor_per_sheet
    ]
    way = "margin kept of the price" if found.price_by == "margin" else "markup on the cost"
    lines = [
        f"A good sheet of {commission.ref} costs {money(found.total_minor_per_sheet)} when "
        f"{found.quantity} are made: {', '.join(parts)}.",
        f"With {show_share(found.price_rate)} {way}, its price is "
        f"{money(found.price_minor_per_sheet)}, and all {found.quantity} come to "
        f"{money(found.price_total_minor)}.",
    ]
    if found.missing:
        lines.append(f"No price is known for {' and '.join(found.missing)}: counted as nothing.")
    return lines


def what_scrap_makes(sheet: Sheet) -> list[str]:
    """Say what scrap is in store, from whom, and how many good sheets each lot makes."""
    spec = snapshot.spec_of(sheet, Studio.current(), snapshot.read_shrinkages())
    lots = (
        Lot.objects.filter(fibre__is_scrap=True, oven_dry_mg__gt=0)
        .select_related("fibre", "source")
        .order_by("received_on", "pk")
    )
    lines = [
        f"{lot.ref}, {lot.fibre.name.lower()} from {lot.source.name}: "
        f"{show_mass(lot.as_is_mg)} came in, {show_mass(lot.oven_dry_mg)} oven-dry is left, and "
        f"{_usable(lot)} of it is usable. It makes about {_good(lot, spec)} good sheets of "
        f"{sheet.name}."
        for lot in lots
    ]
    return lines or ["No scrap is in store."]


def _usable(lot: Lot) -> str:
    return show_mass(wet.usable_mg(lot.oven_dry_mg, lot.yield_now))


def _good(lot: Lot, spec: SheetSpec) -> int:
    """Count the good sheets of a lot on average, rounded down."""
    usable = wet.usable_mg(lot.oven_dry_mg, lot.yield_now)
    pulls = pulls_possible(usable, spec=spec)
    return int(pulls * sheets_per_pull(spec) * Fraction(spec.good_share))


def _kg(mass_mg: int) -> str:
    return show_mass(mass_mg, unit="kg", places=3)
