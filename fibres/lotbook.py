"""The book of one lot: its lines in the order of entry, and its balance day by day."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from fibres.models import MoistureTest, Movement
from studio.units import System, show_mass

Kind = Movement.Kind
A_DONOR = "a donor"


@dataclass(frozen=True, slots=True)
class BookLine:
    """One line of the book: a movement, or a moisture that changed no balance."""

    day: date
    what: str
    as_is_mg: int | None
    moisture: Decimal
    in_mg: int | None
    out_mg: int | None
    left_mg: int | None
    who: str
    entry_id: int
    movement: Movement | None = None

    @property
    def correctable_pk(self) -> int | None:
        """The number of the movement, where it can be put right by a correction."""
        if self.movement is None or not may_be_corrected(self.movement):
            return None
        return int(self.movement.pk)


def may_be_corrected(movement: Movement) -> bool:
    """Tell whether an entry is a mass that a person gave and that still stands."""
    is_mass = movement.kind != Kind.CORRECTED and movement.as_is_mg is not None
    return is_mass and not hasattr(movement, "reversed_by")


def book_of(
    movements: Iterable[Movement],
    tests: Iterable[MoistureTest],
    *,
    source_name: str,
    hidden_name: str = "",
    system: System = "metric",
) -> list[BookLine]:
    """Return the lines of a lot's book, oldest first.

    ``hidden_name`` is the donor's own name where the reader may not know it.
    """
    by_entry = {test.entry_id: test for test in tests}
    lines: list[BookLine] = []
    left_mg = 0
    for movement in movements:
        left_mg += movement.oven_dry_mg
        test = by_entry.pop(movement.entry_id, None)
        what = _tested(test, system) if test else _what(movement, source_name, hidden_name, system)
        lines.append(_moved(movement, what, left_mg))
    # A sample that only showed how much water came or went moved no fibre.
    lines += [_noted(test, system) for test in by_entry.values()]
    return sorted(lines, key=lambda line: line.entry_id)


def _moved(movement: Movement, what: str, left_mg: int) -> BookLine:
    change = movement.oven_dry_mg
    return BookLine(
        day=movement.happened_on,
        what=what,
        as_is_mg=None if movement.as_is_mg is None else abs(movement.as_is_mg),
        moisture=movement.moisture,
        in_mg=change if change > 0 else None,
        out_mg=-change if change < 0 else None,
        left_mg=left_mg,
        who=movement.entry.who,
        entry_id=movement.entry_id,
        movement=movement,
    )


def _noted(test: MoistureTest, system: System) -> BookLine:
    return BookLine(
        day=test.tested_on,
        what=f"{_tested(test, system)}. The oven-dry fibre is the same",
        as_is_mg=None,
        moisture=test.moisture,
        in_mg=None,
        out_mg=None,
        left_mg=None,
        who=test.entry.who,
        entry_id=test.entry_id,
    )


def _tested(test: MoistureTest, system: System) -> str:
    wet, dry = (
        show_mass(mass - test.tare_mg, unit="oz" if system == "US" else "g")
        for mass in (test.wet_mg, test.dry_mg)
    )
    return f"Moisture weighed: {wet} as it was, {dry} oven-dry"


def _what(movement: Movement, source_name: str, hidden_name: str, system: System) -> str:
    why = without_donor(movement.why, hidden_name)
    label = Kind(movement.kind).label
    if movement.reverses is not None:
        day = movement.reverses.happened_on
        label = f"Taken back: {Kind(movement.reverses.kind).label.lower()} {day.day} {day:%b}"
    if hasattr(movement, "count_line"):
        line = movement.count_line
        label = f"{label} for {line.stocktake}: {show_mass(line.as_is_mg, system=system)} as is"
    if movement.kind == Kind.RECEIVED and movement.entry.act == "receive":
        # Who gave it is read where it stands now, by the name that the reader may know.
        return f"{label} from {A_DONOR if hidden_name else source_name}"
    return f"{label}. {why}" if why else label


def without_donor(text: str, name: str) -> str:
    """Return what a person wrote, with a donor who is not to be named left unnamed in it."""
    if not name:
        return text
    spelled = r"\s+".join(re.escape(word) for word in name.split())
    return re.sub(spelled, A_DONOR, text, flags=re.IGNORECASE)


def balances(movements: Iterable[Movement]) -> list[tuple[date, int]]:
    """Return what was left from each day on, as it is known now.

    A correction counts from the day of what it puts right, so that the line shows what was
    there, not what was believed.
    """
    by_day: dict[date, int] = defaultdict(int)
    for movement in movements:
        put_right = movement.reverses
        day = movement.happened_on if put_right is None else put_right.happened_on
        by_day[day] += movement.oven_dry_mg
    points, left_mg = [], 0
    for day in sorted(by_day):
        left_mg += by_day[day]
        points.append((day, max(0, left_mg)))
    return points
