"""Pages of finished sheets: those in hand, what is done to them, and the parcels they leave in."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.functional import cached_property
from django.views.generic import TemplateView

from orders import queries, sheetsinhand
from orders.deliveryforms import (
    WORDS,
    CountForm,
    SendForm,
    SpoilForm,
    TakeBackForm,
    offers_of,
)
from orders.deliverytables import DeliveryTable, InHandTable, PackedTable
from orders.filters import DeliveryFilter, InHandFilter
from orders.models import Commission, Delivery, Making
from orders.views import deliverypanels as panels
from orders.views import provenancepanels
from studio import roles
from studio.errors import StudioError
from studio.lists import ListPage, house_table
from studio.pages import FormPage, HousePage
from studio.roles import needs
from studio.units import show_number
from studio.working import Line


@needs("read")
class SheetsInHand(ListPage):
    """Finished sheets that have not left, making by making."""

    template_name = "orders/sheets_in_hand.html"
    table_class = InHandTable
    filterset_class = InHandFilter
    heading = "Sheets in hand"
    back = ("Sheets", "sheets")
    export_name = "sheets in hand"
    note = "The longest here first"

    def get_queryset(self) -> Any:
        """Return makings with sheets in hand."""
        return sheetsinhand.in_hand()

    def get_lede(self) -> str:
        """Say how many there are, and whom they wait for."""
        return panels.in_hand_words(list(sheetsinhand.in_hand()), sheetsinhand.all_made())

    def table_kwargs(self) -> dict[str, Any]:
        """Leave the acts to those who may do them."""
        return {} if self.may_send else {"exclude": ["acts"]}

    @property
    def may_send(self) -> bool:
        """Whether the reader may take sheets out."""
        return roles.can(self.request.user, "store.take")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the promises that wait to be sent."""
        made = sheetsinhand.all_made() if self.may_send else []
        return super().get_context_data(made=made, may_send=self.may_send, **kwargs)


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


@needs("read")
class DeliveryPage(HousePage, TemplateView):
    """The packing list of one parcel; what it comes to in money stands beside it for the owner."""

    template_name = "orders/delivery.html"
    back = ("Parcels", "deliveries")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Read the parcel, its sheets, and for whom they are."""
        user = self.request.user
        delivery = get_object_or_404(Delivery, ref=self.kwargs["ref"])
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
            **provenancepanels.from_where(self.request, provenancepanels.makings_in(delivery)),
        }
        parcel = packed.parcel()
        if parcel is not None:
            context["lines"] = parcel.lines(self.studio.units)
            context["doubt"] = panels.doubt(parcel, self.studio)
        if self.sees_money and packed.lines:
            context |= panels.price_context(packed, self.studio)
        return super().get_context_data(**context, **kwargs)


class SendPage(FormPage):
    """Enter what goes into a parcel, with grammage and mass worked out beside the form."""

    form_class = SendForm
    button = "Send the sheets"
    panel = "fibres/_sum_panel.html"
    side_head = "The parcel"
    note = "Counted, weighed, wrapped"
    commission: Commission | None = None

    @cached_property
    def kept(self) -> sheetsinhand.Kept | None:
        """Return how far the promise has come."""
        return sheetsinhand.kept(self.commission) if self.commission else None

    @cached_property
    def offers(self) -> list[Any]:
        """Return what may go into the parcel."""
        return offers_of(sheetsinhand.sendable(self.commission), self.commission, self.kept)

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the sheets that may go."""
        return {**super().get_form_kwargs(), "offers": self.offers}

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out what the parcel does for the promise, and what it weighs."""
        sendings = form.sendings
        lines = [*self._promise_lines(sendings)]
        parcel = panels.parcel_of(
            sendings[0].making.sheet,
            sum(row.sheets for row in sendings),
            form.note.sheet_mg,
            form.note.parcel_mg,
        )
        lines += parcel.lines(self.studio.units)
        return {"lines": lines, "band": panels.doubt(parcel, self.studio)}

    def _promise_lines(self, sendings: list[Any]) -> list[Line]:
        if self.kept is None:
            return []
        good = sum(row.sheets for row in sendings if row.quality == "good")
        left = self.kept.to_send - good
        return [
            Line("Good sheets asked for", show_number(self.kept.wanted)),
            Line("Sent before", show_number(self.kept.sent)),
            Line("In this parcel", show_number(good), "good"),
            Line("Still to send", show_number(max(0, left)), kind="line"),
        ]

    def act(self, form: Any, key: Any) -> Delivery:
        """Send the sheets."""
        return sheetsinhand.send(
            self.commission, form.sendings, form.note, by=self.request.user, key=key
        )


@needs("store.take")
class DeliveryNew(SendPage):
    """Send sheets of a commission."""

    @cached_property
    def commission(self) -> Commission:  # type: ignore[override]
        """Return the commission as far as the reader may see it."""
        rows = queries.commissions_for(self.request.user)
        return get_object_or_404(rows, ref=self.kwargs["ref"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form where there is something to send and somebody waits for it."""
        if not self.commission.is_promise:
            word = self.commission.get_state_display().lower()
            messages.info(request, f"{self.commission.ref} is {word}; no sheets are sent for it.")
            return redirect(self.commission)
        if not self.offers:
            messages.info(request, f"No finished sheet for {self.commission.ref} is in hand yet.")
            return redirect(self.commission)
        return super().get(request, *args, **kwargs)

    def get_back(self) -> tuple[str, str]:
        """Lead back to the commission."""
        return (str(self.commission), self.commission.get_absolute_url())

    def get_heading(self) -> str:
        """Name the commission."""
        return f"Send sheets of {self.commission.ref}"

    def get_lede(self) -> str:
        """Say what the client still waits for."""
        return panels.to_send_words(self.commission, sheetsinhand.kept(self.commission))

    def said(self, result: Delivery) -> str:
        """Say whether the promise is kept, or what is still to come."""
        commission = Commission.objects.get(pk=self.commission.pk)
        return panels.sent_words(result, commission, sheetsinhand.kept(commission))


