"""Purchases: the list, and the page of one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.dateformat import format as day_in_words
from django.views.generic import TemplateView

from fibres import queries
from fibres.explained import buying as explained
from fibres.filters import PurchaseFilter
from fibres.models import Arrival, Purchase
from fibres.purchasing import claim_of
from fibres.tables.purchases import (
    ArrivalTable,
    PurchaseLineTable,
    PurchaseTable,
    late_in_words,
    masses_in_words,
)
from studio import roles
from studio.explaining import Explained, first_of
from studio.lists import ListPage, house_table
from studio.money import show_money
from studio.pages import HousePage
from studio.roles import needs
from studio.templatetags.studio import day as day_words
from studio.units import show_mass

State = Purchase.State


@needs("read")
class PurchaseList(ListPage):
    """Every order to a source, planned, on its way, come or given up."""

    template_name = "fibres/purchase_list.html"
    table_class = PurchaseTable
    filterset_class = PurchaseFilter
    heading = "Purchases"
    lede = "What is ordered from whom, when it is expected, and what has come."
    back = ("Sources", "sources")
    export_name = "purchases"

    def get_queryset(self) -> Any:
        """Return purchases, the newest first, as far as the reader may see them."""
        return queries.purchases_for(self.request.user)

    def table_kwargs(self) -> dict[str, Any]:
        """Say what the masses are."""
        return {"caption": masses_in_words(self.studio.units)}

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first purchase."""
        return explained.purchase_list(self.reader, first_of(shown["table"]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say whether an order can be planned."""
        may_buy = roles.can(self.request.user, "purchases.change")
        return super().get_context_data(may_buy=may_buy, **kwargs)


class OnePurchase:
    """A page about the purchase that its address names."""

    request: HttpRequest
    kwargs: dict[str, Any]

    @property
    def purchase(self) -> Purchase:
        """The purchase with its lines, read once."""
        known: Purchase | None = getattr(self, "_purchase", None)
        if known is None:
            rows = queries.purchases_for(self.request.user)
            known = self._purchase = get_object_or_404(rows, ref__iexact=self.kwargs["ref"])
        return known

    def get_back(self) -> tuple[str, str]:
        """Lead back to the purchase."""
        return (f"Purchase {self.purchase.ref}", self.purchase.get_absolute_url())


@needs("read")
class PurchasePage(OnePurchase, HousePage, TemplateView):
    """One purchase: what was ordered, what came of it, and what can be claimed."""

    template_name = "fibres/purchase.html"

    def get_back(self) -> tuple[str, str]:
        """Lead back to the list."""
        return ("Purchases", reverse("purchases"))

    def get_heading(self) -> str:
        """Return reference and source."""
        return f"{self.purchase.ref} {self.purchase.source_name}"  # type: ignore[attr-defined]

    def get_lede(self) -> str:
        """Say how it stands."""
        purchase = self.purchase
        return {
            State.PLANNED: self._planned,
            State.ORDERED: self._on_its_way,
            State.PART_RECEIVED: self._on_its_way,
            State.RECEIVED: self._received,
            State.CLOSED: self._closed,
        }[State(purchase.state)]()

    def _planned(self) -> str:
        day = self.purchase.order_by
        by = f" Order it by {day_in_words(day, 'j F')}." if day else ""
        return f"{self._mass('oven_dry_mg')} oven-dry is planned and not ordered yet.{by}"

    def _on_its_way(self) -> str:
        purchase = self.purchase
        day = day_in_words(purchase.expected_on, "j F")
        late = late_in_words(purchase)
        rest = " of it" if purchase.state == State.PART_RECEIVED else ""
        opening = f"{self._mass('to_come_mg')} oven-dry{rest} is on its way"
        if late:
            return f"{opening}, {late}: it was expected on {day}."
        return f"{opening}, expected on {day}."

    def _received(self) -> str:
        return f"All of it came: {self._mass('oven_dry_mg')} oven-dry was ordered."

    def _closed(self) -> str:
        given_up = self._mass("to_come_mg")
        came = any(line.packs_received for line in self.purchase.lines.all())
        if came:
            return f"Closed. {given_up} oven-dry of it was given up."
        return f"Closed. Nothing of it came, and {given_up} oven-dry was given up."

    def _mass(self, name: str) -> str:
        """Word one mass of the lines, added up."""
        total = sum(getattr(line, name) for line in self.purchase.lines.all())
        return show_mass(total, system=self.studio.units)

    def facts(self) -> list[list[tuple[Any, ...]]]:
        """Return what else is known, in two columns."""
        purchase = self.purchase
        source = purchase.source.get_absolute_url()
        when = [
            ("From", purchase.source_name, source),  # type: ignore[attr-defined]
            ("Order by", day_words(purchase.order_by)),
            ("Ordered", day_words(purchase.ordered_on)),
            ("Expected", day_words(purchase.expected_on)),
            ("Closed", day_words(purchase.closed_on)),
        ]
        return [when, [*self._prices(), ("Remarks", purchase.remarks)]]

    def _prices(self) -> list[tuple[str, str]]:
        if not self.sees_money:
            return []
        purchase, currency = self.purchase, self.studio.currency
        goods = sum(line.goods_minor for line in purchase.lines.all())
        named = [("Goods", goods), ("Freight", purchase.freight_minor)]
        named.append(("In all", goods + purchase.freight_minor))
        return [(name, show_money(minor, currency)) for name, minor in named]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add lines, lots, claims and what may be done."""
        purchase, user = self.purchase, self.request.user
        arrivals = list(queries.arrivals_for(user, purchase))
        may_change = roles.can(user, "purchases.change")
        return super().get_context_data(
            purchase=purchase,
            lines=self._table(
                PurchaseLineTable,
                purchase.lines.all(),
                prefix="lines-",
                caption=masses_in_words(self.studio.units, "; the pack as sold"),
            ),
            arrivals=self._table(ArrivalTable, arrivals, prefix="lots-"),
            has_come=bool(arrivals),
            claims=self.claims(arrivals) if self.sees_money else [],
            facts=self.facts(),
            is_planned=may_change and purchase.state == State.PLANNED,
            may_receive=purchase.is_on_its_way and roles.can(user, "store.receive"),
            may_put_off=purchase.is_on_its_way and may_change,
            may_close=purchase.state in Purchase.OPEN and may_change,
            **kwargs,
        )

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what is to come, what it costs, and what can be claimed."""
        return explained.of_purchase(self.reader, self.purchase, shown["claims"])

    def _table(self, table_class: Any, rows: Any, **told: Any) -> Any:
        return house_table(self.request, table_class, rows, paginate=False, **told)

    def claims(self, arrivals: list[Arrival]) -> list[tuple[str, str, Any]]:
        """Return what can be claimed, with fibre and working, lot by lot."""
        studio = self.studio
        return [
            (
                f"{arrival.lot.ref} {arrival.lot.fibre}",
                show_money(claim.claim_minor, studio.currency),
                claim.lines(studio.currency, system=studio.units),
            )
            for arrival in arrivals
            if (claim := claim_of(arrival)) is not None
        ]
