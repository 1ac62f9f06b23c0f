"""How many finished sheets lie there, and what the promises have of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from django.db.models import Case, F, Q, QuerySet, Sum, When

from orders.models import Commission, Delivery, Making, SheetMovement
from studio.errors import RangeError

Quality = SheetMovement.Quality
IS_GOOD = Q(sheet_movements__quality=Quality.GOOD)
IS_RETREE = Q(sheet_movements__quality=Quality.RETREE)


# --- what is there -------------------------------------------------------------------------------


def in_hand() -> QuerySet[Making]:
    """Return the makings of which sheets lie there, with how many good and how many retree."""
    return (
        Making.objects.annotate(
            good_in_hand=Sum("sheet_movements__sheets", filter=IS_GOOD, default=0),
            retree_in_hand=Sum("sheet_movements__sheets", filter=IS_RETREE, default=0),
        )
        .filter(Q(good_in_hand__gt=0) | Q(retree_in_hand__gt=0))
        .select_related("sheet", "commission")
        .order_by("finished_on", "pk")
    )


def sendable(commission: Commission | None) -> QuerySet[Making]:
    """Return the makings whose sheets can go out: for a commission, its own first.

    Sheets of another making will do where they are of the same kind and nobody waits for them.
    """
    free = Q(commission__isnull=True) | ~Q(commission__state__in=Commission.OPEN)
    if commission is None:
        # Nobody is promised retree, so it can always go.
        return in_hand().filter(free | Q(retree_in_hand__gt=0))
    rows = in_hand().filter(free | Q(commission=commission), sheet=commission.sheet_id)
    own_first = Case(When(commission=commission, then=0), default=1)
    return rows.order_by(own_first, "finished_on", "pk")


def balances(makings: Iterable[int]) -> dict[tuple[int, str], int]:
    """Return the sheets in hand by making and quality."""
    rows = (
        SheetMovement.objects.filter(making__in=list(makings))
        .order_by()
        .values_list("making", "quality")
        .annotate(Sum("sheets"))
    )
    return {(making, quality): sheets for making, quality, sheets in rows}


# --- what promises have of them ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Kept:
    """How far the good sheets of a commission have come; ``most`` is all that its client takes."""

    wanted: int
    sent: int = 0
    in_hand: int = 0
    most: int = 0

    @property
    def made(self) -> int:
        """Good sheets that were made for it and not spoilt, sent or not."""
        return self.sent + self.in_hand

    @property
    def to_make(self) -> int:
        """Good sheets that are not made for it yet."""
        return max(0, self.wanted - self.made)

    @property
    def to_send(self) -> int:
        """Good sheets that its client still waits for."""
        return max(0, self.wanted - self.sent)

    @property
    def may_send(self) -> int:
        """Good sheets that may still be sent, with what the client takes over."""
        return max(0, self.most - self.sent)


def made_for() -> dict[int, tuple[int, int]]:
    """Return good sheets sent for each open commission, and good ones in hand of its makings.

    What was made for it and went to somebody else, or was spoilt, is neither.
    """
    open_ones = Q(making__commission__state__in=Commission.OPEN) | Q(
        delivery__commission__state__in=Commission.OPEN
    )
    return _made(open_ones)


def _made(which: Q) -> dict[int, tuple[int, int]]:
    rows = (
        SheetMovement.objects.filter(which, quality=Quality.GOOD)
        .order_by()
        .values_list("making__commission", "delivery__commission")
        .annotate(Sum("sheets"))
    )
    sent: dict[int, int] = {}
    lying: dict[int, int] = {}
    for made_for_it, sent_for_it, sheets in rows:
        if made_for_it is not None:
            lying[made_for_it] = lying.get(made_for_it, 0) + sheets
        if sent_for_it is not None:
            sent[sent_for_it] = sent.get(sent_for_it, 0) - sheets
    return {key: (sent.get(key, 0), lying.get(key, 0)) for key in {*sent, *lying}}


def lines_of(delivery: Delivery) -> list[tuple[Making, str, int]]:
    """Return the sheets of a parcel by making and quality; what was taken back is gone."""
    rows = (
        delivery.sheet_movements.order_by("making__ref", "quality")
        .values_list("making", "quality")
        .annotate(Sum("sheets"))
    )
    found = [(making, quality, -sheets) for making, quality, sheets in rows if sheets]
    makings = Making.objects.select_related("sheet").in_bulk([making for making, *_ in found])
    return [(makings[making], quality, sheets) for making, quality, sheets in found]


def spoilt() -> QuerySet[SheetMovement]:
    """Return what was entered as spoilt, the last first, with whether it was taken back."""
    return (
        SheetMovement.objects.filter(kind=SheetMovement.Kind.SPOILT)
        .select_related("making__sheet", "reversed_by")
        .annotate(spoilt=-F("sheets"))
        .order_by("-happened_on", "-pk")
    )


def deliveries() -> QuerySet[Delivery]:
    """Return parcels with how many good and retree sheets are in each."""
    return Delivery.objects.select_related("commission").annotate(
        good=-Sum("sheet_movements__sheets", filter=IS_GOOD, default=0),
        retree=-Sum("sheet_movements__sheets", filter=IS_RETREE, default=0),
    )


def kept(commission: Commission) -> Kept:
    """Return how far one commission has come."""
    which = Q(making__commission=commission.pk) | Q(delivery__commission=commission.pk)
    sent, lying = (0, 0) if commission.pk is None else _made(which).get(commission.pk, (0, 0))
    return Kept(commission.good_quantity, sent, lying, most_taken(commission))


def refuse_fewer_than_sent(commission: Commission, good: int) -> None:
    """Refuse a number of good sheets below what its client has been sent already."""
    sent = kept(commission).sent
    if good < sent:
        raise RangeError(
            f"{sent} good sheets of {commission.ref} have been sent already. Give {sent} or "
            f"more, got {good}; or take a parcel back first.",
            field="good_quantity",
            value=good,
        )


def most_taken(commission: Commission) -> int:
    """Return the most good sheets that a client takes, counted exactly."""
    wanted = commission.good_quantity
    return wanted + int(wanted * Fraction(commission.tolerance_over))


def all_made() -> list[str]:
    """Return the promises whose sheets are all made and not all sent, the next due first."""
    found = made_for()
    rows = Commission.objects.filter(pk__in=found, state__in=Commission.PROMISES)
    return [
        ref
        for pk, ref, wanted in rows.order_by("due", "ref").values_list(
            "pk", "ref", "good_quantity"
        )
        if sum(found[pk]) >= wanted
    ]
