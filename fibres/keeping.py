"""What a lot that came of a making can have held at most.

The store knows nothing of makings. The app that keeps broke and heel as lots gives its answer
here when the program starts; without one a lot may have come with any mass.
"""

from __future__ import annotations

from collections.abc import Callable

from fibres.models import Lot
from fibres.wording import mass_words
from studio.errors import RangeError

Answer = Callable[[int], int | None]
_answers: list[Answer] = []


def answered_by(answer: Answer) -> None:
    """Let a function say what a lot can have come with, oven-dry; None where it is no matter."""
    _answers[:] = [answer]


def refuse_more_than_was_made(lot: Lot, received_oven_dry_mg: int) -> None:
    """Refuse to have a making keep more than went into it."""
    most = _answers[0](lot.pk) if _answers else None
    if most is None or received_oven_dry_mg <= most:
        return
    shown, asked = mass_words(most, received_oven_dry_mg)
    raise RangeError(
        f"{lot.ref} is broke or heel. {asked} oven-dry is more than the {shown} that went into "
        "its making and is not kept otherwise. Correct what was weighed out first, or give a "
        "smaller mass here.",
        field="mass",
        value=received_oven_dry_mg,
    )
