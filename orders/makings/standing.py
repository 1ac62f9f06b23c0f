"""What stands of a making's issues: noted only, or put right in the ledger since."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.models import QuerySet, Sum

from fibres.models import Movement
from orders.models import Issue, Making, SheetMovement
from studio.files.lists import portions

# A statement of SQLite takes 32 766 values where it is not built for more.
MOST_KEYS = 10_000


def standing(
    movements: Iterable[Movement], *, using: str = "default"
) -> dict[int, Movement | None]:
    """Return what stands of each movement, by its key: itself, its correction, or nothing.

    A correction is a contrary movement and, in the same entry, what is right; that may have been
    put right again. One look takes two queries for each ten thousand movements.
    """
    found: dict[int, Movement | None] = {movement.pk: movement for movement in movements}
    looked_at = dict(found)
    while looked_at:
        keys = [movement.pk for movement in looked_at.values() if movement]
        rows = Movement.objects.using(using)
        taken_back: dict[int, int] = {}
        for some in portions(keys, MOST_KEYS):
            contrary = rows.filter(reverses__in=some)
            taken_back.update(contrary.values_list("reverses_id", "entry_id"))
        if not taken_back:
            break
        right = {
            (movement.entry_id, movement.lot_id, movement.kind): movement
            for some in portions(list(taken_back.values()), MOST_KEYS)
            for movement in rows.filter(entry__in=some, reverses=None)
        }
        corrected = {
            key: right.get((taken_back[movement.pk], movement.lot_id, movement.kind))
            for key, movement in looked_at.items()
            if movement and movement.pk in taken_back
        }
        found |= corrected
        looked_at = {key: movement for key, movement in corrected.items() if movement}
    return found


def issues_with_movements(*, using: str = "default") -> QuerySet[Issue]:
    """Return issues, each with its movement; there may be many, and no words of them are read."""
    of_both = ("lot", "as_is_mg", "oven_dry_mg")
    of_movements = ("kind", "entry", "reverses", *of_both)
    return (
        Issue.objects.using(using)
        .select_related("movement")
        .only("making", "movement", *of_both, *(f"movement__{name}" for name in of_movements))
        .order_by("pk")
    )


def issued_by(movement: int) -> tuple[int, int] | None:
    """Return the key of the making that a movement issues to, and its oven-dry milligrams.

    None where it issues to no making, or has been put right since.
    """
    issues = list(
        Issue.objects.filter(lot__movements=movement, movement__isnull=False).select_related(
            "movement"
        )
    )
    stands = standing(issue.movement for issue in issues)
    for issue in issues:
        now = stands[issue.movement_id]
        if now is not None and now.pk == movement:
            return issue.making_id, -now.oven_dry_mg
    return None


def issued_by_lot(
    makings: Iterable[Making], *, using: str = "default"
) -> dict[tuple[int, int], int]:
    """Return the oven-dry milligrams issued, by the keys of making and lot, as they now stand.

    Of a making that is not finished they are what was weighed out so far. What was corrected to
    nothing is left out.
    """
    rows = issues_with_movements(using=using)
    keys = [making.pk for making in makings]
    issues = [
        issue for some in portions(keys, MOST_KEYS) for issue in rows.filter(making__in=some)
    ]
    stands = standing((issue.movement for issue in issues if issue.movement), using=using)
    found: dict[tuple[int, int], int] = {}
    for issue in issues:
        mass = issue.oven_dry_mg
        if issue.movement_id:
            now = stands[issue.movement_id]
            mass = -now.oven_dry_mg if now else 0
        if mass:
            key = (issue.making_id, issue.lot_id)
            found[key] = found.get(key, 0) + mass
    return found


def sheets_made(makings: Iterable[int]) -> dict[tuple[int, str], int]:
    """Return the sheets the book has as made, by the keys of makings and quality.

    What was put right counts as it is now; what was sent or spoilt since was made all the same.
    """
    kinds = [SheetMovement.Kind.MADE, SheetMovement.Kind.CORRECTED]
    rows = (
        SheetMovement.objects.filter(
            making__in=list(makings), kind__in=kinds, delivery=None, reverses=None
        )
        .order_by()
        .values_list("making", "quality")
        .annotate(Sum("sheets"))
    )
    return {(making, quality): sheets for making, quality, sheets in rows}
