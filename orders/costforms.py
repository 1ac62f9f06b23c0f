"""What one sheet costs, as it is asked on the bench; for who sees money."""

from __future__ import annotations

from typing import Any

from django import forms

from orders import costings
from orders.benchforms import Sum
from orders.costings import Costing
from orders.models import Sheet
from studio.forms import CountField
from studio.working import Line


class CostOfSheet(Sum):
    """Cost and price of a sheet with nothing set aside for it: all its fibre at newest prices."""

    name = "cost"
    heading = "Cost of a sheet"
    note = "Its price at several numbers, and what moves it"
    waiting = "Choose a sheet and a number, and its cost and price appear here."

    sheet = forms.ModelChoiceField(
        Sheet.objects.filter(closed_on__isnull=True).select_related("furnish", "mould"),
        label="Sheet",
    )
    wanted = CountField(label="Good sheets", unit="sheets", least=1, most=1_000_000)

    USUAL: dict[str, Any] = {"wanted": 100}
    # Read with the lines, for the panels that show more of it.
    costing: Costing | None = None

    def lines(self) -> list[Line]:
        """Set out the cost of a good sheet and the price that follows."""
        self.costing = costings.read(self.cleaned_data["sheet"])
        cost = self.costing.cost(self.cleaned_data["wanted"])
        missing = [Line("No price known", name, "counted as nothing") for name in cost.missing]
        return [*missing, *cost.working]
