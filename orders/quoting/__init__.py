"""Quotes: drafted, changed, issued, issued anew, accepted or declined.

Each deed is one transaction with one entry in the book. What was issued is read from what was
frozen then, and from nothing else.
"""

from orders.quoting.deciding import accept, decline
from orders.quoting.drafting import (
    bar,
    change,
    draft,
    from_bench,
    from_commission,
    from_sheet,
    usual,
)
from orders.quoting.estimating import send_day
from orders.quoting.issuing import claim_doubt, issue, live, reissue, sheet_changes, shown
from orders.quoting.reading import again, quotes

__all__ = [
    "accept",
    "again",
    "bar",
    "change",
    "claim_doubt",
    "decline",
    "draft",
    "from_bench",
    "from_commission",
    "from_sheet",
    "issue",
    "live",
    "quotes",
    "reissue",
    "send_day",
    "sheet_changes",
    "shown",
    "usual",
]
