"""Sheets that are spoilt, and sheets that were counted."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import date
from typing import Any

from django.db.models import Q, Sum
from django.urls import reverse

from orders.models import Making, SheetMovement
from orders.sheetsinhand import rows as book
from orders.sheetsinhand.holding import balances
from studio.entries import acting, enter, refuse_repeat
from studio.errors import RangeError, StudioError
from studio.models import Entry

Kind = SheetMovement.Kind


@acting()
def spoil(
    making: Making,
    quality: str,
    sheets: int,
    *,
    happened_on: date,
    why: str,
    by: Any,
    key: uuid.UUID | None = None,
) -> Making:
    """Take sheets out that can no longer be sold, and say why."""
    if key is not None:
        refuse_repeat(key)
    if sheets < 1:
        raise RangeError(f"Give 1 sheet or more, got {sheets}.", field="sheets", value=sheets)
    if not why.strip():
        raise StudioError("Say what happened to them.", field="why")
    held = book.locked_makings([making.pk])[making.pk]
    book.refuse_unfinished(held)
    book.refuse_early(happened_on, held, "happened_on")
    book.refuse_more_than_there({(held.pk, quality): sheets}, {held.pk: held})
    said = f"{sheets} {quality} {book.noun(sheets)} of {held.ref} spoilt: {why}"
    entry = _entry("spoil sheets", said, by=by, key=key)
    book.post(held, quality, Kind.SPOILT, -sheets, on=happened_on, entry=entry, why=why)
    return held


@acting()
def count(
    making: Making,
    counted: Mapping[str, int],
    *,
    happened_on: date,
    why: str = "",
    seen: Mapping[str, int] | None = None,
    by: Any,
    key: uuid.UUID | None = None,
) -> dict[str, int]:
    """Set the sheets in hand to what was counted; return the difference of each quality.

    ``seen`` is what the book said when they were counted: a count is refused where sheets have
    moved since, because it would move them a second time.
    """
    if key is not None:
        refuse_repeat(key)
    held = book.locked_makings([making.pk])[making.pk]
    book.refuse_unfinished(held)
    book.refuse_early(happened_on, held, "happened_on")
    there = balances([held.pk])
    before = {quality: there.get((held.pk, quality), 0) for quality in counted}
    if seen is not None and any(seen[quality] != before[quality] for quality in counted):
        now = ", ".join(f"{sheets} {quality}" for quality, sheets in before.items())
        raise StudioError(
            f"Sheets of {held.ref} have moved since this page was opened: the book now says "
            f"{now}. Count again."
        )
    if any(sheets < 0 for sheets in counted.values()):
        raise RangeError("Give 0 or more sheets.", field="good")
    off = {quality: counted[quality] - before[quality] for quality in counted}
    _refuse_more_than_formed(held, sum(off.values()))
    if any(off.values()) and not why.strip():
        raise StudioError("Say where the difference may come from.", field="why")
    found = " and ".join(f"{sheets} {quality}" for quality, sheets in counted.items())
    entry = _entry("count sheets", f"Counted {found} of {held.ref}", by=by, key=key)
    for quality, sheets in off.items():
        if sheets:
            book.post(held, quality, Kind.COUNTED, sheets, on=happened_on, entry=entry, why=why)
    return off


def _refuse_more_than_formed(making: Making, found: int) -> None:
    """Refuse a count that finds sheets the vat never formed; its lock is held.

    Broke may be sorted again and be kept after all, so it is among what can be found. A count
    that finds fewer is entered even where the book has too many: it brings the book nearer.
    """
    if found <= 0:
        return
    posts = making.posts.values_list("good", "retree", "broke")
    formed = sum(map(sum, posts))
    out = Q(kind=Kind.SENT) | Q(delivery__isnull=False)
    gone_bad = Q(kind=Kind.SPOILT) | Q(reverses__kind=Kind.SPOILT)
    moved = making.sheet_movements.aggregate(
        there=Sum("sheets", default=0),
        sent=Sum("sheets", filter=out, default=0),
        spoilt=Sum("sheets", filter=gone_bad, default=0),
    )
    in_hand, sent, spoilt = moved["there"] + found, -moved["sent"], -moved["spoilt"]
    if in_hand + sent + spoilt > formed:
        raise RangeError(
            f"{formed} {book.noun(formed)} of {making.ref} were formed, broke among them; "
            f"{in_hand} in hand, {sent} sent and {spoilt} spoilt make {in_hand + sent + spoilt}. "
            "Count again.",
            field="good",
            value=in_hand,
        )


def _entry(act: str, said: str, *, by: Any, key: uuid.UUID | None) -> Entry:
    return enter(act, said, page=reverse("sheets_in_hand"), key=key, by=by)
