"""A making that is over: plan it once more as it was, and note what was found out since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.functional import cached_property

from orders import repeating
from orders.explained import making as explained
from orders.makings.planning import still_to_make
from orders.models import Commission, Making
from orders.repeatforms import RepeatForm, ReportForm
from orders.views.shapes import today
from studio.errors import StudioError
from studio.explaining import Explained
from studio.pages import FormPage, RowPage
from studio.roles import needs


@needs("makings.change")
class MakingRepeat(FormPage):
    """Repeat a making: how many, when, for whom; all else is taken from the earlier one."""

    form_class = RepeatForm
    button = "Plan it"
    side_head = "The new making"
    lede = (
        "Mould, vat, drying, beating and consistency are taken over. Its page then lists what is "
        "different this time: lots, moisture, doses and bottles."
    )

    @cached_property
    def earlier(self) -> Making:
        """Return the making that is repeated."""
        rows = Making.objects.select_related("sheet__furnish", "mould", "vat", "dryer")
        return get_object_or_404(rows, ref__iexact=self.kwargs["ref"])

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form; what is not finished is not repeated."""
        try:
            repeating.refuse_unfinished(self.earlier)
        except StudioError as refusal:
            messages.info(request, str(refusal))
            return redirect(self.earlier)
        return super().get(request, *args, **kwargs)

    def get_heading(self) -> str:
        """Name the making that is repeated."""
        return f"Repeat {self.earlier.ref}"

    def get_back(self) -> tuple[str, str]:
        """Lead back to it."""
        return (f"Making {self.earlier.ref}", self.earlier.get_absolute_url())

    def get_form_kwargs(self) -> dict[str, Any]:
        """Tell the form which making it is."""
        return {**super().get_form_kwargs(), "earlier": self.earlier}

    def get_initial(self) -> dict[str, Any]:
        """Begin with the commission that waits for the sheet, or with what was wanted then."""
        waits = Commission.objects.filter(
            sheet=self.earlier.sheet_id, state=Commission.State.AGREED
        ).order_by("priority", "due", "ref")
        first = waits.first()
        return {
            "wanted_good": still_to_make(first) if first else self.earlier.wanted_good,
            "planned_on": today(),
            "commission": first,
        }

    def act(self, form: Any, key: Any) -> Making:
        """Plan it."""
        given = form.cleaned_data
        return repeating.repeat(
            self.earlier,
            wanted_good=given["wanted_good"],
            planned_on=given["planned_on"],
            commission=given["commission"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Making) -> str:
        """Say which number it got."""
        return f"{result.ref} is planned as {self.earlier.ref} was made."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Say how many pulls the new making forms, by the earlier one."""
        return [explained.pulls(self.earlier.ref, self.earlier.wanted_good, self.earlier.pulls)]


@needs("makings.change")
class MakingReport(RowPage):
    """Note the sample that was kept, and a laboratory's report; both may come long after."""

    model = Making
    form_class = ReportForm
    slug_field = "ref__iexact"
    noun = "sample and report of making"
    side_head = "Kept of it"
    button = "Keep it"
    lede = "A later making is compared with the sample. A report alone lets you say tested."

    def get_heading(self) -> str:
        """Name the making."""
        return f"Sample and report of {self.row.ref}"

    def get_back(self) -> tuple[str, str]:
        """Lead back to the making."""
        return (f"Making {self.row.ref}", self.row.get_absolute_url())
