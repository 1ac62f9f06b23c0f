"""The making sheet as lines for a terminal, in the order of the day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from orders.calc.forming import LEARNED, SAID
from studio.units import (
    NO_BREAK_SPACE,
    System,
    show_count,
    show_grammage,
    show_mass,
    show_number,
    show_share,
    show_size,
    show_volume,
)

if TYPE_CHECKING:
    from orders.calc.makingsheet import MakingSheet

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def day_words(day: date) -> str:
    """Word a day without its year, such as Thursday 26 November."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def lines(sheet: MakingSheet, system: System) -> Iterator[str]:
    """Yield the sheet line by line."""
    yield from _head(sheet, system)
    yield from _section("Look first", list(sheet.clashes))
    yield from _section("Weigh out", _weigh(sheet, system))
    yield from _section("Soak", list(sheet.soak))
    yield from _section("Prepare", _prepare(sheet, system))
    yield from _section("Add, in this order", _doses(sheet, system))
    yield from _section("Vat", _vat(sheet, system))
    yield from _section("A sheet weighs", _trial(sheet, system))
    yield from _section("Dry", _dryer(sheet))
    yield from _section("Reckoned with", list(sheet.origin_words))
    yield from _section("Note", list(sheet.notes))
    yield from _section("Caution", list(sheet.cautions))


def _head(sheet: MakingSheet, system: System) -> Iterator[str]:
    about, asked = sheet.about, sheet.forming.asked
    yield f"Making {about.ref}, {about.title}"
    yield (
        f"{day_words(about.planned_on)} {about.planned_on.year}. "
        f"{about.sheet}, {show_size(about.size, system=system)}, "
        f"{show_grammage(about.grammage)}, of {about.furnish}."
    )
    with_what = [about.mould, about.vat, about.drying]
    yield ". ".join(word for word in with_what if word) + "."
    trial = (
        f", and {show_count(asked.trial_pulls, 'trial sheet')} first" if asked.trial_pulls else ""
    )
    yield (
        f"Form {show_count(asked.pulls, 'pull')}{trial}, to get "
        f"{show_count(about.wanted_good, 'good sheet')}."
    )


def _section(title: str, rows: list[str]) -> Iterator[str]:
    if rows:
        yield ""
        yield title
        for row in rows:
            yield f"  {row}"


def _weigh(sheet: MakingSheet, system: System) -> list[str]:
    rows = []
    for row in sheet.weigh:
        where = f", {row.place}" if row.place else ""
        coming = ", on its way" if row.is_on_its_way else ""
        coming = ", weighed out already" if row.is_done else coming
        mass = show_mass(row.as_is_mg, system=system)
        dry = show_mass(row.oven_dry_mg, system=system)
        rows.append(
            f"{mass:>12}  {row.fibre}, lot {row.lot}{where}{coming}; "
            f"{show_share(row.moisture)} moisture, {dry} oven-dry"
        )
    if len(sheet.weigh) > 1:
        dry = show_mass(sheet.oven_dry_mg, system=system)
        rows.append(f"{show_mass(sheet.as_is_mg, system=system):>12}  in all; {dry} oven-dry")
    rows += [
        f"Missing: {show_mass(lack.oven_dry_mg, system=system)} oven-dry of {lack.fibre}; no lot "
        "is left for it"
        for lack in sheet.missing
    ]
    return rows


def _prepare(sheet: MakingSheet, system: System) -> list[str]:
    forming = sheet.forming
    stuff = show_volume(forming.stuff, system=system, places=1)
    water = show_volume(sheet.water, system=system, places=1)
    fibre = show_mass(forming.total_mg, system=system)
    return [
        *sheet.load_words(system),
        f"Make it up to {stuff} of stuff at {show_share(forming.asked.thick_consistency)}: "
        f"{fibre} of fibre, {water} of water",
    ]


def _doses(sheet: MakingSheet, system: System) -> list[str]:
    return [
        f"{show_mass(dose.mass_mg, system=system):>12}  {dose.name} ({dose.kind}), "
        f"{show_share(dose.dose)} on dry fibre"
        for dose in sheet.doses
    ]


def _vat(sheet: MakingSheet, system: System) -> list[str]:
    return [*sheet.vat_words(system), *(_tally(sheet, system) if sheet.top_ups else [])]


def _tally(sheet: MakingSheet, system: System) -> list[str]:
    return [
        f"Pulls {block.first} to {block.last}"
        + (f": top up {block.scoops(system)}" if block.top_ups else "")
        for block in sheet.blocks
    ]


def _trial(sheet: MakingSheet, system: System) -> list[str]:
    trial = sheet.trial_words(system)
    return [
        f"As couched, wet: {trial.wet}, about",
        f"Dried and conditioned: {trial.dry}; keep it between {trial.least} and {trial.most}",
    ]


def _dryer(sheet: MakingSheet) -> list[str]:
    return [sheet.dryer_words] if sheet.dryer_words else []


def consistency_words(sheet: MakingSheet) -> str:
    """Return the consistency of the vat and where it comes from."""
    forming = sheet.forming
    reason = {
        SAID: "as was said for this making",
        LEARNED: "by the draw of the mould",
    }.get(forming.consistency_is, "the studio’s usual one; no draw of the mould is known")
    number = show_number(forming.consistency.magnitude, places=2)
    share = show_share(forming.consistency.magnitude / 1000, places=2)
    return f"{number}{NO_BREAK_SPACE}g/L ({share}), {reason}"
