"""The only door through which stock changes: append a movement and move the balance with it.

Each function runs inside the transaction of the service that calls it, locks the lot, changes
its balance only if that leaves it at nothing or more, and writes one movement with its seal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import F, OuterRef, Subquery, Sum

from fibres import sealing
from fibres.models import CountLine, Lot, Movement
from fibres.wording import mass_words
from studio import roles
from studio.entries import acting
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry

# As long as the column in which a reason is kept.
MOST_WHY = 200


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
    with acting():
        # SQLite takes the write lock when the transaction begins; PostgreSQL locks this row.
        held = _with_count(lot.pk)
        refuse_odd_day(happened_on, received_on=held.received_on)
        # A count is dated by the clock, which may have been set back since the last one.
        if kind != Movement.Kind.COUNTED:
            why = _held_against_count(held, happened_on, why, by=entry.by)
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
            why=why[:MOST_WHY],
            reverses=reverses,
            entry=entry,
        )
        # Two columns may be empty here, where a form would ask for them; the rows that a movement
        # hangs on are in hand, so the database is not asked for them again under the lock.
        unset = {name for name in ("as_is_mg", "reverses") if getattr(movement, name) is None}
        movement.full_clean(exclude={"lot", "entry", *unset}, validate_unique=False)
        movement.save()
        sealing.seal(movement)
        lot.oven_dry_mg = held.oven_dry_mg + oven_dry_mg
    return movement


@dataclass(frozen=True, slots=True)
class Posting:
    """One of the first movements of a lot that is being entered, signed into the store."""

    lot: Lot
    kind: str
    oven_dry_mg: int
    happened_on: date
    as_is_mg: int | None = None
    why: str = ""


def post_first(postings: Sequence[Posting], *, entry: Entry) -> None:
    """Write the first movements of many new lots at once, by the rules of :func:`post`.

    Only for lots that were written in the same transaction and have no movement: nobody else
    knows of them yet, so there is no balance to guard against others.
    """
    held: dict[int, int] = {}
    for posting in postings:
        lot = posting.lot
        refuse_odd_day(posting.happened_on, received_on=lot.received_on)
        held[lot.pk] = held.get(lot.pk, 0) + posting.oven_dry_mg
        if held[lot.pk] < 0:
            raise _not_enough(lot.ref, held[lot.pk] - posting.oven_dry_mg, -posting.oven_dry_mg)
    with acting():
        lots = {posting.lot.pk: posting.lot for posting in postings}
        for lot in lots.values():
            lot.oven_dry_mg = held[lot.pk]
        new = Lot.objects.filter(oven_dry_mg=0, movements__isnull=True)
        if new.filter(pk__in=list(lots)).count() != len(lots):
            raise StudioError("Only lots without a movement get their first ones so.")
        Movement.objects.bulk_create([_first(posting, entry) for posting in postings])
        sealing.seal_all(Movement.objects.filter(entry=entry))
        written = Movement.objects.filter(lot=OuterRef("pk")).order_by().values("lot")
        new_lots = Lot.objects.filter(pk__in=list(lots))
        new_lots.update(
            oven_dry_mg=Subquery(written.annotate(all=Sum("oven_dry_mg")).values("all"))
        )


def _first(posting: Posting, entry: Entry) -> Movement:
    movement = Movement(
        lot=posting.lot,
        kind=posting.kind,
        oven_dry_mg=posting.oven_dry_mg,
        as_is_mg=posting.as_is_mg,
        moisture=posting.lot.moisture,
        happened_on=posting.happened_on,
        why=posting.why[:MOST_WHY],
        entry=entry,
    )
    unset = {name for name in ("as_is_mg", "reverses") if getattr(movement, name) is None}
    # The database holds the sign against the kind; asking it for each row takes a query a row.
    movement.clean_fields(exclude={"lot", "entry", *unset})
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


def refuse_before_count(lot: Lot, day: date, *, by: Any) -> None:
    """Keep the days before a count of a lot closed, but to whoever may put the store right.

    The count has put the book right already: what is entered for a day before it is taken a
    second time, unless somebody knows better.
    """
    held = lot if hasattr(lot, "counted_on") else _with_count(lot.pk)
    if not _is_before_count(held, day) or by is None or roles.can(by, "store.correct"):
        return
    raise RangeError(
        f"Lot {held.ref} was counted on {held.counted_on:%d %b %Y}, and that count put the book "
        f"right for every day before it; got {day:%d %b %Y}. Give the day of the count or a later "
        "one, or ask whoever may correct the store to enter it.",
        field="happened_on",
        value=day,
    )


def _with_count(pk: int) -> Any:
    """Lock a lot and return it with the day of its last posted count, which may be none."""
    counts = CountLine.objects.filter(lot=OuterRef("pk"), movement__isnull=False)
    last = counts.order_by("-movement__happened_on").values("movement__happened_on")[:1]
    return (
        Lot.objects.select_for_update()
        .only("pk", "ref", "oven_dry_mg", "received_on")
        .annotate(counted_on=Subquery(last))
        .get(pk=pk)
    )


def _is_before_count(held: Any, day: date) -> bool:
    return held.counted_on is not None and day < held.counted_on


def _held_against_count(held: Any, day: date, why: str, *, by: Any) -> str:
    """Return the reason of a movement; one that somebody dated before a count says so in it."""
    if not _is_before_count(held, day):
        return why
    refuse_before_count(held, day, by=by)
    note = f"Dated before its count of {held.counted_on:%d %b %Y}"
    # The reason is cut before the note is.
    return f"{why[: MOST_WHY - len(note) - 2]}. {note}" if why else note


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
