"""Quotes as lists and pages read them, and the values that a new issue of one begins with."""

from __future__ import annotations

from datetime import date, timedelta

from django.db.models import QuerySet
from django.db.models.functions import Coalesce

from orders.models import Quote
from orders.quoting.estimating import send_day
from studio.models import Studio

# What a new issue takes over from the one before.
TAKEN_OVER = (
    "client", "commission", "sheet", "title", "good_quantity", "other_quantities",
    "size_tolerance_um", "grammage_tolerance", "tolerance_over", "includes", "deposit",
    "carriage", "carriage_minor", "says_recycled", "says_permanence", "remarks",
)  # fmt: skip


def quotes() -> QuerySet[Quote]:
    """Return every quote with what its row shows, the last first, in one query.

    ``stands_at`` is the number that was ordered, or the one that was asked for.
    """
    rows = Quote.objects.select_related("client", "sheet", "commission", "document")
    return rows.annotate(stands_at=Coalesce("accepted_quantity", "good_quantity")).order_by("-pk")


def again(quote: Quote, today: date, *, with_day: bool = True) -> Quote:
    """Return a new issue of a quote, not kept yet; it holds from today as long as is usual.

    Where the old one named a day to send, ``with_day`` reckons it anew, from the plan of now.
    """
    days = Studio.current().quote_days
    taken = {name: getattr(quote, name) for name in TAKEN_OVER}
    new = Quote(valid_until=today + timedelta(days=days), **taken)
    if quote.send_on and with_day:
        wanted = quote.good_quantity
        new.send_on = send_day(quote.sheet, wanted, today, commission=quote.commission)
    return new
