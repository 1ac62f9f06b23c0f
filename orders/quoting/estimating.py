"""The day that sheets which are only asked for could leave, reckoned as for a commission."""

from __future__ import annotations

import copy
from datetime import date

from orders import asking, services
from orders.finishing import finish_of
from orders.models import Commission, Sheet
from studio.errors import StudioError

# Stands for what is asked for among the promises; no commission is called so.
ASKED = "?"


def send_day(
    sheet: Sheet, wanted: int, today: date, *, commission: Commission | None = None
) -> date | None:
    """Return the day that so many good sheets could be packed; None where fibre is not in sight.

    Promises keep what is set aside for them. What has no commission yet is reckoned as if it
    were due in the usual time.
    """
    if commission is not None:
        asked = copy.copy(commission)
        asked.good_quantity = wanted
    else:
        due = asking.usual_day(today)
        asked = Commission(ref=ASKED, sheet=sheet, good_quantity=wanted, due=due)
    if not asked.is_open:
        return None
    try:
        finish = finish_of(services.standing_of(asked, today), today)
    except StudioError:
        return None
    return finish.on if finish else None
