"""Putting a movement right: a contrary one that names it, then what should have been entered."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Any

from django.db.models import QuerySet

from fibres import keeping, ledger, offshelf, takeback
from fibres.calc import moisture as wet
from fibres.models import Lot, Movement
from fibres.wording import mass_words
from studio.entries import acting, enter, refuse_repeat
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry

# One movement that is still to be written.
Step = Callable[[], Movement]


@acting()
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
    never_came = movement.kind == Movement.Kind.RECEIVED and not as_is_mg
    arrival = takeback.held_arrival(movement.lot_id) if never_came else None
    lot = Lot.objects.select_for_update().get(pk=movement.lot_id)
    movement.lot = lot
    # Looked at only now: whoever held the lot before may have counted it.
    _refuse_what_stays(movement)
    held_mg = lot.oven_dry_mg
    packs = f", {takeback.in_words(arrival)}" if arrival else ""
    said = f"Corrected {movement.get_kind_display().lower()} of {lot.ref}{packs}: {why}"
    entry = enter("correct", said, page=lot.get_absolute_url(), key=key, by=by)
    right = _right_oven_dry(movement, as_is_mg)
    how = {"happened_on": happened_on, "why": why, "entry": entry}
    steps = _steps(movement, right, as_is_mg, **how)
    if movement.kind == Movement.Kind.ISSUED:
        keeping.refuse_less_than_is_kept(movement, right)
    if movement.kind == Movement.Kind.RECEIVED:
        _correct_receipt(lot, as_is_mg, right - movement.oven_dry_mg)
        if never_came:
            steps = [*_take_back_tests(lot, **how), *steps]
    written = _write(steps, lot, as_is_mg)
    if lot.oven_dry_mg < held_mg:
        offshelf.refuse_below_weighed_out(lot)
    if arrival is not None:
        takeback.give_back(arrival)
    return written


def _refuse_what_stays(movement: Movement) -> None:
    """Refuse to put right by its mass what did not come of weighing the lot here."""
    if movement.kind == Movement.Kind.COUNTED:
        raise StudioError(
            "This line came of a count of the store. Weigh the lot again in another count.",
            field="movement",
            value=movement.pk,
        )
    if movement.as_is_mg is None:
        raise StudioError(
            "This line came from weighed moisture, not from a mass. Weigh a sample again.",
            field="movement",
            value=movement.pk,
        )
    _refuse_counted_since(movement)


def _steps(
    movement: Movement, right_mg: int, as_is_mg: int, *, happened_on: date, why: str, entry: Entry
) -> list[Step]:
    """Return the contrary entry and what is right, in the order that never empties the lot."""
    sign = -1 if movement.oven_dry_mg < 0 else 1
    steps: list[Step] = [
        partial(ledger.reverse, movement, happened_on=happened_on, why=why, entry=entry)
    ]
    if right_mg:
        steps.append(
            partial(
                ledger.post,
                movement.lot,
                movement.kind,
                sign * right_mg,
                happened_on=movement.happened_on,
                entry=entry,
                as_is_mg=sign * as_is_mg,
                moisture=movement.moisture,
                why=why,
            )
        )
    return steps[::-1] if sign > 0 else steps


def _write(steps: Iterable[Step], lot: Lot, as_is_mg: int) -> list[Movement]:
    """Take the steps; refuse what would leave the lot with less than nothing."""
    try:
        return [step() for step in steps]
    except NotEnoughError as lack:
        raise NotEnoughError(
            f"Lot {lot.ref} would hold less than nothing: more has gone out of it since. Correct "
            "what went out first, or give a larger mass here.",
            field="mass",
            value=as_is_mg,
        ) from lack


def _refuse_counted_since(movement: Movement) -> None:
    """Refuse to put right once more what a count of the lot has put right since."""
    since = Movement.objects.filter(
        lot=movement.lot_id, kind=Movement.Kind.COUNTED, pk__gt=movement.pk
    )
    if since.exists():
        raise StudioError(
            f"Lot {movement.lot.ref} has been counted since, and the count put the book right "
            "already. Count the lot again if the book is not what lies there.",
            field="movement",
            value=movement.pk,
        )


def _right_oven_dry(movement: Movement, as_is_mg: int) -> int:
    """Return the oven-dry fibre of a movement whose mass as weighed was another.

    A receipt that a moisture test put right stays in step with that test: what comes on top or
    falls away is reckoned at the moisture with which the lot is now known to have come.
    """
    if movement.kind == Movement.Kind.RECEIVED and as_is_mg and movement.as_is_mg:
        change = round((as_is_mg - movement.as_is_mg) * _dry_share_received(movement))
        right = movement.oven_dry_mg + change
    else:
        right = wet.oven_dry_mg(as_is_mg, movement.moisture)
    if as_is_mg and right <= 0:
        raise RangeError(
            f"With the moisture that is known, {mass_words(as_is_mg)[0]} holds no fibre that can "
            "be entered here. Give a larger mass, or 0 if nothing moved, and enter afresh what "
            "did.",
            field="mass",
            value=as_is_mg,
        )
    return right


def _dry_share_received(movement: Movement) -> Fraction:
    """Return the fibre in a receipt as a share of its mass, as far as tests put it right.

    A test that found the book wrong says by how much; one that found water gone or drawn since
    says nothing of the lot as it came.
    """
    share = Fraction(1 - movement.moisture)
    corrected = set(_corrections_by_tests(movement.lot).values_list("entry_id", flat=True))
    believed = share
    for test in movement.lot.moisture_tests.order_by("pk"):
        found = Fraction(1 - test.moisture)
        if test.entry_id in corrected:
            share *= found / believed
        believed = found
    return share


def _correct_receipt(lot: Lot, as_is_mg: int, change: int) -> None:
    """Keep what the lot says of its receipt in step: mass, and the minutes spent sorting it."""
    minutes = lot.sorting_minutes * as_is_mg / lot.as_is_mg if lot.as_is_mg else Decimal(0)
    # Of a lot that never came nothing is left, whatever a test put right of it.
    received = max(0, lot.received_oven_dry_mg + change) if as_is_mg else 0
    if change > 0:
        keeping.refuse_more_than_was_made(lot, received)
    Lot.objects.filter(pk=lot.pk).update(
        as_is_mg=as_is_mg,
        received_oven_dry_mg=received,
        sorting_minutes=minutes.quantize(Decimal("0.01")),
    )


def _take_back_tests(lot: Lot, *, happened_on: date, why: str, entry: Entry) -> list[Step]:
    """Return the steps that undo what moisture tests corrected of a lot that never came."""
    # What was corrected downwards comes back first, so that the lot is never below nothing.
    return [
        partial(ledger.reverse, found, happened_on=happened_on, why=why, entry=entry)
        for found in _corrections_by_tests(lot).order_by("oven_dry_mg", "pk")
    ]


def _corrections_by_tests(lot: Lot) -> QuerySet[Movement]:
    """Return what moisture tests put right of a lot and still stands."""
    return lot.movements.filter(
        kind=Movement.Kind.CORRECTED,
        reverses__isnull=True,
        reversed_by__isnull=True,
        entry__act="test moisture",
    )
