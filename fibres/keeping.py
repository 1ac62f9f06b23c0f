"""What a making kept as lots, held against what went into it: never more, oven-dry.

The store knows nothing of makings. The app that keeps broke and heel as lots gives its answers
here when the program starts; without them a lot may have come with any mass.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fibres.models import Lot, Movement
from fibres.wording import mass_words
from studio.errors import RangeError


@dataclass(frozen=True, slots=True)
class Bound:
    """How far a mass can be put right, oven-dry, and the making that sets the bound."""

    making: str
    oven_dry_mg: int


Answer = Callable[[int], Bound | None]
_answers: list[tuple[Answer, Answer]] = []


def answered_by(*, most_kept: Answer, least_issued: Answer) -> None:
    """Let two functions say what bounds the lot of one key, and the issue of one key.

    A lot can have come with so much at most; an issue must have taken out so much at least. None
    where no making kept anything of it.
    """
    _answers[:] = [(most_kept, least_issued)]


def refuse_more_than_was_made(
    lot: Lot,
    received_oven_dry_mg: int,
    *,
    field: str = "mass",
    otherwise: str = "give a smaller mass here",
) -> None:
    """Refuse to have a making keep more than went into it."""
    bound = _answers[0][0](lot.pk) if _answers else None
    if bound is None or received_oven_dry_mg <= bound.oven_dry_mg:
        return
    shown, asked = mass_words(max(bound.oven_dry_mg, 0), received_oven_dry_mg)
    raise RangeError(
        f"{lot.ref} is broke or heel of {bound.making}. {asked} oven-dry is more than the {shown} "
        "that went into its making and is not kept otherwise. Correct what was weighed out "
        f"first, or {otherwise}.",
        field=field,
        value=received_oven_dry_mg,
    )


def refuse_less_than_is_kept(movement: Movement, issued_oven_dry_mg: int) -> None:
    """Refuse to put an issue right to less than its making kept of it."""
    bound = _answers[0][1](movement.pk) if _answers else None
    if bound is None or issued_oven_dry_mg >= bound.oven_dry_mg:
        return
    shown, asked = mass_words(bound.oven_dry_mg, issued_oven_dry_mg)
    raise RangeError(
        f"{bound.making} kept broke or heel that holds {shown} oven-dry of what was weighed out "
        f"here, and {asked} would be less. Correct the lots that it kept first, or give a larger "
        "mass here.",
        field="mass",
        value=issued_oven_dry_mg,
    )
