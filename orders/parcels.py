"""A parcel with its price: reckoned on the day it is sent, kept with it, read again later."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from typing import Any

from django.utils import timezone

from orders import services, sheetsinhand
from orders.calc.costing import Cost
from orders.calc.parcelprice import ParcelPrice, parcel_price
from orders.models import Commission, Delivery, Sheet
from orders.sheetsinhand import ParcelNote, Sending
from orders.sheetsinhand.holding import Quality
from studio.context import asked_by
from studio.errors import StudioError
from studio.models import Studio


def send(
    commission: Commission | None,
    rows: Sequence[Sending],
    note: ParcelNote,
    *,
    by: Any,
    key: uuid.UUID | None = None,
) -> Delivery:
    """Send sheets in one parcel, and keep with it what they come to now.

    Where no price can be reckoned they go all the same; the parcel is then without one.
    """
    try:
        price = _price_now(commission, rows)
    except StudioError:
        price = None
    return sheetsinhand.send(commission, rows, note, by=by, price=price, key=key)


def _price_now(commission: Commission | None, rows: Sequence[Sending]) -> ParcelPrice | None:
    if not rows:
        return None
    good, retree = (
        sum(row.sheets for row in rows if row.quality == quality)
        for quality in (Quality.GOOD, Quality.RETREE)
    )
    return reckoned(commission, rows[0].making.sheet, good=good, retree=retree)


def reckoned(
    commission: Commission | None, sheet: Sheet, *, good: int, retree: int
) -> ParcelPrice:
    """Return what so many sheets come to at the prices of now."""
    share = Studio.current().retree_price_share
    return parcel_price(
        _cost(commission, sheet, good + retree),
        good=good,
        retree=retree,
        retree_share=share,
        agreed_minor=commission.agreed_price_minor if commission else None,
    )


def _cost(commission: Commission | None, sheet: Sheet, sheets: int) -> Cost:
    """Return the cost that the commission's page shows; else that of the parcel's own number.

    Its working is kept with the parcel, in the studio's own units.
    """
    with asked_by(None):
        return _cost_now(commission, sheet, sheets)


def _cost_now(commission: Commission | None, sheet: Sheet, sheets: int) -> Cost:
    if commission is None:
        return services.costs_of(sheet, [sheets])[0]
    is_open, today = commission.is_open, timezone.localdate()
    cover, answer = services.cover_of(commission, today) if is_open else (None, None)
    return services.cost_of(commission, picks=answer.picks if answer else (), cover=cover)


def kept_price(delivery: Delivery) -> ParcelPrice | None:
    """Return the price that was kept with a parcel; None for one of before."""
    if delivery.price_working is None:
        return None
    return ParcelPrice.from_json(
        delivery.price_working,
        good_minor=delivery.good_minor or 0,
        retree_minor=delivery.retree_minor or 0,
        total_minor=delivery.total_minor or 0,
    )
