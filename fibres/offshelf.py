"""What is off its shelf though the book still has it: weighed out, and not entered as used yet.

The store knows nothing of makings. The app that weighs out for them gives its answer here when
the program starts; without one everything lies where the book says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from fibres.models import Lot
from fibres.wording import mass_words
from studio.errors import StudioError

Answer = Callable[[Iterable[int]], Mapping[int, int]]
_answers: list[Answer] = []


def answered_by(answer: Answer) -> None:
    """Let a function say how much of lots is weighed out, oven-dry, by the lot's key."""
    _answers[:] = [answer]


def weighed_out_mg(lots: Iterable[int]) -> Mapping[int, int]:
    """Return how much of lots is weighed out, oven-dry, by the lot's key; not those of nothing."""
    return _answers[0](lots) if _answers else {}


def in_words(lot: Lot, oven_dry_mg: int) -> str:
    """Say how much of a lot is weighed out."""
    return (
        f"{mass_words(oven_dry_mg)[0]} oven-dry of {lot.ref} is weighed out for a making that is "
        "not finished."
    )


def refuse_weighed_out(lots: Iterable[Lot], *, then: str = "count") -> None:
    """Refuse to count or close lots of which some is at the vat: it would be taken out twice."""
    by_key = {lot.pk: lot for lot in lots}
    out = weighed_out_mg(by_key)
    faults = [in_words(lot, out[pk]) for pk, lot in by_key.items() if out.get(pk)]
    if faults:
        raise StudioError(
            f"{' '.join(faults)} Finish the making or put that back first, then {then}.",
            field="mass",
        )
