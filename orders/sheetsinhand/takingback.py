"""Taking a parcel back: it came back, or was never sent as it was entered."""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django.db import transaction

from orders.models import Commission, Delivery, SheetMovement
from orders.sheetsinhand import rows as book
from orders.sheetsinhand.holding import kept, lines_of
from studio.entries import enter, refuse_repeat
from studio.errors import RangeError, StudioError

State = Commission.State


@transaction.atomic
def take_back(
    delivery: Delivery,
    *,
    happened_on: date,
    why: str,
    by: Any,
    key: uuid.UUID | None = None,
) -> Delivery:
    """Put all sheets of a parcel back among those in hand; its promise is open again.

    The parcel stays in the book, and so do the movements that took its sheets out.
    """
    if key is not None:
        refuse_repeat(key)
    if not why.strip():
        raise StudioError("Say why it is taken back.", field="why")
    # Whoever sends or takes back locks the commission before the makings.
    commission = Commission.objects.select_for_update().filter(pk=delivery.commission_id).first()
    book.locked_makings(delivery.sheet_movements.values_list("making", flat=True))
    lines = lines_of(delivery)
    if not lines:
        raise StudioError(f"{delivery.ref} has been taken back already.")
    _refuse_before_sent(delivery, happened_on)
    for making, _, _ in lines:
        book.refuse_early(happened_on, making, "happened_on")
    said = f"Took back {delivery.ref}: {why}"
    entry = enter("take back sheets", said, page=delivery.get_absolute_url(), key=key, by=by)
    for making, quality, sheets in lines:
        book.post(
            making, quality, SheetMovement.Kind.CORRECTED, sheets,
            on=happened_on, entry=entry, delivery=delivery, why=why,
        )  # fmt: skip
    if commission is not None and commission.state == State.SENT and kept(commission).to_send:
        commission.state = State.MAKING
        commission.save(update_fields=["state"])
    return delivery


def _refuse_before_sent(delivery: Delivery, day: date) -> None:
    if day < delivery.sent_on:
        raise RangeError(
            f"{delivery.ref} was sent on {delivery.sent_on:%d %b %Y}. Give that day or a later "
            "one.",
            field="happened_on",
            value=day,
        )
