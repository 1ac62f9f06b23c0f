"""Readings of the store, each in a number of queries that does not grow with the rows."""

from __future__ import annotations

from typing import Any

from django.db.models import Count, Max, Q, QuerySet, Sum

from fibres.models import Fibre, Lot, Movement
from studio import roles

# What only the owner sees is left out where the rows are read, not where they are shown.
LOT_MONEY = ("paid_minor",)


def lots_for(user: Any) -> QuerySet[Lot]:
    """Return lots with fibre and source, without money where the role may not see it."""
    lots = Lot.objects.select_related("fibre", "source")
    return lots if roles.can(user, "money") else lots.defer(*LOT_MONEY)


def fibres_in_store() -> QuerySet[Fibre]:
    """Return fibres with what is on hand, in how many lots, and the last receipt."""
    held = Q(lots__oven_dry_mg__gt=0)
    return Fibre.objects.annotate(
        on_hand_mg=Sum("lots__oven_dry_mg", filter=held, default=0),
        lots_held=Count("lots", filter=held),
        last_received=Max("lots__received_on"),
    )


def movements_of(lot: Lot) -> QuerySet[Movement]:
    """Return the ledger of a lot, oldest first, with who entered each line."""
    return lot.movements.select_related("entry__by", "reverses", "reversed_by").order_by("pk")