@needs("store.take")
class DeliveryStock(SendPage):
    """Send sheets that nobody ordered, and retree."""

    heading = "Send sheets without a commission"
    lede = "Sheets of the studio’s own stock, what was left over, and retree of any making."
    back = ("Sheets in hand", "sheets_in_hand")

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form where there is something to send."""
        if not self.offers:
            messages.info(request, "Every sheet in hand is waited for by a commission.")
            return redirect("sheets_in_hand")
        return super().get(request, *args, **kwargs)

    def said(self, result: Delivery) -> str:
        """Name the parcel."""
        return f"{result.ref} is sent."


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
        return get_object_or_404(rows, ref=self.kwargs["ref"])

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


class SheetsAct(FormPage):
    """A form about the sheets in hand of one making."""

    back = ("Sheets in hand", "sheets_in_hand")

    @cached_property
    def making(self) -> Making:
        """Return the making."""
        rows = Making.objects.select_related("sheet")
        return get_object_or_404(rows, ref=self.kwargs["ref"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form once finishing has entered the sheets."""
        if said := sheetsinhand.unfinished_words(self.making):
            messages.info(request, said)
            return redirect("sheets_in_hand")
        return super().get(request, *args, **kwargs)

    @property
    def there(self) -> dict[str, int]:
        """Sheets in hand by quality, as the book has them now."""
        found = sheetsinhand.balances([self.making.pk])
        return {quality: found.get((self.making.pk, quality), 0) for quality in WORDS}

    def get_form_kwargs(self) -> dict[str, Any]:
        """Tell the form what is in hand."""
        return {**super().get_form_kwargs(), "there": self.there}

    def get_lede(self) -> str:
        """Say what the book has."""
        good, retree = (show_number(self.there[quality]) for quality in WORDS)
        return f"{self.making.sheet.name}: the book has {good} good and {retree} retree in hand."


@needs("store.take")
class SheetsSpoil(SheetsAct):
    """Take sheets out that can no longer be sold."""

    form_class = SpoilForm
    button = "Take them out"
    side_head = "What is spoilt"
    note = "Fibre that is pulped again is entered as a lot"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form where there is something that could spoil."""
        is_finished = not sheetsinhand.unfinished_words(self.making)
        if is_finished and not any(self.there.values()):
            messages.info(request, f"No sheet of {self.making.ref} is in hand.")
            return redirect("sheets_in_hand")
        return super().get(request, *args, **kwargs)

    def get_heading(self) -> str:
        """Name the making."""
        return f"Spoilt sheets of {self.making.ref}"

    def act(self, form: Any, key: Any) -> str:
        """Take them out."""
        given = form.cleaned_data
        sheetsinhand.spoil(
            self.making,
            given["quality"],
            given["sheets"],
            happened_on=given["happened_on"],
            why=given["why"],
            by=self.request.user,
            key=key,
        )
        return reverse("sheets_in_hand")

    def said(self, result: str) -> str:
        """Say that they are out."""
        return f"Taken out of the sheets of {self.making.ref}."


@needs("store.take")
class SheetsCount(SheetsAct):
    """Set the sheets in hand to what was counted."""

    form_class = CountForm
    button = "Enter the count"
    side_head = "What lies there"
    note = "A good sheet found to be retree is one less and one more"

    def get_heading(self) -> str:
        """Name the making."""
        return f"Count the sheets of {self.making.ref}"

    def act(self, form: Any, key: Any) -> str:
        """Enter the count."""
        given = form.cleaned_data
        try:
            self.off = sheetsinhand.count(
                self.making,
                form.counted,
                happened_on=given["happened_on"],
                why=given["why"],
                seen=form.seen,
                by=self.request.user,
                key=key,
            )
        except StudioError:
            # The page that goes back shows what the book has now, and the next count is of that.
            form.see(self.there)
            raise
        return reverse("sheets_in_hand")

    def said(self, result: str) -> str:
        """Say what came of it."""
        if not any(self.off.values()):
            return f"{self.making.ref}: the count agrees with the book."
        said = [
            f"{show_number(sheets) if sheets < 0 else f'+{show_number(sheets)}'} {quality}"
            for quality, sheets in self.off.items()
            if sheets
        ]
        return f"{self.making.ref}: {' and '.join(said)} against the book."
