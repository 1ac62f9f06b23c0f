"""When a commission can be finished, in words, with the days it is reckoned from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from orders import services
from orders.calc.covered import Answer
from orders.calc.dryerturns import Slot
from orders.wording import day as day_words
from studio.working import Line


@dataclass(frozen=True, slots=True)
class Finish:
    """The earliest day on which all of it is packed, and how that is reckoned."""

    on: date
    is_late: bool
    said: str
    lines: tuple[Line, ...]


def finish_of(standing: services.Standing, today: date) -> Finish | None:
    """Return when it can be finished; None where it is over or its fibre is not in sight.

    Every promise whose fibre is in sight takes its turn in the dryer, this one among them.
    """
    answer, turns = standing.answer, standing.turns
    if answer is None or answer.ready_on is None:
        return None
    slot = turns.earliest(standing.cover.commissions, today)[standing.ref]
    late = (slot.finished_on - answer.due).days
    on = day_words(slot.finished_on, today)
    said = (
        f"After {slot.beside} in the {slot.dryer} it can be packed by {on}"
        if slot.beside
        else f"Begun at once, it can be packed by {on}"
    )
    said += f", {_days(late)} after it is due." if late > 0 else "."
    if slot.days is None:
        said += " No dryer is entered for its way of drying, so the usual days are counted."
    return Finish(slot.finished_on, late > 0, said, _lines(slot, answer, standing, today))


def _lines(
    slot: Slot, answer: Answer, standing: services.Standing, today: date
) -> tuple[Line, ...]:
    soak = standing.turns.soaking[standing.ref]
    lines = []
    if answer.need_mg:
        there = max(today, answer.ready_on or today)
        lines.append(Line("Fibre is there", day_words(there, today)))
        if soak:
            lines.append(Line("Preparation", _days(soak), "the slowest fibre"))
    if slot.beside:
        because = f"after {slot.beside}, which is due first or ready before it"
        lines.append(Line(f"{slot.dryer} is empty", day_words(slot.first_pull, today), because))
    first = Line("First pull", day_words(slot.first_pull, today), "", "line")
    usual = Line("Form, dry and pack", _days(slot.making_days), "the studio’s usual days")
    made = slot.days.working[:-1] if slot.days else (usual,)
    packed = Line("Packed", day_words(slot.finished_on, today), "", "answer")
    return (*lines, first, *made, packed)


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
