"""The forms of a making that is over: plan it once more, and what was found out since."""

from __future__ import annotations

from typing import Any

from django import forms

from orders.models import Commission, Making
from studio.forms import CountField, DayField, HouseForm, HouseModelForm


class RepeatForm(HouseForm):
    """For whom, how many, and on which day; all else is as it was."""

    commission = forms.ModelChoiceField(
        Commission.objects.none(),
        required=False,
        label="For the commission",
        empty_label="The studio’s own stock",
        help_text="Only agreed commissions for this sheet are listed.",
    )
    wanted_good = CountField(label="Good sheets wanted", unit="sheets", least=1, most=1_000_000)
    planned_on = DayField(label="Day at the vat")

    def __init__(self, *args: Any, earlier: Making, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Commission.objects.filter(sheet=earlier.sheet_id, state__in=Commission.PROMISES)
        self.fields["commission"].queryset = rows.order_by("due", "ref")


class ReportForm(HouseModelForm):
    """The sample that was kept of a making, and the report of a laboratory on it."""

    class Meta:
        model = Making
        fields = ["sample", "test_report"]
        help_texts = {
            "sample": "As it is marked, such as R-17.",
            "test_report": (
                "Only of a laboratory that tested sheets of this making, such as 4711 of "
                "3 May 2026. With it the page says tested; without it, aimed at."
            ),
        }

    def save(self, commit: bool = True) -> Making:
        """Write these columns alone: the making may have moved on since the row was read."""
        making: Making = self.instance
        if commit:
            making.save(update_fields=list(self._meta.fields))
        return making
