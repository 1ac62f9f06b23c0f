"""Putting a movement right: a contrary one that names it, then what should have been entered."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from functools import partial
from typing import Any

from django.db import transaction

from fibres import ledger
from fibres.calc import moisture as wet
from fibres.models import Lot, Movement
from studio.entries import enter, refuse_repeat
from studio.errors import NotEnoughError, StudioError
from studio.models import Entry


@transaction.atomic
def correct(
    movement: Movement,
    *,
    as_is_mg: int,
    happened_on: date,
    why: str,
    by: Any,
    key: uuid.UUID | None = None,
) -> list[Movement]:
    """Put a movement right: a contrary one that names it, then what should have been entered.

    ``as_is_mg`` is the right mass as weighed, without a sign; 0 where nothing moved at all.
    """
    if key is not None:
        refuse_repeat(key)
    if movement.as_is_mg is None:
        raise StudioError(
            "This line came from weighed moisture, not from a mass. Weigh a sample again.",
            field="movement",
            value=movement.pk,
        )
    lot = Lot.objects.select_for_update().get(pk=movement.lot_id)
    movement.lot = lot
    entry = enter(
        "correct",
        f"Corrected {movement.get_kind_display().lower()} of {lot.ref}: {why}",
        page=lot.get_absolute_url(),
        key=key,
        by=by,
    )
    sign = -1 if movement.oven_dry_mg < 0 else 1
    right = sign * _right_oven_dry(movement, as_is_mg)
    # What is right goes in first where the contrary entry alone would empty the lot.
    steps: list[Callable[[], Movement]] = [
        partial(ledger.reverse, movement, happened_on=happened_on, why=why, entry=entry)
    ]
    if right:
        steps.append(
            partial(
                ledger.post,
                lot,
                movement.kind,
                right,
                happened_on=movement.happened_on,
                entry=entry,
                as_is_mg=sign * as_is_mg,
                moisture=movement.moisture,
                why=why,
            )
        )
    if movement.oven_dry_mg > 0:
        steps.reverse()
    if movement.kind == Movement.Kind.RECEIVED:
        _correct_receipt(lot, as_is_mg, right - movement.oven_dry_mg)
        if not as_is_mg:
            tests = _take_back_tests(lot, happened_on=happened_on, why=why, entry=entry)
            steps = [*tests, *steps]
    try:
        return [step() for step in steps]
    except NotEnoughError as lack:
        raise NotEnoughError(
            f"Lot {lot.ref} would hold less than nothing: more has gone out of it since. Correct "
            "what went out first, or give a larger mass here.",
            field="mass",
            value=as_is_mg,
        ) from lack


def _right_oven_dry(movement: Movement, as_is_mg: int) -> int:
    """Return the oven-dry fibre of a movement whose mass as weighed was another.

    A receipt whose moisture was weighed since stays in step with that test: what comes on top
    or falls away is reckoned at the moisture the lot is known to have.
    """
    known = movement.moisture
    if movement.kind == Movement.Kind.RECEIVED and as_is_mg and movement.as_is_mg:
        change = as_is_mg - movement.as_is_mg
        now = wet.oven_dry_mg(abs(change), movement.lot.moisture)
        return movement.oven_dry_mg + (now if change > 0 else -now)
    return wet.oven_dry_mg(as_is_mg, known)


def _correct_receipt(lot: Lot, as_is_mg: int, change: int) -> None:
    """Keep what the lot says of its receipt in step: mass, and the minutes spent sorting it."""
    minutes = lot.sorting_minutes * as_is_mg / lot.as_is_mg if lot.as_is_mg else Decimal(0)
    Lot.objects.filter(pk=lot.pk).update(
        as_is_mg=as_is_mg,
        received_oven_dry_mg=max(0, lot.received_oven_dry_mg + change),
        sorting_minutes=minutes.quantize(Decimal("0.01")),
    )


def _take_back_tests(
    lot: Lot, *, happened_on: date, why: str, entry: Entry
) -> list[Callable[[], Movement]]:
    """Return the steps that undo what moisture tests corrected of a lot that never came."""
    corrections = lot.movements.filter(
        kind=Movement.Kind.CORRECTED,
        reverses__isnull=True,
        reversed_by__isnull=True,
        entry__act="test moisture",
    )
    # What was corrected downwards comes back first, so that the lot is never below nothing.
    return [
        partial(ledger.reverse, found, happened_on=happened_on, why=why, entry=entry)
        for found in sorted(corrections, key=lambda found: found.oven_dry_mg)
    ]
