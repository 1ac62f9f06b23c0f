"""The quotes of the demo, drawn up and issued through the same acts as a person's."""

from __future__ import annotations

from datetime import date
from typing import Any

from orders import quoting
from orders.models import Commission, Quote


def enter_quotes(told: list[dict[str, Any]], today: date, by: Any) -> None:
    """Draw up each quote from its commission, and issue it."""
    for row in told:
        commission = Commission.objects.select_related("client", "sheet").get(
            ref=row["commission"]
        )
        quote = quoting.from_commission(commission, today)
        quote.other_quantities = row["others"]
        quote.includes, quote.remarks = row["includes"], row["remarks"]
        quote.carriage, quote.carriage_minor = Quote.Carriage.ADDED, row["carriage_minor"]
        quoting.issue(quoting.draft(quote, by=by), by=by)
