"""The three everyday questions, answered in sentences from what is in the database."""

from __future__ import annotations

from collections import Counter
from datetime import date
from functools import partial

from fibres import offshelf
from fibres.calc import moisture as wet
from fibres.models import Lot
from orders import services, sheetsinhand, snapshot, wording, workings
from orders.calc.cover import Cover
from orders.calc.spec import SheetSpec
from orders.models import Commission, Sheet
from studio.models import Studio
from studio.money import show_money
from studio.units import System, show_mass


def does_it_cover(today: date) -> list[str]:
    """Say how the promises stand, one by one, and fibre by fibre where one falls short."""
    cover = services.cover(today)
    titles = dict(
        Commission.objects.filter(
            ref__in=[answer.ref for answer in cover.commissions]
        ).values_list("ref", "title")
    )
    system = Studio.current().units
    lines = [wording.lede(cover, system, made=sheetsinhand.all_made())]
    for answer in cover.commissions:
        due = wording.day(answer.due, today)
        lines.append(
            f"{answer.ref}, {answer.wanted} good sheets, {titles[answer.ref]}, due {due}: "
            f"{wording.finding(answer, today, system)}"
        )
    return [*lines, *_by_fibre(cover, system)]


def _by_fibre(cover: Cover, system: System) -> list[str]:
    """Set what is needed beside what is there, for the fibres that are promised."""
    needed: Counter[str] = Counter()
    short: Counter[str] = Counter()
    for answer in cover.commissions:
        for plan in services.plan_by_fibre(answer):
            needed[plan.fibre] += plan.needs_mg
            short[plan.fibre] += plan.short_mg
    held: Counter[str] = Counter()
    rows = Lot.objects.filter(fibre__name__in=list(needed), oven_dry_mg__gt=0)
    out = offshelf.weighed_out(rows.values_list("pk", flat=True))
    for pk, name, mass in rows.values_list("pk", "fibre__name", "oven_dry_mg"):
        held[name] += mass - sum(out.get(pk, {}).values())
    mass = partial(_kg, system=system)
    lines = [
        f"{name}: {mass(needed[name])} promised, {mass(held[name])} in store"
        + (f", {mass(short[name])} short." if short[name] else ".")
        for name in needed
    ]
    if len(needed) > 1:
        lines.append(
            f"In all {mass(needed.total())} oven-dry is promised and {mass(held.total())} of "
            "these fibres is in store."
        )
    return lines


def what_it_costs(commission: Commission, today: date) -> list[str]:
    """Say what a good sheet of a commission costs, of what, and the price that follows."""
    cover, answer = services.cover_of(commission, today)
    picks = answer.picks if answer else ()
    found = services.cost_of(commission, picks=picks, cover=cover)

    def money(minor: object) -> str:
        return show_money(minor, found.currency)  # type: ignore[arg-type]

    parts = [
        f"{part.label.lower()} {money(part.minor_per_sheet)}"
        for part in found.parts
        if part.minor_per_sheet
    ]
    lines = [
        f"A good sheet of {commission.ref} costs {money(found.total_minor_per_sheet)} when "
        f"{found.quantity} are made: {', '.join(parts)}.",
        f"With {found.rate_words}, its price is {money(found.price_minor_per_sheet)}, and all "
        f"{found.quantity} come to {money(found.price_total_minor)}.",
    ]
    if found.missing:
        lines.append(f"No price is known for {' and '.join(found.missing)}: counted as nothing.")
    return lines


def what_scrap_makes(sheet: Sheet) -> list[str]:
    """Say what scrap is in store, from whom, and how many good sheets each lot makes."""
    studio = Studio.current()
    spec = snapshot.spec_of(sheet, studio, snapshot.read_shrinkages())
    lots = (
        Lot.objects.filter(fibre__is_scrap=True, oven_dry_mg__gt=0)
        .select_related("fibre", "source")
        .order_by("received_on", "pk")
    )
    lines = [_scrap_line(lot, sheet, spec, studio.units) for lot in lots]
    return lines or ["No scrap is in store."]


def _scrap_line(lot: Lot, sheet: Sheet, spec: SheetSpec, system: System) -> str:
    usable_mg = wet.usable_mg(lot.oven_dry_mg, lot.yield_now)
    came, left, usable = (
        show_mass(mass, system=system) for mass in (lot.as_is_mg, lot.oven_dry_mg, usable_mg)
    )
    return (
        f"{lot.ref}, {lot.fibre.name.lower()} from {lot.source.name}: {came} came in, {left} "
        f"oven-dry is left, and {usable} of it is usable. It makes about "
        f"{workings.good_sheets(spec, usable_mg)} good sheets of {sheet.name}."
    )


def _kg(mass_mg: int, system: System) -> str:
    """Word a mass to the gram; 0 has a unit too."""
    if system == "US":
        return show_mass(mass_mg, system=system)
    return show_mass(mass_mg, unit="kg", places=3)
