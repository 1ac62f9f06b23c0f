"""One movement of sheets, and what every act on them looks at under the lock of its makings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from django.utils import timezone

from orders.models import Delivery, Making, SheetMovement
from orders.sheetsinhand.holding import balances
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry


def locked_makings(keys: Iterable[int]) -> dict[int, Making]:
    """Lock makings in the order of their keys, so that two acts never wait for each other."""
    rows = Making.objects.select_for_update().filter(pk__in=set(keys)).order_by("pk")
    return {making.pk: making for making in rows}


def unfinished_words(making: Making) -> str:
    """Say why a making has no sheets in hand yet; nothing where it is finished."""
    if making.state == Making.State.FINISHED:
        return ""
    return f"{making.ref} is {making.state}. Only a finished making has sheets in hand."


def refuse_unfinished(making: Making) -> None:
    """Refuse an act on sheets that finishing has not entered yet; its lock is held."""
    said = unfinished_words(making)
    if said:
        raise StudioError(said)


def refuse_early(day: date, making: Making, field: str) -> None:
    """Refuse a day that has not come, or on which the sheets were not made."""
    if day > timezone.localdate() + timedelta(days=1):
        raise RangeError(
            f"{day:%d %b %Y} has not come yet. Give today or a day before it.",
            field=field,
            value=day,
        )
    made_on = making.finished_on
    if made_on is not None and day < made_on:
        raise RangeError(
            f"{making.ref} was finished on {made_on:%d %b %Y}. Give that day or a later one.",
            field=field,
            value=day,
        )


def refuse_more_than_there(
    wanted: Mapping[tuple[int, str], int], makings: Mapping[int, Making]
) -> None:
    """Refuse more sheets of a making and quality than lie there; its lock is held."""
    there = balances(makings)
    for (making, quality), sheets in wanted.items():
        held = there.get((making, quality), 0)
        if sheets > held:
            raise NotEnoughError(
                too_few_words(makings[making], quality, held, asked=sheets),
                field=field_of(quality, makings[making]),
                value=sheets,
            )


def too_few_words(making: Making, quality: str, held: int, *, asked: int) -> str:
    """Say that fewer sheets lie there than are asked for."""
    if not held:
        return f"Of {making.ref} no {quality} sheet is in hand any more."
    left = f"{held} {quality} {noun(held)} {'is' if held == 1 else 'are'} in hand"
    wanted = f"{asked} {'is' if asked == 1 else 'are'}"
    return (
        f"Of {making.ref} {left} and {wanted} asked for. Give {held} or fewer, or count what "
        "lies there."
    )


def post(
    making: Making,
    quality: str,
    kind: str,
    sheets: int,
    *,
    on: date,
    entry: Entry,
    delivery: Delivery | None = None,
    reverses: SheetMovement | None = None,
    why: str = "",
) -> SheetMovement:
    """Write one movement of sheets, signed into the store."""
    movement = SheetMovement(
        making=making,
        quality=quality,
        kind=kind,
        sheets=sheets,
        delivery=delivery,
        happened_on=on,
        why=why[:200],
        reverses=reverses,
        entry=entry,
    )
    unset = set() if delivery else {"delivery"}
    movement.full_clean(exclude={"making", "entry", *unset}, validate_unique=False)
    movement.save()
    return movement


def field_of(quality: str, making: Making) -> str:
    """Return the name of the field in which sheets of a making are asked for."""
    return f"{quality}_{making.pk}"


def noun(sheets: int) -> str:
    """Return the word for so many sheets."""
    return "sheet" if sheets == 1 else "sheets"
