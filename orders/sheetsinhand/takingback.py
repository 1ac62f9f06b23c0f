"""Taking back a parcel that came back or was entered wrong, and sheets that are not spoilt.

What was entered stays in the book; a contrary movement says why it does not hold.
"""

from __future__ import annotations

import uuid
from datetime import date
from typing import Any

from django.urls import reverse

from orders.models import Commission, Delivery, SheetMovement
from orders.sheetsinhand import rows as book
from orders.sheetsinhand.holding import kept, lines_of
from studio.entries import acting, enter, refuse_repeat
from studio.errors import RangeError, StudioError

State = Commission.State
Kind = SheetMovement.Kind


@acting()
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
            making, quality, Kind.CORRECTED, sheets,
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


@acting()
def take_back_spoilt(
    spoilt: SheetMovement,
    *,
    happened_on: date,
    why: str,
    by: Any,
    key: uuid.UUID | None = None,
) -> SheetMovement:
    """Put sheets that were entered as spoilt back among those in hand, all of one entry.

    Where they were counted since, the count has put the book right already.
    """
    if key is not None:
        refuse_repeat(key)
    if not why.strip():
        raise StudioError("Say why they are taken back.", field="why")
    making = book.locked_makings([spoilt.making_id])[spoilt.making_id]
    said = kept_spoilt_words(spoilt)
    if said:
        raise StudioError(said)
    if happened_on < spoilt.happened_on:
        raise RangeError(
            f"They were entered as spoilt on {spoilt.happened_on:%d %b %Y}. Give that day or a "
            "later one.",
            field="happened_on",
            value=happened_on,
        )
    book.refuse_early(happened_on, making, "happened_on")
    sheets = -spoilt.sheets
    told = f"Took back {sheets} {spoilt.quality} {book.noun(sheets)} of {making.ref}: {why}"
    entry = enter("take back spoilt", told, page=reverse("sheets_spoilt"), key=key, by=by)
    return book.post(
        making, spoilt.quality, Kind.CORRECTED, sheets,
        on=happened_on, entry=entry, reverses=spoilt, why=why,
    )  # fmt: skip


def kept_spoilt_words(spoilt: SheetMovement) -> str:
    """Say why a movement is not taken back; nothing where it can be."""
    if spoilt.kind != Kind.SPOILT:
        return "Only sheets that were entered as spoilt are taken back here."
    if SheetMovement.objects.filter(reverses=spoilt).exists():
        return "They have been taken back already."
    counted = SheetMovement.objects.filter(
        making=spoilt.making_id, quality=spoilt.quality, kind=Kind.COUNTED, pk__gt=spoilt.pk
    )
    if counted.exists():
        return (
            f"The {spoilt.quality} sheets of {spoilt.making.ref} were counted since, and the "
            "count put the book right. Count them again if it is wrong."
        )
    return ""
