"""When a commission can be finished: what its page says, with the days it is reckoned from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from fibres.models import Fibre
from orders import snapshot, workings
from orders.calc.covered import Answer
from orders.dates import StudioDays
from orders.models import Commission
from orders.wording import day as day_words
from studio.working import Line


@dataclass(frozen=True, slots=True)
class Finish:
    """The earliest day on which all of it is packed, and how that is reckoned."""

    on: date
    is_late: bool
    said: str
    lines: tuple[Line, ...]


def finish_of(
    commission: Commission,
    answer: Answer | None,
    fibres: Iterable[Fibre],
    known: StudioDays,
    today: date,
) -> Finish | None:
    """Return when it can be finished; None where it is over or its fibre is not in sight."""
    if answer is None or not commission.is_open or answer.ready_on is None:
        return None
    spec = snapshot.spec_of(commission.sheet, known.studio, snapshot.read_shrinkages())
    pulls = workings.need_of(spec, answer.wanted).pulls_average
    found = known.of(commission.sheet, pulls)
    soak = max((fibre.preparation_days for fibre in fibres), default=0)
    start = max(today, answer.ready_on)
    first_pull = max(start + timedelta(days=soak), commission.not_before or today)
    days = known.days(commission.sheet, pulls)
    on = first_pull + timedelta(days=days)
    late = (on - commission.due).days
    said = f"Begun at once, with the dryer to itself, it can be packed by {day_words(on, today)}"
    said += f", {_days(late)} after it is due." if late > 0 else "."
    if found is None:
        said += " No dryer is entered for its way of drying, so the usual days are counted."
    usual = Line("Form, dry and pack", _days(days), "the studio’s usual days")
    lines = [
        Line("Fibre is there", day_words(start, today)),
        *([Line("Preparation", _days(soak), "the slowest fibre")] if soak else []),
        Line("First pull", day_words(first_pull, today), "", "line"),
        *(found.working[:-1] if found else [usual]),
        Line("Packed", day_words(on, today), "", "answer"),
    ]
    return Finish(on, late > 0, said, tuple(lines))


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"
