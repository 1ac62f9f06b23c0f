"""Readings of the store, each in a number of queries that does not grow with the rows."""

from __future__ import annotations

from typing import Any

from django.db.models import Case, Count, F, Max, Prefetch, Q, QuerySet, Sum, Value, When

from fibres.models import Addition, Fibre, Furnish, FurnishPart, Lot, Movement, Source
from studio import roles

# What only the owner sees is left out where the rows are read, not where they are shown.
LOT_MONEY = ("paid_minor",)
A_DONOR = "A donor"


def knows_donors(user: Any) -> bool:
    """Tell whether a person takes gifts in and so knows who brought them."""
    return roles.can(user, "store.receive")


def _name_shown(user: Any, path: str = "") -> Any:
    """Return the name of a source as a person may read it, for a query."""
    if knows_donors(user):
        return F(f"{path}name")
    unnamed = When(
        **{f"{path}kind": Source.Kind.DONOR, f"{path}may_be_named": False}, then=Value(A_DONOR)
    )
    return Case(unnamed, default=F(f"{path}name"))


def lots_for(user: Any) -> QuerySet[Lot]:
    """Return lots with fibre and source, without money where the role may not see it."""
    lots = Lot.objects.select_related("fibre", "source").annotate(
        source_name=_name_shown(user, "source__")
    )
    return lots if roles.can(user, "money") else lots.defer(*LOT_MONEY)


def sources_for(user: Any) -> QuerySet[Source]:
    """Return sources by the name that may be read, with what came from each."""
    return Source.objects.annotate(
        name_shown=_name_shown(user),
        lots_given=Count("lots"),
        given_mg=Sum("lots__received_oven_dry_mg", default=0),
        last_received=Max("lots__received_on"),
    ).order_by("name_shown", "pk")


def sources_to_choose(user: Any) -> QuerySet[Source]:
    """Return the sources that a person may tell apart by name."""
    if knows_donors(user):
        return Source.objects.all()
    return Source.objects.exclude(kind=Source.Kind.DONOR, may_be_named=False)


def fibres_in_store() -> QuerySet[Fibre]:
    """Return fibres with what is on hand, in how many lots, and the last receipt."""
    held = Q(lots__oven_dry_mg__gt=0)
    return Fibre.objects.annotate(
        on_hand_mg=Sum("lots__oven_dry_mg", filter=held, default=0),
        lots_held=Count("lots", filter=held),
        last_received=Max("lots__received_on"),
    ).order_by("name")


def furnishes() -> QuerySet[Furnish]:
    """Return furnishes with their parts and the fibre of each."""
    parts = FurnishPart.objects.select_related("fibre")
    # Rows that are counted over lose the model's own order.
    counted = Furnish.objects.annotate(addition_count=Count("additions")).order_by("name")
    return counted.prefetch_related(Prefetch("parts", parts))


def movements_of(lot: Lot) -> QuerySet[Movement]:
    """Return the ledger of a lot, oldest first, with who entered each line."""
    return lot.movements.select_related("entry__by", "reverses", "reversed_by").order_by("pk")


def additions_for(user: Any, furnish: Furnish) -> QuerySet[Addition]:
    """Return the additions of a furnish, without prices where the role may not see them."""
    additions = furnish.additions.all()
    return additions if roles.can(user, "money") else additions.defer("minor_per_kg")
