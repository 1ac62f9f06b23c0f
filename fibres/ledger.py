"""The only door through which stock changes: append a movement and move the balance with it.

Each function runs inside the transaction of the service that calls it, locks the lot, changes
its balance only if that leaves it at nothing or more, and writes one movement.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import F

from fibres.models import Lot, Movement
from fibres.wording import mass_words
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry


def post(
    lot: Lot,
    kind: str,
    oven_dry_mg: int,
    *,
    happened_on: date,
    entry: Entry,
    as_is_mg: int | None = None,
    moisture: Decimal | None = None,
    why: str = "",
    reverses: Movement | None = None,
) -> Movement:
    """Write one movement of a lot, signed into the store, and move the balance with it."""
    with transaction.atomic():
        # SQLite takes the write lock when the transaction begins; PostgreSQL locks this row.
        held = (
            Lot.objects.select_for_update().only("pk", "oven_dry_mg", "received_on").get(pk=lot.pk)
        )
        refuse_odd_day(happened_on, received_on=held.received_on)
        changed = Lot.objects.filter(pk=lot.pk, oven_dry_mg__gte=-oven_dry_mg).update(
            oven_dry_mg=F("oven_dry_mg") + oven_dry_mg
        )
        if not changed:
            raise _not_enough(lot.ref, held.oven_dry_mg, -oven_dry_mg)
        movement = Movement(
            lot=lot,
            kind=kind,
            oven_dry_mg=oven_dry_mg,
            as_is_mg=as_is_mg,
            moisture=lot.moisture if moisture is None else moisture,
            happened_on=happened_on,
            why=why[:200],
            reverses=reverses,
            entry=entry,
        )
        # Two columns may be empty here, where a form would ask for them; the rows that a movement
        # hangs on are in hand, so the database is not asked for them again under the lock.
        unset = {name for name in ("as_is_mg", "reverses") if getattr(movement, name) is None}
        movement.full_clean(exclude={"lot", "entry", *unset}, validate_unique=False)
        movement.save()
        lot.oven_dry_mg = held.oven_dry_mg + oven_dry_mg
    return movement


def reverse(movement: Movement, *, happened_on: date, why: str, entry: Entry) -> Movement:
    """Take a movement back by a contrary one that names it; a correction stays as it is."""
    if movement.reverses_id is not None:
        raise StudioError(
            "This entry takes another one back already. Enter what is right as a new movement.",
            field="movement",
            value=movement.pk,
        )
    if Movement.objects.filter(reverses=movement).exists():
        raise StudioError(
            "This movement has been taken back already.", field="movement", value=movement.pk
        )
    return post(
        movement.lot,
        Movement.Kind.CORRECTED,
        -movement.oven_dry_mg,
        happened_on=happened_on,
        entry=entry,
        as_is_mg=None if movement.as_is_mg is None else -movement.as_is_mg,
        moisture=movement.moisture,
        why=why,
        reverses=movement,
    )


def _not_enough(ref: str, held_mg: int, asked_mg: int) -> NotEnoughError:
    held, asked = mass_words(held_mg, asked_mg)
    return NotEnoughError(
        f"Lot {ref} holds {held} oven-dry and {asked} is asked for. Give {held} or less, or weigh "
        "the lot and enter what is there."
        if held_mg
        else f"Lot {ref} holds nothing any more.",
        field="mass",
        value=asked_mg,
    )


def refuse_odd_day(day: date, *, received_on: date) -> None:
    """Refuse a day that has not come, or on which the lot had not come."""
    from django.utils import timezone

    latest = timezone.localdate() + timedelta(days=1)
    if day > latest:
        raise RangeError(
            f"{day:%d %b %Y} has not come yet. Give today or a day before it.",
            field="happened_on",
            value=day,
        )
    if day < received_on:
        raise RangeError(
            f"The lot came on {received_on:%d %b %Y}. Give that day or a later one, got "
            f"{day:%d %b %Y}.",
            field="happened_on",
            value=day,
        )
