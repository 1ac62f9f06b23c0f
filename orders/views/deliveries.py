"""Pages of parcels: the list, the packing list of one, and taking it back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.shortcuts import get_object_or_404
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from orders import queries, sheetsinhand
from orders.deliveryforms import TakeBackForm
from orders.deliverytables import DeliveryTable, PackedTable
from orders.explained import finished as explained
from orders.explained.cost import of_parcel
from orders.explained.origin import of_makings
from orders.filters import DeliveryFilter
from orders.models import Delivery
from orders.views import deliverypanels as panels
from orders.views import provenancepanels
from studio import roles
from studio.explaining import Explained
from studio.lists import ListPage, house_table
from studio.pages import FormPage, HousePage
from studio.roles import needs


@needs("read")
class DeliveryList(ListPage):
    """Every parcel that was sent."""

    table_class = DeliveryTable
    filterset_class = DeliveryFilter
    heading = "Parcels"
    lede = "Each parcel has its packing list: how many of which quality, and what they weigh."
    back = ("Commissions", "commissions")
    export_name = "parcels"

    def get_queryset(self) -> Any:
        """Return parcels, the last first."""
        return sheetsinhand.deliveries()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say what a parcel holds, by the totals of the page."""
        return [explained.parcels(shown["table"])]


@needs("read")
class DeliveryPage(HousePage, TemplateView):
    """The packing list of one parcel; what it came to stands beside it for the owner."""

    template_name = "orders/delivery.html"
    back = ("Parcels", "deliveries")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Read the parcel, its sheets, and for whom they are."""
        user = self.request.user
        delivery = get_object_or_404(Delivery, ref__iexact=self.kwargs["ref"])
        commission = queries.commissions_for(user).filter(pk=delivery.commission_id).first()
        packed = panels.Packed(delivery, commission, sheetsinhand.lines_of(delivery))
        context = {
            "delivery": delivery,
            "commission": commission,
            "heading": f"Parcel {delivery.ref}",
            "lede": packed.words(),
            "table": house_table(self.request, PackedTable, packed.rows(), paginate=False),
            "size_words": packed.size_words(self.studio.units),
            "part_words": packed.part_words(),
            "is_taken_back": not packed.lines,
            # Who a client is and where they live goes together.
            "sent_to": delivery.sent_to if roles.can(user, "clients.see") else "",
            "may_take_back": bool(packed.lines) and roles.can(user, "store.correct"),
            **provenancepanels.from_where(
                self.request,
                provenancepanels.makings_in(delivery),
                claim=provenancepanels.claim_of(commission),
            ),
        }
        parcel = packed.parcel()
        if parcel is not None:
            system = self.studio.units
            context["lines"] = parcel.told_lines(system)
            context["doubt"] = sheetsinhand.doubt(parcel, self.studio)
            context["scales"] = parcel.lines(system)
        if self.sees_money and packed.lines:
            context |= panels.price_context(packed)
            context["on_paper"] = "prices" in self.request.GET
        return super().get_context_data(**context, **kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the parcel is counted, weighed and, for who sees money, priced."""
        said = [explained.packed(shown["table"])]
        if lines := shown.get("lines"):
            said += [explained.grammage(lines), explained.mass(lines)]
        if price := shown.get("price_lines"):
            said.append(of_parcel(price, shown["price_working"]))
        return [*said, *of_makings(shown["whence"])]


@needs("store.correct")
class DeliveryTakeBack(FormPage):
    """Take a parcel back."""

    form_class = TakeBackForm
    button = "Take the parcel back"
    side_head = "Why"
    note = "The parcel stays in the book"

    @cached_property
    def delivery(self) -> Delivery:
        """Return the parcel."""
        rows = Delivery.objects.select_related("commission")
        return get_object_or_404(rows, ref__iexact=self.kwargs["ref"])

    def get_back(self) -> tuple[str, str]:
        """Lead back to the packing list."""
        return (f"Parcel {self.delivery.ref}", self.delivery.get_absolute_url())

    def get_heading(self) -> str:
        """Name the parcel."""
        return f"Take {self.delivery.ref} back"

    def get_lede(self) -> str:
        """Say what it does."""
        kept = self.delivery.commission
        promise = f", and {kept.ref} waits for them again" if kept else ""
        return f"Its sheets are in hand again{promise}."

    def act(self, form: Any, key: Any) -> Delivery:
        """Take it back."""
        given = form.cleaned_data
        return sheetsinhand.take_back(
            self.delivery,
            happened_on=given["happened_on"],
            why=given["why"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Delivery) -> str:
        """Say that it is done."""
        return f"{result.ref} is taken back. Its sheets are in hand again."
