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


def refuse_weighed_out(lots: Iterable[Lot]) -> None:
    """Refuse to count lots of which some is at the vat: it would be taken out twice."""
    by_key = {lot.pk: lot for lot in lots}
    out = _answers[0](by_key) if _answers else {}
    faults = [
        f"{mass_words(out[pk])[0]} oven-dry of {lot.ref} is weighed out for a making that is not "
        "finished."
        for pk, lot in by_key.items()
        if out.get(pk)
    ]
    if faults:
        raise StudioError(
            f"{' '.join(faults)} Finish the making or put that back first, then count.",
            field="mass",
        )
