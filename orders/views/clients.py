"""Pages of clients."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.shortcuts import get_object_or_404
from django.views.generic import TemplateView

from orders import queries
from orders.explained.commission import of_list
from orders.explained.sheets import open_for
from orders.filters import ClientFilter
from orders.forms import ClientForm
from orders.models import Client
from orders.tables import ClientTable, CommissionTable
from orders.views.shapes import covers_now
from studio import roles
from studio.explaining import Explained, first_of
from studio.lists import ListPage, house_table
from studio.pages import ClosePage, HousePage, RowPage
from studio.roles import needs


@needs("clients.see")
class ClientList(ListPage):
    """Every client."""

    template_name = "orders/clients.html"
    table_class = ClientTable
    filterset_class = ClientFilter
    heading = "Clients"
    lede = "Those the commissions are for. One is entered here, or with the first commission."
    back = ("Commissions", "commissions")
    export_name = "clients"
    export_need = "orders.change"

    def get_queryset(self) -> Any:
        """Return clients with their counts."""
        return queries.clients(self.request.user)

    def table_kwargs(self) -> dict[str, Any]:
        """Leave out how to reach them for who may not know."""
        sees = roles.can(self.request.user, "clients.contact")
        return {} if sees else {"exclude": ["contact"]}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add whether a client can be entered."""
        may_change = roles.can(self.request.user, "orders.change")
        return super().get_context_data(may_change=may_change, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what is counted, by the first of the list."""
        first = first_of(shown["table"])
        if first is None:
            return [open_for()]
        return [open_for(first.name, first.open_commissions, first.all_commissions)]


@needs("clients.see")
class ClientPage(HousePage, TemplateView):
    """A client and the commissions for it."""

    template_name = "orders/client.html"
    back = ("Clients", "clients")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the client and its commissions."""
        user = self.request.user
        client = get_object_or_404(queries.clients(user), pk=self.kwargs["pk"])
        rows = queries.commissions_for(user).filter(client=client)
        count = client.commissions.filter(state__in=client.commissions.model.OPEN).count()
        table = house_table(
            self.request,
            CommissionTable,
            rows.order_by("-due", "ref"),
            covers=covers_now(),
            nothing="No commission is entered for this client yet.",
        )
        return super().get_context_data(
            client=client,
            table=table,
            heading=client.name,
            lede=_lede(client, count),
            may_change=roles.can(user, "orders.change"),
            sees_contact=roles.can(user, "clients.contact"),
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what is open, and what the marks mean."""
        client, table = shown["client"], shown["table"]
        counted = open_for(client.name, client.open_commissions, client.all_commissions)
        return [counted, *of_list(table)]


def _lede(client: Client, count: int) -> str:
    closed = "Closed: kept for its history and hidden from choices. " if client.is_closed else ""
    if not count:
        return f"{closed}Nothing is open for this client."
    return f"{closed}{count} {'commission is' if count == 1 else 'commissions are'} open."


@needs("orders.change")
class ClientEdit(RowPage):
    """Enter or change a client."""

    model = Client
    form_class = ClientForm
    noun = "client"
    back = ("Clients", "clients")
    lede = (
        "A name is enough. Hands see the name alone, and a viewer reads “a client”; contact and "
        "remarks are for the owner."
    )
    button = "Keep the client"


@needs("orders.change")
class ClientClose(ClosePage):
    """Remove or close a client."""

    model = Client
    noun = "client"
    list_route = "clients"
