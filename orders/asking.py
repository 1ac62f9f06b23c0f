"""How many more of a sheet could be promised, with no promise made worse."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from orders import snapshot
from orders.allocated import allocated
from orders.calc.plan import Promise, Question, Snapshot
from orders.models import Commission, Sheet
from studio.errors import StudioError

# Stands for the sheet that is asked about among the promises; no commission is called so.
ASKED = "?"
USUAL_DAYS = 28


@dataclass(frozen=True, slots=True)
class Asked:
    """A snapshot with its question; ``ready_by`` is the first day for which there is time."""

    name: str
    by: date
    ready_by: date
    snapshot: Snapshot

    @property
    def is_too_soon(self) -> bool:
        """Whether the day leaves too little time to prepare, form and dry."""
        return self.by < self.ready_by

    def good_sheets(self) -> int:
        """Count the good sheets that could be promised, at the average count of culls."""
        return allocated(self.snapshot).extra_good_sheets or 0


def usual_day(today: date) -> date:
    """Return the day that is asked about where none is given."""
    return today + timedelta(days=USUAL_DAYS)


def ask(sheet: Sheet, by: date, today: date, *, with_quoted: bool = False) -> Asked:
    """Read the store and the promises, and put the question how many more of a sheet by a day."""
    if by < today:
        raise StudioError("Give today or a day ahead.", field="by", value=by)
    one = Commission(ref=ASKED, sheet=sheet, good_quantity=1, due=by)
    shot = snapshot.read(today, extra=one, with_quoted=with_quoted, takes_a_turn=False)
    reasons = dict(shot.left_out)
    if ASKED in reasons:
        raise StudioError(reasons[ASKED], field="sheet", value=sheet.name)
    asked = next(promise for promise in shot.commissions if promise.ref == ASKED)
    others = tuple(promise for promise in shot.commissions if promise is not asked)
    return Asked(
        name=sheet.name,
        by=by,
        ready_by=today + (asked.due - asked.fibre_day),
        snapshot=replace(shot, commissions=others, question=_question(asked)),
    )


def _question(asked: Promise) -> Question:
    """Return the question of a sheet reckoned as if one were promised; it draws on that day."""
    return Question(
        due=asked.fibre_day,
        pull_mg=asked.pull_mg,
        furnish=asked.furnish,
        sheets_per_pull=asked.sheets_per_pull,
        good_share=asked.good_share,
        excludes=asked.excludes,
    )
