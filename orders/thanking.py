"""Gifts that wait for thanks, with what became of them; and the day a donor was thanked."""

from __future__ import annotations

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Q

from fibres import queries
from fibres.models import Lot, Source
from orders.makings.standing import sheets_made
from orders.provenance import Became, became_in, trail_from
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError

# Common practice, no source: after two weeks a gift looks forgotten.
THANK_WITHIN_DAYS = 14


@dataclass(frozen=True, slots=True)
class Gift:
    """What a donor gave since it was last thanked, and what became of it."""

    source: Source
    lots: tuple[Lot, ...]
    became: tuple[Became, ...]

    @property
    def first_on(self) -> date:
        """The day of the oldest gift that waits."""
        return min(lot.received_on for lot in self.lots)

    @property
    def oven_dry_mg(self) -> int:
        """What it came to."""
        return sum(lot.received_oven_dry_mg for lot in self.lots)


# Gifts that nobody was thanked for since they came.
UNTHANKED = Q(
    Q(source__thanked_on=None) | Q(source__thanked_on__lt=F("received_on")),
    source__kind=Source.Kind.DONOR,
    source__closed_on=None,
    received_oven_dry_mg__gt=0,
)


def _latest(today: date) -> date:
    """Return the day before which a gift has waited too long."""
    return today - timedelta(days=THANK_WITHIN_DAYS)


def donors_waiting(today: date) -> int:
    """Count the donors on the list of thanks, in one query."""
    late = Lot.objects.filter(UNTHANKED, received_on__lt=_latest(today))
    return late.order_by().values("source").distinct().count()


def is_waiting(source: Source, today: date) -> bool:
    """Tell whether a donor is on the list of thanks."""
    return source.lots.filter(UNTHANKED, received_on__lt=_latest(today)).exists()


def gift_of(source: Source, user: Any) -> Gift | None:
    """Return what a donor gave since it was last thanked, else all it gave; None for nothing."""
    given = queries.lots_for(user).filter(source=source.pk, received_oven_dry_mg__gt=0)
    given = given.select_related("fibre").order_by("received_on", "pk")
    lots = list(given.filter(UNTHANKED)) or list(given)
    if source.kind != Source.Kind.DONOR or not lots:
        return None
    keys = {lot.pk for lot in lots}
    trail = trail_from(Lot.objects.filter(pk__in=keys), user)
    made = sheets_made(trail.drawn)
    return Gift(source, tuple(lots), tuple(became_in(trail, keys, made)))


def gifts_to_thank_for(today: date, user: Any) -> list[Gift]:
    """Return gifts that have waited for thanks for more than two weeks, the oldest first."""
    by_source: dict[int, list[Lot]] = defaultdict(list)
    for lot in queries.lots_for(user).filter(UNTHANKED).order_by("received_on", "pk"):
        by_source[lot.source_id].append(lot)
    latest = _latest(today)
    waiting = [lots for lots in by_source.values() if lots[0].received_on < latest]
    if not waiting:
        return []
    keys = [lot.pk for lots in waiting for lot in lots]
    trail = trail_from(Lot.objects.filter(pk__in=keys), user)
    made = sheets_made(trail.drawn)
    return [
        Gift(lots[0].source, tuple(lots), tuple(became_in(trail, {lot.pk for lot in lots}, made)))
        for lots in waiting
    ]


@acting()
def thank(source: Source, *, on: date, by: Any, key: uuid.UUID | None = None) -> Source:
    """Note that a donor was thanked on a day, for all that had come by then."""
    if key is not None:
        refuse_repeat(key)
    held = Source.objects.select_for_update().get(pk=source.pk)
    if held.kind != Source.Kind.DONOR:
        raise StudioError(f"{held.name} gives nothing: only donors are thanked.", field="source")
    if held.thanked_on is None or held.thanked_on < on:
        held.thanked_on = on
        held.save(update_fields=["thanked_on"])
    enter("thank", "Thanked a donor", page=held.get_absolute_url(), key=key, by=by)
    return held
