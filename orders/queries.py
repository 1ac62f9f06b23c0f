"""Readings of commissions, sheets and clients, each in a number of queries that does not grow."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.db.models import Case, CharField, Count, F, Max, Q, QuerySet, Value, When
from django.db.models.functions import Concat

from fibres.models import Lot
from orders.models import Client, Commission, Sheet
from studio import roles

SOMEBODY = "a client"
FOR_THE_STUDIO = "For the studio itself"
SOON_DAYS = 14


def commissions_for(user: Any) -> QuerySet[Commission]:
    """Return commissions with their sheet; who they are for only where the role may know it.

    The name is left out where the rows are read, not where they are shown.
    """
    rows = Commission.objects.select_related("sheet")
    if not roles.can(user, "money"):
        rows = rows.defer("agreed_price_minor")
    if roles.can(user, "clients.see"):
        return rows.annotate(client_name=F("client__name"))
    return rows.annotate(client_name=Value(SOMEBODY, output_field=CharField()))


def sheets() -> QuerySet[Sheet]:
    """Return sheets with furnish and mould, and how many open commissions want them."""
    wanted = Q(commissions__state__in=Commission.OPEN)
    # Rows that are counted over lose the model's own order.
    return (
        Sheet.objects.select_related("furnish", "mould")
        .annotate(open_commissions=Count("commissions", filter=wanted))
        .order_by("name")
    )


def clients(user: Any) -> QuerySet[Client]:
    """Return clients with their commissions counted; how to reach them only for who may know."""
    rows = Client.objects.all()
    if not roles.can(user, "clients.contact"):
        rows = rows.defer("contact", "remarks")
    open_ones = Q(commissions__state__in=Commission.OPEN)
    return rows.annotate(
        all_commissions=Count("commissions"),
        open_commissions=Count("commissions", filter=open_ones),
        last_due=Max("commissions__due"),
    ).order_by("name")


def clients_named(user: Any) -> QuerySet[Client]:
    """Return clients by name, with how to reach them for who may know it and "" for others."""
    sees = roles.can(user, "clients.contact")
    nothing = Value("", output_field=CharField())
    return Client.objects.annotate(
        contact_known=F("contact") if sees else nothing,
        remarks_known=F("remarks") if sees else nothing,
    ).order_by("name")


def made_for() -> Any:
    """Return what a making is for, in words, for a query."""
    commission = Concat("commission__ref", Value(" "), "commission__title")
    itself = When(commission=None, then=Value(FOR_THE_STUDIO))
    return Case(itself, default=commission, output_field=CharField())


def lots_to_use_soon(today: date) -> QuerySet[Lot]:
    """Return lots with fibre left that keep for two weeks or less, or are past their day."""
    return (
        Lot.objects.filter(oven_dry_mg__gt=0, keep_until__lte=today + timedelta(days=SOON_DAYS))
        .select_related("fibre")
        .defer("paid_minor")
        .order_by("keep_until", "pk")
    )
