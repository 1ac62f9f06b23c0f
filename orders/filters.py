"""What the lists of commissions, sheets and clients can be narrowed by."""

from __future__ import annotations

from typing import Any

from django_filters import ChoiceFilter, ModelChoiceFilter

from fibres.models import Furnish
from orders.models import Client, Commission
from studio import roles
from studio.lists import DayFilter, HouseFilterSet, WordsFilter


class CommissionFilter(HouseFilterSet):
    """Commissions by state, client, day due and words."""

    state = ChoiceFilter(
        choices=[
            ("open", "Open"),
            ("promised", "Promised: agreed or making"),
            *Commission.State.choices,
        ],
        method="in_state",
        label="State",
    )
    client = ModelChoiceFilter(queryset=Client.objects.defer("contact", "remarks"), label="Client")
    due_from = DayFilter(field_name="due", lookup_expr="gte", label="Due from")
    due_to = DayFilter(field_name="due", lookup_expr="lte", label="Due up to")
    words = WordsFilter(("ref", "title", "sheet__name", "client_name"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not roles.can(self.request.user, "clients.see"):
            del self.filters["client"]

    def in_state(self, rows: Any, name: str, value: str) -> Any:
        """Keep one state, or several that belong together."""
        together = {"open": Commission.OPEN, "promised": Commission.PROMISES}
        return rows.filter(state__in=together.get(value, (value,)))


class SheetFilter(HouseFilterSet):
    """Sheets by furnish, words, and whether they are still made."""

    furnish = ModelChoiceFilter(queryset=Furnish.objects.all(), label="Furnish")
    words = WordsFilter(("name", "furnish__name", "mould__name"))
    closed = ChoiceFilter(
        choices=[("no", "Still made"), ("yes", "Closed")], method="by_closing", label="Made"
    )

    def by_closing(self, rows: Any, name: str, value: str) -> Any:
        """Keep rows that are closed, or those that are not."""
        return rows.filter(closed_on__isnull=value == "no")


class ClientFilter(HouseFilterSet):
    """Clients by words; how to reach them is searched only by who may read it."""

    words = WordsFilter(("name", "contact", "remarks"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not roles.can(self.request.user, "clients.contact"):
            self.filters["words"].searched = ("name",)


class InHandFilter(HouseFilterSet):
    """Makings with sheets in hand, by words."""

    words = WordsFilter(("ref", "sheet__name", "commission__ref", "commission__title"))


class SpoiltFilter(HouseFilterSet):
    """Spoilt sheets by the day and words."""

    from_day = DayFilter(field_name="happened_on", lookup_expr="gte", label="From")
    to_day = DayFilter(field_name="happened_on", lookup_expr="lte", label="Up to")
    words = WordsFilter(("making__ref", "making__sheet__name", "why"))


class DeliveryFilter(HouseFilterSet):
    """Parcels by the day they left and words."""

    sent_from = DayFilter(field_name="sent_on", lookup_expr="gte", label="Sent from")
    sent_to_day = DayFilter(field_name="sent_on", lookup_expr="lte", label="Sent up to")
    words = WordsFilter(("ref", "commission__ref", "commission__title"))
