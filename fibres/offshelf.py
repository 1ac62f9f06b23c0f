"""What is off its shelf though the book still has it: weighed out, and not entered as used yet.

The store knows nothing of makings. The app that weighs out for them gives its answer here when
the program starts; without one everything lies where the book says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from fibres.models import Lot
from fibres.wording import mass_words
from studio.errors import NotEnoughError, StudioError

# Oven-dry milligrams by the reference of the making that they are weighed out for.
ByMaking = Mapping[str, int]
Answer = Callable[[Iterable[int]], Mapping[int, ByMaking]]
_answers: list[Answer] = []


def answered_by(answer: Answer) -> None:
    """Let a function say how much of lots is weighed out, by the lot's key and the making."""
    _answers[:] = [answer]


def weighed_out(lots: Iterable[int]) -> Mapping[int, ByMaking]:
    """Return how much of lots is weighed out for which making; not those of nothing.

    Lots are their keys, or a query for them, where they may be many.
    """
    return _answers[0](lots) if _answers else {}


def weighed_out_by_fibre() -> dict[int, int]:
    """Return how much of each fibre is weighed out, oven-dry, by the key of the fibre."""
    out = weighed_out(Lot.objects.filter(oven_dry_mg__gt=0).values_list("pk", flat=True))
    found: dict[int, int] = {}
    for lot, fibre in Lot.objects.filter(pk__in=out).values_list("pk", "fibre_id"):
        found[fibre] = found.get(fibre, 0) + sum(out[lot].values())
    return found


def in_words(lot: Lot, out: ByMaking) -> str:
    """Say how much of a lot is weighed out, and for which makings."""
    makings = " and ".join(sorted(out))
    return (
        f"{mass_words(sum(out.values()))[0]} oven-dry of {lot.ref} is weighed out for {makings}, "
        f"which {'is' if len(out) == 1 else 'are'} not finished."
    )


def refuse_weighed_out(lots: Iterable[Lot], *, then: str = "count") -> None:
    """Refuse to count or close lots of which some is at the vat: it would be taken out twice."""
    by_key = {lot.pk: lot for lot in lots}
    out = weighed_out(by_key)
    faults = [in_words(lot, out[pk]) for pk, lot in by_key.items() if out.get(pk)]
    if faults:
        raise StudioError(
            f"{' '.join(faults)} Finish the making or put that back first, then {then}.",
            field="mass",
        )


def refuse_below_weighed_out(
    lot: Lot, *, field: str = "mass", otherwise: str = "give another mass here"
) -> None:
    """Refuse what has left a lot with less than is weighed out of it for open makings."""
    out = weighed_out([lot.pk]).get(lot.pk, {})
    if lot.oven_dry_mg >= sum(out.values()):
        return
    raise NotEnoughError(
        f"{in_words(lot, out)} The lot would hold no more than {mass_words(lot.oven_dry_mg)[0]}. "
        "Put back in the log of the making what was not there, then put this right, or "
        f"{otherwise}.",
        field=field,
        value=lot.oven_dry_mg,
    )
