"""The question how many more of a sheet could be promised, as it is typed."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.utils import timezone

from orders import asking, wording
from orders.benchforms import Sum
from orders.models import Sheet
from studio.forms import DayField, RowForm
from studio.units import show_number
from studio.working import Line


class ByDay(RowForm):
    """By which day: today or ahead."""

    by = DayField(label="By")

    def clean_by(self) -> date:
        """Refuse a day that is over."""
        given: date = self.cleaned_data["by"]
        if given < timezone.localdate():
            raise forms.ValidationError("Give today or a day ahead.", code="over")
        return given


class MoreToPromise(ByDay, Sum):
    """How many more of one sheet; unlike the other sums it reads store and promises."""

    name = "more"
    heading = "How many more"
    note = "Of a sheet, with no promise made worse"
    waiting = "Choose a sheet and a day, and the answer appears here."

    sheet = forms.ModelChoiceField(
        Sheet.objects.filter(closed_on__isnull=True).select_related("furnish", "mould"),
        label="Sheet",
    )

    USUAL: dict[str, Any] = {}
    field_order = ["sheet", "by"]

    def lines(self) -> list[Line]:
        """Count the good sheets that could be promised beside all that is promised."""
        today = timezone.localdate()
        asked = asking.ask(self.cleaned_data["sheet"], self.cleaned_data["by"], today)
        by = wording.day(asked.by, today)
        lines = [
            Line(
                "Good sheets more",
                show_number(asked.good_sheets()),
                f"of {asked.name} by {by}; no promise is worse for it",
                "answer",
            )
        ]
        if asked.is_too_soon:
            ready = wording.day(asked.ready_by, today)
            lines.append(Line("Too soon to be made by then", ready, "ready, if begun today"))
        return lines
