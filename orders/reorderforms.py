"""The form on which an order of the plan is marked as ordered."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.core import signing
from django.core.exceptions import ValidationError

from orders.reordering import Offered
from studio.forms import DayField, HouseForm

SALT = "orders.reorder"
NOT_OURS = "This order was not read from the plan. Look at the plan and mark it there."
BACKWARDS = "It cannot be expected before it is ordered. Give a later day."


def sealed(offered: Offered) -> str:
    """Return an order as text that nobody else can write."""
    plain = {
        "key": offered.key,
        "weeks": offered.weeks,
        "source": offered.source,
        "order_on": offered.order_on.isoformat(),
        "lines": [list(line) for line in offered.lines],
        "freight": offered.freight_minor,
    }
    return signing.dumps(plain, salt=SALT)


def unsealed(text: str) -> Offered:
    """Read an order that a page of ours offered; refuse any other text."""
    try:
        plain: dict[str, Any] = signing.loads(text, salt=SALT)
    except signing.BadSignature:
        raise ValidationError(NOT_OURS, code="order") from None
    return Offered(
        key=plain["key"],
        weeks=plain["weeks"],
        source=plain["source"],
        order_on=date.fromisoformat(plain["order_on"]),
        lines=tuple((offer, packs) for offer, packs in plain["lines"]),
        freight_minor=plain["freight"],
    )


class OrderForm(HouseForm):
    """On which day an order went out, and when it is expected."""

    order = forms.CharField(
        widget=forms.HiddenInput, error_messages={"required": NOT_OURS}, max_length=20_000
    )
    ordered_on = DayField(label="Ordered on")
    expected_on = DayField(label="Expected on")

    def clean_order(self) -> Offered:
        """Read the order that the page offered."""
        return unsealed(self.cleaned_data["order"])

    def clean(self) -> dict[str, Any]:
        """Compare the two days."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        ordered, expected = given.get("ordered_on"), given.get("expected_on")
        if ordered and expected and expected < ordered:
            self.add_error("expected_on", BACKWARDS)
        return given
