"""Planning an order, changing it, placing it, putting it off, giving it up."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django.utils import timezone

from fibres.models import Offer, Purchase, Source
from fibres.purchasing import rows
from fibres.purchasing.rows import Lines
from studio.entries import acting, refuse_repeat
from studio.errors import RangeError, StudioError


@acting()
def plan(
    source: Source,
    lines: Lines,
    *,
    by: Any,
    order_by: date | None = None,
    freight_minor: int | None = None,
    remarks: str = "",
    key: uuid.UUID | None = None,
) -> Purchase:
    """Keep an order that is to be placed, with the day by which it has to be."""
    if key is not None:
        refuse_repeat(key)
    purchase = rows.new_purchase(source, lines, freight_minor, order_by=order_by, remarks=remarks)
    said = f"Planned {rows.summary(purchase, lines)}"
    rows.enter_for(purchase, "plan purchase", said, by=by, key=key)
    return purchase


@acting()
def change(
    purchase: Purchase,
    lines: Lines,
    *,
    by: Any,
    order_by: date | None = None,
    freight_minor: int | None = None,
    remarks: str = "",
    key: uuid.UUID | None = None,
) -> Purchase:
    """Change an order that has not been placed yet: its lines are written afresh."""
    purchase = rows.held(purchase, key)
    _refuse_placed(purchase, "What was ordered stays as it was ordered.")
    purchase.order_by, purchase.remarks = order_by, remarks
    purchase.freight_minor = rows.freight_or_usual(purchase.source, lines, freight_minor)
    rows.save(purchase, "order_by", "remarks", "freight_minor")
    purchase.lines.all().delete()
    rows.add_lines(purchase, lines)
    said = f"Changed {rows.summary(purchase, lines)}"
    rows.enter_for(purchase, "change purchase", said, by=by, key=key)
    return purchase


@acting()
def order(
    purchase: Purchase,
    *,
    ordered_on: date,
    by: Any,
    expected_on: date | None = None,
    freight_minor: int | None = None,
    key: uuid.UUID | None = None,
) -> Purchase:
    """Mark a planned order as placed: from now on it is on its way."""
    purchase = rows.held(purchase, key)
    _refuse_placed(purchase, "Plan another for what more is wanted.")
    # The source may have been closed since it was planned.
    rows.refuse_source(purchase.source)
    if freight_minor is not None:
        purchase.freight_minor = freight_minor
    rows.place_it(purchase, ordered_on, expected_on)
    said = f"Ordered {purchase.ref} from {purchase.source}"
    rows.enter_for(purchase, "order", said, by=by, key=key)
    return purchase


def _refuse_placed(purchase: Purchase, advice: str) -> None:
    if purchase.state != Purchase.State.PLANNED:
        state = str(purchase.get_state_display()).lower()
        raise StudioError(f"{purchase.ref} is {state}, no longer planned. {advice}")


@acting()
def place(
    source: Source,
    lines: Lines,
    *,
    ordered_on: date,
    by: Any,
    expected_on: date | None = None,
    freight_minor: int | None = None,
    remarks: str = "",
    key: uuid.UUID | None = None,
) -> Purchase:
    """Enter an order that has been placed, in one act."""
    if key is not None:
        refuse_repeat(key)
    purchase = rows.new_purchase(source, lines, freight_minor, remarks=remarks)
    rows.place_it(purchase, ordered_on, expected_on)
    said = f"Ordered {rows.summary(purchase, lines)}"
    rows.enter_for(purchase, "order", said, by=by, key=key)
    return purchase


def mark_ordered(
    source: Source,
    lines: Sequence[tuple[Offer, int]],
    *,
    ordered_on: date,
    by: Any,
    expected_on: date | None = None,
    freight_minor: int | None = None,
    goods_minor: Mapping[int, int] | None = None,
    key: uuid.UUID | None = None,
) -> Purchase:
    """Enter an order of packs by their offers; ``goods_minor`` has agreed prices by offer key."""
    if key is not None:
        # A page sent twice is told so, even where the offer has ended meanwhile.
        refuse_repeat(key)
    agreed = goods_minor or {}
    wanted = [
        rows.from_offer(offer, packs, on=ordered_on, goods_minor=agreed.get(offer.pk))
        for offer, packs in lines
    ]
    return place(
        source,
        wanted,
        ordered_on=ordered_on,
        expected_on=expected_on,
        freight_minor=freight_minor,
        by=by,
        key=key,
    )


@acting()
def expect(
    purchase: Purchase, expected_on: date, *, by: Any, key: uuid.UUID | None = None
) -> Purchase:
    """Keep another day on which what is on its way is expected."""
    purchase = rows.on_its_way(rows.held(purchase, key))
    day = rows.in_words(expected_on)
    if expected_on < timezone.localdate():
        raise RangeError(
            f"{day} has passed. Give today or a later day, or enter what came.",
            field="expected_on",
            value=expected_on,
        )
    purchase.expected_on = expected_on
    rows.save(purchase, "expected_on")
    said = f"{purchase.ref} is expected on {day}"
    rows.enter_for(purchase, "expect purchase", said, by=by, key=key)
    return purchase


@acting()
def close(purchase: Purchase, why: str, *, by: Any, key: uuid.UUID | None = None) -> Purchase:
    """Give up what has not come: a planned order is dropped, of another the rest is let go."""
    purchase = rows.held(purchase, key)
    if purchase.state not in Purchase.OPEN:
        raise StudioError(f"Nothing of {purchase.ref} is to come any more.")
    purchase.state, purchase.closed_on = Purchase.State.CLOSED, timezone.localdate()
    purchase.remarks = "\n".join(filter(None, [purchase.remarks, f"Closed: {why}"]))
    rows.save(purchase, "state", "closed_on", "remarks")
    said = f"Closed {purchase.ref}: {why}"
    rows.enter_for(purchase, "close purchase", said, by=by, key=key)
    return purchase
