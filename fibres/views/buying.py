"""What is done about a purchase: mark it as ordered, receive it, put it off, close it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.dateformat import format as day_in_words

from fibres import purchasing
from fibres.calc import moisture as wet
from fibres.explained import buying as explained
from fibres.forms.purchases import ClosePurchaseForm, ExpectForm, OrderForm, ReceiveForm
from fibres.models import Lot, Purchase
from fibres.views.purchases import OnePurchase
from studio.explaining import Explained, as_sent
from studio.money import show_money
from studio.pages import FormPage
from studio.roles import needs
from studio.units import show_mass, show_share
from studio.working import Line

State = Purchase.State


class PurchaseAct(OnePurchase):
    """A form about one purchase that leads back to it."""

    # In which states there is something to do.
    states: tuple[str, ...] = Purchase.ON_ITS_WAY

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Lead back where there is nothing to do; what is sent is answered by the act itself."""
        if request.method == "GET" and self.purchase.state not in self.states:
            state = str(self.purchase.get_state_display()).lower()
            messages.info(request, f"{self.purchase.ref} is {state}: there is nothing to enter.")
            return redirect(self.purchase)
        response: HttpResponse = super().dispatch(request, *args, **kwargs)  # type: ignore[misc]
        return response


@needs("purchases.change")
class PurchaseOrder(PurchaseAct, FormPage):
    """Mark a planned purchase as ordered."""

    states = (State.PLANNED,)
    form_class = OrderForm
    button = "Mark as ordered"
    side_head = "The order"
    note = "From now on it counts as on its way"

    def get_form_kwargs(self) -> dict[str, Any]:
        """Tell the form how long the source takes."""
        return {**super().get_form_kwargs(), "lead_days": self.purchase.source.lead_days}

    def get_initial(self) -> dict[str, Any]:
        """Start from the freight that is planned."""
        return {"freight": self.purchase.freight_minor}

    def get_heading(self) -> str:
        """Name the purchase."""
        return f"Mark {self.purchase.ref} as ordered"

    def get_lede(self) -> str:
        """Say what it comes to."""
        purchase = self.purchase
        goods = sum(line.goods_minor for line in purchase.lines.all())
        total = show_money(goods + purchase.freight_minor, self.studio.currency)
        return f"It goes to {purchase.source} and comes to {total} with freight, as planned."

    def act(self, form: Any, key: Any) -> Purchase:
        """Order it."""
        given = form.cleaned_data
        return purchasing.order(
            self.purchase,
            ordered_on=given["ordered_on"],
            expected_on=given["expected_on"],
            freight_minor=given["freight"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Purchase) -> str:
        """Say when it is expected."""
        return f"{result.ref} is expected on {day_in_words(result.expected_on, 'j F')}."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain what it comes to, and when it comes."""
        return explained.placed(self.reader, self.purchase)


@needs("store.receive")
class PurchaseReceive(PurchaseAct, FormPage):
    """Enter what came of a purchase: each line becomes a lot."""

    form_class = ReceiveForm
    button = "Enter what came"
    panel = "fibres/_sum_panel.html"
    side_head = "What came"
    note = "Each line becomes a lot; two moistures of one line are two receipts"

    def get_heading(self) -> str:
        """Name the purchase."""
        return f"Receive {self.purchase.ref}"

    def get_lede(self) -> str:
        """Say what to do."""
        return "Weigh it if you can: water above the moisture agreed can be claimed for."

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the lines of which something is to come."""
        lines = [line for line in self.purchase.lines.all() if line.packs_to_come]
        return {**super().get_form_kwargs(), "lines": lines}

    def work_out(self, form: Any) -> dict[str, Any]:
        """Set out the fibre that came, line by line."""
        found: list[Line] = []
        total, system = 0, self.studio.units
        for arrived in form.arrivals:
            dry_mg = wet.oven_dry_mg(arrived.as_is_mg, arrived.moisture)
            total += dry_mg
            share, agreed = show_share(arrived.moisture), show_share(arrived.line.moisture)
            mass = show_mass(arrived.as_is_mg, system=system)
            because = f"{mass} as is at {share}; {agreed} was agreed"
            found.append(Line(str(arrived.line.fibre), show_mass(dry_mg, system=system), because))
        return {
            "lines": [*found, Line("Oven-dry", show_mass(total, system=system), kind="answer")]
        }

    def act(self, form: Any, key: Any) -> Purchase:
        """Enter it."""
        self.lots = purchasing.receive(
            self.purchase,
            form.arrivals,
            received_on=form.cleaned_data["received_on"],
            by=self.request.user,
            key=key,
        )
        return self.purchase

    def said(self, result: Purchase) -> str:
        """Name the lots."""
        lots: list[Lot] = self.lots
        verb = "is" if len(lots) == 1 else "are"
        return f"In store {verb} {', '.join(lot.ref for lot in lots)}."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the fibre that came, and what it bears of the freight."""
        return explained.received(self.reader, self.purchase, as_sent(shown))


@needs("purchases.change")
class PurchaseExpect(PurchaseAct, FormPage):
    """Keep another day on which a purchase is expected."""

    form_class = ExpectForm
    button = "Keep the day"
    side_head = "The day"

    def get_heading(self) -> str:
        """Name the purchase."""
        return f"Expect {self.purchase.ref} on another day"

    def get_lede(self) -> str:
        """Say which day it was."""
        day = self.purchase.expected_on
        return f"Until now it is expected on {day_in_words(day, 'j F')}." if day else ""

    def act(self, form: Any, key: Any) -> Purchase:
        """Keep it."""
        day = form.cleaned_data["expected_on"]
        return purchasing.expect(self.purchase, day, by=self.request.user, key=key)

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the day that stands until now."""
        return explained.expected(self.purchase)


@needs("purchases.change")
class PurchaseClose(PurchaseAct, FormPage):
    """Give up what has not come."""

    states = Purchase.OPEN
    form_class = ClosePurchaseForm
    button = "Close it"
    side_head = "Why"
    note = "A closed purchase stays closed"

    def get_heading(self) -> str:
        """Name the purchase."""
        return f"Close {self.purchase.ref}"

    def get_lede(self) -> str:
        """Say what becomes of it."""
        if self.purchase.state == State.PLANNED:
            return "It has not been ordered: the plan is dropped and kept for its history."
        if self.purchase.state == State.ORDERED:
            return "Nothing of it has come: it counts as on its way no longer."
        return (
            "What came stays in the store at the price it was entered with; the rest counts as "
            "on its way no longer."
        )

    def act(self, form: Any, key: Any) -> Purchase:
        """Close it."""
        why = form.cleaned_data["why"]
        return purchasing.close(self.purchase, why, by=self.request.user, key=key)

    def said(self, result: Purchase) -> str:
        """Say that it is closed."""
        return f"{result.ref} is closed."
