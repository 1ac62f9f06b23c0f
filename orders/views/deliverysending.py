"""Pages on which sheets are packed and sent, for a commission or as the studio's own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property

from orders import parcels, queries, sheetsinhand
from orders.deliveryforms import SendForm, offers_of
from orders.explained import choosing, cover
from orders.explained import finished as explained
from orders.models import Commission, Delivery
from orders.views import deliverypanels as panels
from studio.errors import StudioError
from studio.explaining import Explained
from studio.pages import FormPage
from studio.roles import needs
from studio.units import show_number
from studio.working import Line


class SendPage(FormPage):
    """Enter what goes into a parcel, with grammage and mass worked out beside the form."""

    form_class = SendForm
    button = "Send the sheets"
    panel = "fibres/_sum_panel.html"
    side_head = "The parcel"
    note = "Counted, weighed, wrapped"
    commission: Commission | None = None
    asked: dict[str, Any] | None = None

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
        parcel = sheetsinhand.parcel_of(
            sendings[0].making.sheet,
            sum(row.sheets for row in sendings),
            form.note.sheet_mg,
            form.note.parcel_mg,
        )
        lines += parcel.lines(self.studio.units)
        return {"lines": lines, "band": sheetsinhand.doubt(parcel, self.studio)}

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
        """Send the sheets; what the scales speak against is asked about once."""
        try:
            return parcels.send(
                self.commission, form.sendings, form.note, by=self.request.user, key=key
            )
        except StudioError as refusal:
            if refusal.field == "is_right":
                form.ask()
                self.asked = self.work_out(form)
            raise

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the sum that is asked about beside the question."""
        if self.asked:
            kwargs.setdefault("result", self.asked)
        return super().get_context_data(**kwargs)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how the parcel is weighed, and what the promise still waits for."""
        lines = choosing.sum_shown(shown)
        said = [explained.grammage(lines), explained.mass(lines)]
        return (
            [cover.kept(self.kept), *said]
            if self.kept
            else [explained.offered(self.offers), *said]
        )


@needs("store.take")
class DeliveryNew(SendPage):
    """Send sheets of a commission."""

    @cached_property
    def commission(self) -> Commission:  # type: ignore[override]
        """Return the commission as far as the reader may see it."""
        rows = queries.commissions_for(self.request.user)
        return get_object_or_404(rows, ref__iexact=self.kwargs["ref"])

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
