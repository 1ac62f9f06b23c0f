"""What is noted at the vat while a making runs; the store moves only when it is finished.

Every note is one short transaction. It locks the making, so that two people at one vat lose
nothing of each other's and nothing is noted while it is being finished; and it claims its request
key, so that a page sent twice over a bad connection is noted once.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.db.models import F, Max, QuerySet, Sum
from django.urls import reverse
from django.utils import timezone

from fibres.calc import moisture as wet
from fibres.models import Fibre, Lot
from fibres.wording import mass_words
from orders import services
from orders.makings import weighing
from orders.makings.lots import consistency_of
from orders.models import Commission, Dose, Fault, Issue, Making, Post, Spell, TrialSheet
from orders.models.makings import MOST_SHEETS
from studio.entries import acting, enter, refuse_repeat
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry
from studio.units import show_count, show_mass, show_number, show_share

COUNTED = ("pulls", "good", "retree", "broke")
MOST_MINUTES = Decimal(100_000)
# Drained pulp has 10 to 20 % of fibre, from memory; a sheet pressed once is still more than 65 %
# water (Hand Papermaking Newsletter 56, October 2001); dry broke as paper, common practice, no
# source.
HEEL_HOLDS = "squeezed pulp holds about 85 %"
BROKE_HOLDS = "dried broke holds about 6 %; pressed and still wet, about 65 %"
Heel = Making.Heel
State = Making.State


def page_of(making: Making) -> str:
    """Return the address of the log of a making."""
    return reverse("making_log", args=[making.ref])


def at_the_vat(making: Making) -> Making:
    """Lock a making and return it as it is kept; refuse one that is not at the vat."""
    held = Making.objects.select_for_update().get(pk=making.pk)
    if held.state == State.PLANNED:
        raise StudioError(f"{held.ref} has not been started. Start it, then log it.")
    if held.state != State.AT_THE_VAT:
        raise StudioError(
            f"{held.ref} is {held.get_state_display().lower()}, so nothing is noted in it any "
            "more. Correct its issues on the pages of their lots."
        )
    return held


def _held(making: Making, key: uuid.UUID | None) -> Making:
    """Begin a note: it is not one that was sent before, and the making takes notes."""
    if key is not None:
        refuse_repeat(key)
    return at_the_vat(making)


def _note(
    making: Making, said: str, *, by: Any, key: uuid.UUID | None, act: str = "log making"
) -> Entry:
    return enter(act, f"{making.ref}: {said}", page=page_of(making), key=key, by=by)


@acting()
def start(making: Making, *, by: Any, key: uuid.UUID | None = None) -> Making:
    """Begin a planned making with its first post; an agreed commission is now being made."""
    if key is not None:
        refuse_repeat(key)
    held = Making.objects.select_for_update().get(pk=making.pk)
    if held.state != State.PLANNED:
        raise StudioError(f"{held.ref} is {held.get_state_display().lower()} already.")
    commission = held.commission
    if commission is not None and commission.state in (
        Commission.State.CLOSED,
        Commission.State.WITHDRAWN,
    ):
        raise StudioError(
            f"{commission.ref} is {commission.get_state_display().lower()}. Plan the making for "
            "another commission, or for the studio’s own stock."
        )
    held.state, held.started_at = State.AT_THE_VAT, timezone.now()
    held.save(update_fields=["state", "started_at"])
    held.posts.create(number=1)
    if commission is not None and commission.state == Commission.State.AGREED:
        services.move(commission, Commission.State.MAKING, by=by)
    _note(held, "started", by=by, key=key, act="start making")
    return held


@acting()
def tap(
    making: Making,
    what: str,
    *,
    post: int,
    change: int = 1,
    by: Any,
    key: uuid.UUID | None = None,
) -> None:
    """Count pulls, sheets of a quality, or one kind of fault of a post; below 0 takes back."""
    held = _held(making, key)
    found = held.posts.filter(number=post).first()
    if found is None:
        raise StudioError(f"{held.ref} has no post {post}. Begin it first.", field="post")
    if what in COUNTED:
        rows, column = Post.objects.filter(pk=found.pk), what
    elif what in Fault.Kind.values:
        Fault.objects.get_or_create(post=found, kind=what)
        rows, column = Fault.objects.filter(post=found, kind=what), "times"
    else:
        raise StudioError("Count pulls, good, retree, broke or a fault.", field="tap", value=what)
    # One statement adds to what is there now, whatever the page showed.
    limits = {f"{column}__gte": -change, f"{column}__lte": MOST_SHEETS - change}
    if not rows.filter(**limits).update(**{column: F(column) + change}):
        raise RangeError(
            "That would count less than none. Take back no more than is there."
            if change < 0
            else f"A post counts at most {show_number(MOST_SHEETS)}. Take less.",
            field="tap",
            value=change,
        )
    _note(held, f"post {post}, {what} {show_number(change)}", by=by, key=key, act="tap")


@acting()
def begin_post(making: Making, *, by: Any, key: uuid.UUID | None = None) -> Post:
    """Begin the next post of sheets; an empty last one is taken in its place."""
    held = _held(making, key)
    last = held.posts.order_by("-number").first()
    if last is not None and not any(getattr(last, name) for name in COUNTED):
        post = last
    else:
        number = held.posts.aggregate(last=Max("number"))["last"] or 0
        post = held.posts.create(number=number + 1)
    _note(held, f"post {post.number} begun", by=by, key=key)
    return post


@acting()
def spend(
    making: Making, operation: str, minutes: Decimal, *, by: Any, key: uuid.UUID | None = None
) -> Spell:
    """Add minutes to an operation; below 0 takes them back."""
    held = _held(making, key)
    if operation not in Spell.Operation.values:
        raise StudioError("Choose one of those offered.", field="operation", value=operation)
    # The lock on the making keeps others from adding between the reading and the writing.
    spell, _ = held.spells.get_or_create(operation=operation)
    total = spell.minutes + minutes
    if not 0 <= total <= MOST_MINUTES:
        raise RangeError(
            f"{show_count(spell.minutes, 'minute')} noted. Take back no more than that."
            if total < 0
            else f"One operation takes at most {show_number(MOST_MINUTES)} minutes.",
            field="minutes",
            value=minutes,
        )
    spell.minutes = total
    spell.full_clean()
    spell.save(update_fields=["minutes"])
    named = str(spell.get_operation_display()).lower()
    _note(held, f"{named} {show_count(minutes, 'minute')}", by=by, key=key)
    return spell


@acting()
def dose(
    making: Making,
    name: str,
    *,
    kind: str,
    mass_mg: int,
    bottle: str | None = None,
    by: Any,
    key: uuid.UUID | None = None,
) -> Dose | None:
    """Say how much of an addition is in the making, dry; 0 takes it out again.

    Without ``bottle`` the one that was noted stays; empty text takes it off.
    """
    held = _held(making, key)
    name = " ".join(name.split())
    row = held.doses.filter(name__iexact=name).first() or Dose(making=held, name=name)
    if not mass_mg:
        if row.pk:
            row.delete()
        _note(held, f"no {name}", by=by, key=key)
        return None
    row.kind, row.mass_mg = kind, mass_mg
    row.bottle = row.bottle if bottle is None else bottle
    row.full_clean()
    row.save()
    _note(held, f"{show_mass(mass_mg)} of {name}", by=by, key=key)
    return row


@acting()
def weigh_trial(
    making: Making, trial: TrialSheet, *, by: Any, key: uuid.UUID | None = None
) -> TrialSheet:
    """Enter a sheet that was dried and weighed; ``trial`` comes filled in, not saved.

    Of the first pull, the consistency that the vat was charged to is kept with it: the draw that
    gave it may be another by the time that somebody learns from the sheet.
    """
    held = _held(making, key)
    trial.making = held
    if trial.consistency is None and trial.number == TrialSheet.FIRST_PULL:
        trial.consistency = consistency_of(held)
    if trial.moisture >= 1 or trial.mass_mg <= 0:
        raise RangeError("Give a sheet that holds some fibre.", field="mass", value=trial.mass_mg)
    trial.full_clean()
    trial.save()
    _note(held, f"sheet {trial.number} weighs {show_mass(trial.mass_mg)}", by=by, key=key)
    return trial


@acting()
def take_back_trial(making: Making, pk: int, *, by: Any, key: uuid.UUID | None = None) -> None:
    """Take out a weighed sheet that was entered by mistake."""
    held = _held(making, key)
    trial = held.trial_sheets.filter(pk=pk).first()
    if trial is None:
        raise StudioError("This weighed sheet has been taken out already.")
    _note(held, f"sheet {trial.number} is not {show_mass(trial.mass_mg)}", by=by, key=key)
    trial.delete()


@acting()
def note_heel(
    making: Making,
    heel: str,
    *,
    fibre: Fibre | None = None,
    as_is_mg: int | None = None,
    moisture: Decimal | None = None,
    by: Any,
    key: uuid.UUID | None = None,
) -> Making:
    """Say what becomes of what is left in the vat; what is kept needs its mass and moisture."""
    held = _held(making, key)
    if heel not in Heel.values or not heel:
        raise StudioError("Choose one of those offered.", field="heel", value=heel)
    is_weighed = heel != Heel.NONE and bool(as_is_mg)
    if heel == Heel.KEPT and not is_weighed:
        raise StudioError("Weigh what is kept, drained, and give its mass.", field="mass")
    held.heel = heel
    held.heel_as_is_mg = as_is_mg if is_weighed else None
    held.heel_moisture = _some_fibre(as_is_mg, moisture, HEEL_HOLDS) if is_weighed else None
    held.heel_fibre = _kept_as(fibre) if heel == Heel.KEPT else None
    columns = ["heel", "heel_as_is_mg", "heel_moisture", "heel_fibre"]
    return _kept(held, columns, f"heel {held.get_heel_display().lower()}", by=by, key=key)


@acting()
def note_broke(
    making: Making,
    *,
    as_is_mg: int,
    moisture: Decimal | None = None,
    fibre: Fibre | None = None,
    by: Any,
    key: uuid.UUID | None = None,
) -> Making:
    """Say how much broke and trimmings is kept as a lot of its own; 0 for none."""
    held = _held(making, key)
    held.broke_as_is_mg = as_is_mg or None
    held.broke_moisture = _some_fibre(as_is_mg, moisture, BROKE_HOLDS) if as_is_mg else None
    held.broke_fibre = _kept_as(fibre) if as_is_mg else None
    columns = ["broke_as_is_mg", "broke_moisture", "broke_fibre"]
    return _kept(held, columns, f"broke kept {show_mass(as_is_mg)} as is", by=by, key=key)


def _kept(
    making: Making, columns: list[str], said: str, *, by: Any, key: uuid.UUID | None
) -> Making:
    making.full_clean()
    making.save(update_fields=columns)
    _note(making, said, by=by, key=key)
    return making


def _kept_as(fibre: Fibre | None) -> Fibre:
    """Return the fibre that something is kept as; one that is refused or missing is refused."""
    if fibre is None or fibre.is_refused:
        raise StudioError("Say which fibre it is kept as.", field="fibre")
    return fibre


def dry_mg(as_is_mg: int | None, moisture: Decimal | None) -> int:
    """Return the fibre of something that may not have been weighed; 0 where it was not."""
    return wet.oven_dry_mg(as_is_mg, moisture) if as_is_mg and moisture is not None else 0


def _some_fibre(as_is_mg: int | None, moisture: Decimal | None, holds: str) -> Decimal:
    """Return the moisture of something weighed that holds fibre."""
    if moisture is None:
        raise StudioError(f"Give its moisture: {holds}.", field="moisture")
    if not as_is_mg or moisture >= 1 or not wet.oven_dry_mg(as_is_mg, moisture):
        raise RangeError(
            f"At {show_share(moisture)} moisture it holds no fibre. Look at both figures again.",
            field="moisture",
            value=moisture,
        )
    return moisture


@acting()
def issue(
    making: Making,
    lot: Lot,
    *,
    as_is_mg: int,
    moisture: Decimal | None = None,
    by: Any,
    key: uuid.UUID | None = None,
) -> Issue:
    """Note what was weighed out of a lot; without a moisture, at the one the book has of it."""
    held = _held(making, key)
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    known = lot.moisture if moisture is None else moisture
    left = lot.oven_dry_mg - noted_mg([lot.pk]).get(lot.pk, 0)
    as_is_mg, oven_dry_mg = _weighed(lot, as_is_mg, moisture=known, left_mg=left)
    found = Issue(
        making=held,
        lot=lot,
        as_is_mg=as_is_mg,
        moisture=known,
        oven_dry_mg=oven_dry_mg,
        by=by if getattr(by, "is_authenticated", False) else None,
    )
    found.full_clean(exclude=["movement", "by"])
    found.save()
    _note(held, f"weighed out {show_mass(as_is_mg)} as is of {lot.ref}", by=by, key=key)
    return found


def _weighed(lot: Lot, as_is_mg: int, *, moisture: Decimal, left_mg: int) -> tuple[int, int]:
    """Return what was weighed out, as is and oven-dry; all that is left where that was shown."""
    if moisture >= 1:
        raise RangeError("Give less than 100 %: the rest is fibre.", field="moisture")
    whole = wet.as_is_mg(max(left_mg, 0), moisture)
    shown, asked = mass_words(whole, as_is_mg)
    # What a page shows of the rest of a lot may be rounded up: typed back it is all of it.
    is_whole = shown == asked or as_is_mg <= weighing.rounded_up_mg(whole)
    if as_is_mg >= whole and is_whole and left_mg > 0:
        return whole, left_mg
    if as_is_mg > whole:
        raise NotEnoughError(
            f"Lot {lot.ref} has {shown} as is at {show_share(moisture)} moisture that is not "
            f"weighed out yet, and {asked} is asked for. Give {shown} or less, or weigh the lot "
            "and enter what is there.",
            field="mass",
            value=as_is_mg,
        )
    oven_dry_mg = wet.oven_dry_mg(as_is_mg, moisture)
    if not oven_dry_mg:
        raise RangeError(
            f"{asked} at {show_share(moisture)} moisture holds no fibre that can be entered. Give "
            "a larger mass.",
            field="mass",
            value=as_is_mg,
        )
    return as_is_mg, oven_dry_mg


@acting()
def take_back_issue(making: Making, pk: int, *, by: Any, key: uuid.UUID | None = None) -> None:
    """Put back what was weighed out by mistake; nothing in the store has moved for it."""
    held = _held(making, key)
    found = held.issues.select_related("lot").filter(pk=pk).first()
    if found is None:
        raise StudioError("This has been put back already.")
    _note(held, f"put back {show_mass(found.as_is_mg)} of {found.lot.ref}", by=by, key=key)
    found.delete()


def noted_by_making(lots: Iterable[int]) -> dict[int, dict[str, int]]:
    """Return what is weighed out of lots and in the book yet, oven-dry, by lot and making."""
    # The keys of all lots in store are more than a statement takes.
    wanted = lots if isinstance(lots, QuerySet) else list(lots)
    rows = (
        Issue.objects.filter(movement=None, making__state__in=Making.OPEN, lot__in=wanted)
        .order_by()
        .values_list("lot_id", "making__ref")
        .annotate(mass=Sum("oven_dry_mg"))
    )
    found: dict[int, dict[str, int]] = {}
    for lot, making, mass in rows:
        found.setdefault(lot, {})[making] = mass
    return found


def noted_mg(lots: Iterable[int]) -> dict[int, int]:
    """Return what is weighed out of lots and has not left the book yet, oven-dry, by the lot."""
    return {lot: sum(masses.values()) for lot, masses in noted_by_making(lots).items()}
