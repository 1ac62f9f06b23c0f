"""A making is planned, changed, and given up; each act is one entry in the book."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from math import floor
from typing import Any

from django.db.models import Sum

from orders import sheetsinhand
from orders.calc import culls
from orders.calc.spec import SheetSpec
from orders.makings.forming import spec_of
from orders.models import Commission, Dryer, Making
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Counter, Mould, Vat
from studio.units import show_count, show_number

State = Making.State

# What a form changes; the state and what is noted at the vat have doors of their own.
CHANGEABLE = (
    "wanted_good", "pulls", "planned_on", "mould", "vat", "drying", "dryer", "consistency",
    "thick_consistency", "beaten_minutes", "sample", "remarks",
)  # fmt: skip


def safe_pulls(spec: SheetSpec, wanted_good: int) -> int:
    """Return the pulls that give so many good sheets with the studio's assurance."""
    return culls.pulls_safe(
        wanted_good,
        good_share=spec.good_share,
        sheets_per_pull=spec.at_least_one_per_pull(),
        assurance=spec.assurance,
        learned=spec.learned,
    )


def good_on_average(spec: SheetSpec, pulls: int) -> int:
    """Return about how many good sheets so many pulls give, no more than they give on average."""
    return floor(pulls * spec.at_least_one_per_pull() * spec.good_share)


def few_pulls_words(spec: SheetSpec, pulls: int, wanted_good: int) -> str:
    """Say that pulls give fewer good sheets than are wanted; nothing where they give enough."""
    good = good_on_average(spec, pulls)
    if good >= wanted_good:
        return ""
    give = "gives" if pulls == 1 else "give"
    return (
        f"{show_count(pulls, 'pull')} {give} about {show_count(good, 'good sheet')}, and "
        f"{show_number(wanted_good)} {'is' if wanted_good == 1 else 'are'} wanted."
    )


def still_to_make(commission: Commission) -> int:
    """Return the good sheets that are neither made for a commission nor planned, at least 1."""
    return max(left_to_plan(commission), 1)


def left_to_plan(commission: Commission) -> int:
    """Return the good sheets that are neither made for a commission nor planned, or 0."""
    made = sheetsinhand.kept(commission).made
    planned = (
        commission.makings.filter(state__in=Making.OPEN).aggregate(all=Sum("wanted_good"))["all"]
        or 0
    )
    return max(commission.good_quantity - made - planned, 0)


def usual_dryer(drying: str) -> Dryer | None:
    """Return a dryer that is open and dries so."""
    return Dryer.objects.filter(closed_on__isnull=True, drying=drying).first()


def goes_into(mould: Mould, vat: Vat) -> bool:
    """Tell whether a mould can be dipped into a vat, whichever way it is held."""
    sides = sorted((mould.width_um, mould.height_um))
    return all(
        side < inside
        for side, inside in zip(sides, sorted((vat.width_um, vat.height_um)), strict=True)
    )


def usual_vat(mould: Mould | None = None) -> Vat | None:
    """Return the smallest open vat that takes a mould: it leaves the least heel."""
    vats = Vat.objects.filter(closed_on__isnull=True)
    fitting = [vat for vat in vats if mould is None or goes_into(mould, vat)]
    return min(fitting, key=lambda vat: vat.litres, default=None)


@acting()
def plan_making(making: Making, *, by: Any, key: uuid.UUID | None = None) -> Making:
    """Plan a new making; the pulls it leaves open are those of the safe count."""
    if key is not None:
        refuse_repeat(key)
    _refuse_other_sheet(making)
    if not making.pulls:
        making.pulls = safe_pulls(spec_of(making), making.wanted_good)
    making.ref = making.ref or f"M-{Counter.next('making'):03d}"
    making.full_clean()
    making.save()
    enter(
        "planned making",
        f"Planned {making.ref}: {making.wanted_good} good of {making.sheet}",
        page=making.get_absolute_url(),
        key=key,
        by=by,
    )
    return making


@acting()
def change_making(
    making: Making,
    *,
    by: Any,
    key: uuid.UUID | None = None,
    changed: Sequence[str] = CHANGEABLE,
) -> Making:
    """Keep what was changed in a making that is not over."""
    if key is not None:
        refuse_repeat(key)
    held = _open(making, "changed")
    making.state = held.state
    if not making.pulls:
        making.pulls = safe_pulls(spec_of(making), making.wanted_good)
    making.full_clean()
    making.save(update_fields=changed)
    enter(
        "changed making",
        f"Changed {making.ref}",
        page=making.get_absolute_url(),
        key=key,
        by=by,
    )
    return making


@acting()
def give_up(making: Making, *, by: Any, key: uuid.UUID | None = None) -> Making:
    """Give a making up; nothing in the store moves, and what was noted stays to be read."""
    if key is not None:
        refuse_repeat(key)
    held = _open(making, "given up")
    held.state = making.state = State.GIVEN_UP
    held.save(update_fields=["state"])
    enter(
        "gave up making",
        f"Gave up {held.ref}",
        page=held.get_absolute_url(),
        key=key,
        by=by,
    )
    return making


def _open(making: Making, deed: str) -> Making:
    """Return the making as it is kept, under a lock; refuse one that is over."""
    held = Making.objects.select_for_update().get(pk=making.pk)
    if not held.is_open:
        word = held.get_state_display().lower()
        raise StudioError(f"{held.ref} is {word}, so it is not {deed} any more.", value=word)
    return held


def _refuse_other_sheet(making: Making) -> None:
    """Refuse a sheet that the commission did not ask for, and a commission that is over."""
    commission = making.commission
    if commission is None:
        return
    if commission.sheet_id != making.sheet_id:
        raise StudioError(
            f"{commission.ref} asks for {commission.sheet}. Take that sheet, or plan the making "
            "for the studio itself.",
            field="sheet",
            value=making.sheet_id,
        )
    if not commission.is_promise:
        word = commission.get_state_display().lower()
        raise StudioError(
            f"{commission.ref} is {word}. A making is planned for one that is agreed or being "
            "made.",
            field="commission",
            value=commission.state,
        )
