"""The sentences about cover, the same on a page and in the terminal."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from fibres.models import Fibre
from orders.calc.cover import COVERED, JUST_COVERED, LATER, Answer, Cover
from studio.units import System, show_mass

MG_PER_KG = 1_000_000
# State of an answer: the mark on the page, and its word.
MARKS = {COVERED: ("covered", "Covered"), JUST_COVERED: ("near", "Just covered")}


def day(value: date, today: date) -> str:
    """Word a day; the year only where it is not this one."""
    year = f" {value.year}" if value.year != today.year else ""
    return f"{value:%a} {value.day} {value:%b}{year}"


def mark_of(answer: Answer, today: date) -> tuple[str, str]:
    """Return the mark and the word for the state of an answer."""
    if answer.state == LATER and answer.ready_on:
        return "order", f"Covered from {day(answer.ready_on, today)}"
    return MARKS.get(answer.state, ("short", "Short"))


def exact(mass_mg: int, system: System) -> str:
    """Word a mass to the gram: what is missing is often little."""
    is_large = system == "metric" and mass_mg >= MG_PER_KG
    return show_mass(mass_mg, system=system, places=3 if is_large else None)


def lacks(answer: Answer, system: System = "metric") -> str:
    """Say what is missing: the fibre and the oven-dry mass of each."""
    said = [
        f"{exact(lack.oven_dry_mg, system)} oven-dry of {' or '.join(lack.fibres)}"
        for lack in answer.short
    ]
    return f"{' and '.join(said)} {'is' if len(said) == 1 else 'are'} missing"


def finding(answer: Answer, today: date, system: System = "metric") -> str:
    """Say how a commission stands, and first that it is late, if it is."""
    late = f"It was due on {day(answer.due, today)}. " if answer.due < today else ""
    return late + _how_it_stands(answer, today, system)


def _how_it_stands(answer: Answer, today: date, system: System) -> str:
    if answer.state == COVERED:
        return f"The store covers all {answer.wanted}, also at the safe count."
    if answer.state == JUST_COVERED:
        return (
            f"The store covers all {answer.wanted} at the average count, with too little to spare "
            "if more sheets than usual are broke."
        )
    due = day(answer.due, today)
    now = f"{answer.covered_sheets} of {answer.wanted} good sheets can be made"
    if answer.state == LATER and answer.ready_on:
        return (
            f"Covered from {day(answer.ready_on, today)}, not by {due}: until then "
            f"{lacks(answer, system)} and {now}."
        )
    return f"Short by {due}: {lacks(answer, system)}. {now}."


@dataclass(frozen=True, slots=True)
class WayOut:
    """One thing that would mend a shortage."""

    deed: str
    why: str


def ways_out(
    answer: Answer, today: date, fibres: dict[str, Fibre], system: System = "metric"
) -> list[WayOut]:
    """Say what would mend a shortage: fibre to get, or fewer sheets first."""
    found = []
    for lack in answer.short:
        fibre = fibres.get(lack.fibres[0])
        moisture = fibre.usual_moisture if fibre else Decimal(0)
        as_is = int(lack.oven_dry_mg / (1 - moisture)) + 1 if moisture < 1 else lack.oven_dry_mg
        found.append(
            WayOut(
                f"Get {exact(as_is, system)} of {lack.fibres[0]} as is, in time "
                f"to make the sheets by {day(answer.due, today)}.",
                f"{exact(lack.oven_dry_mg, system)} oven-dry, at its usual moisture of "
                f"{moisture * 100:.1f} %.",
            )
        )
    rest = answer.wanted - answer.covered_sheets
    if answer.short and answer.covered_sheets:
        found.append(
            WayOut(
                f"Send {answer.covered_sheets} good sheets by the day and {rest} later.",
                "As many as the scarcest fibre makes, after broke and retree.",
            )
        )
    return found


def lede(cover: Cover, system: System = "metric") -> str:
    """Say in one sentence or two how all promises stand: what is left out, and the rest."""
    said = []
    if cover.left_out:
        ref, why = cover.left_out[0]
        more = len(cover.left_out) - 1
        also = f" {more} more cannot be reckoned." if more else ""
        said.append(f"{ref} cannot be reckoned: {why}{also}")
    if cover.commissions:
        said.append(_standing(cover, system))
    return " ".join(said) or "Nothing is promised yet."


def _standing(cover: Cover, system: System) -> str:
    """Say how the promises stand that can be reckoned."""
    total = len(cover.commissions)
    wanting = [a for a in cover.commissions if a.state not in (COVERED, JUST_COVERED)]
    if not wanting:
        other = "other " if cover.left_out else ""
        one, all_of_them = f"the one {other}promise", f"all {total} {other}promises"
        return f"The store covers {one if total == 1 else all_of_them}."
    first = wanting[0]
    count = (
        f"{first.ref} is short"
        if len(wanting) == 1
        else f"{len(wanting)} of {total} promises are short, first {first.ref}"
    )
    return f"{count}: {lacks(first, system)} by {day(first.due, cover.today)}."
