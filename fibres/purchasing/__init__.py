"""Buying, act by act: plan an order, place it, receive what comes of it, give up the rest.

Each act is one transaction with one entry, under a lock on the purchase. Fibre comes into the
store through :func:`fibres.services.receive` alone.
"""

from fibres.purchasing.claiming import claim_of, is_wetter, moisture_received
from fibres.purchasing.planning import (
    change,
    close,
    expect,
    mark_ordered,
    order,
    place,
    plan,
)
from fibres.purchasing.receiving import Arrived, receive
from fibres.purchasing.rows import Wanted, freight_of, from_offer

__all__ = [
    "Arrived",
    "Wanted",
    "change",
    "claim_of",
    "close",
    "expect",
    "freight_of",
    "from_offer",
    "is_wetter",
    "mark_ordered",
    "moisture_received",
    "order",
    "place",
    "plan",
    "receive",
]
