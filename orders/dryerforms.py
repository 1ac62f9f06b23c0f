"""The form and the list of dryers."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from orders.models import Dryer
from studio.columns import CountColumn, NumberColumn
from studio.forms import CountField, HouseModelForm, NumberField
from studio.tables import LedgerTable, RowHeader, TextColumn


class DryerForm(HouseModelForm):
    """What a dryer holds, and how long a load takes."""

    pulls_per_load = CountField(label="A load holds", unit="pulls", least=1, most=100_000)
    days_per_load = NumberField(
        label="A load takes",
        unit="days",
        least=Decimal("0.05"),
        most=365,
        help_text="Until the sheets can come out: two days in a dryer with blotters, one to five "
        "in a loft, by the weather.",
    )

    class Meta:
        model = Dryer
        fields = ["name", "drying", "pulls_per_load", "days_per_load"]


class DryerTable(LedgerTable):
    """Dryers by name, with what they hold."""

    caption = "Dryers"
    caption_unseen = True
    shape = "few"
    nothing = "No dryer has been entered yet."

    dryer = RowHeader("Dryer", accessor="name")
    drying = TextColumn("Drying", accessor="drying")
    pulls = CountColumn("Pulls a load", accessor="pulls_per_load")
    days = NumberColumn("Days a load", accessor="days_per_load")
    state = TextColumn("State", accessor="closed_on")

    def render_drying(self, record: Dryer) -> str:
        """Word the way of drying."""
        return str(record.get_drying_display())

    def render_state(self, value: Any) -> str:
        """Say that a dryer is closed."""
        return "Closed" if value else ""
