"""Log a gift of scrap, with the sum that shows what it comes to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fibres import gifts, services
from fibres.explained import scrap as explained
from fibres.forms.scrap import USUAL, ScrapForm
from fibres.models import Lot, Source
from fibres.tables import RefusedTable
from studio.explaining import Explained, as_sent
from studio.lists import house_table
from studio.pages import FormPage
from studio.roles import needs
from studio.units import show_mass
from studio.working import Line


@needs("store.receive")
class LogScrapPage(FormPage):
    """Enter donated scrap. A child that knows the sheets says what can be made of it."""

    form_class = ScrapForm
    template_name = "fibres/log_scrap.html"
    heading = "Log scrap"
    lede = "Count it or weigh it as it is. The sum takes off what is not fibre."
    side_head = "The gift"
    note = "Only class and measure are needed; the rest can wait"
    back = ("Store", "store")
    button = "Enter the lot"
    panel = "fibres/_sum_panel.html"
    panel_waits = True
    waits = (
        "donor", "moisture_by", "moisture", "received_on", "place", "is_confidential", "remarks",
    )  # fmt: skip

    def sheets_from(self, usable_mg: int) -> list[Line]:
        """Return lines on the sheets that can be made of so much usable fibre."""
        return []

    def get_form_kwargs(self) -> dict[str, Any]:
        """Offer the donors that are known."""
        donors = Source.objects.filter(kind=Source.Kind.DONOR, closed_on=None)
        return {
            **super().get_form_kwargs(),
            "donors": tuple(donors.values_list("name", flat=True)),
        }

    def get_initial(self) -> dict[str, Any]:
        """Take the class from the page that leads here."""
        asked = self.request.GET.get("fibre")
        return {"fibre": asked} if asked else {}

    def work_out(self, form: ScrapForm) -> dict[str, Any]:
        """Set out the sum of the gift."""
        given, system = form.cleaned_data, self.studio.units
        estimate = form.estimate
        worth = gifts.worth(estimate, given["fibre"], form.moisture_used)
        sheets = self.sheets_from(worth.usable_mg)
        assumed = given["moisture_by"] == USUAL
        lines = gifts.sum_lines(
            estimate,
            worth,
            given["fibre"],
            moisture=form.moisture_used,
            moisture_because="usual for this class" if assumed else "weighed",
            system=system,
            closes=not sheets,
        )
        return {
            "lines": [*lines, *sheets],
            "band": gifts.band_words(estimate, worth, system),
            "working": estimate.lines(system),
            "cautions": given["fibre"].cautions,
            "is_confidential": given["is_confidential"],
        }

    def act(self, form: ScrapForm, key: Any) -> Lot:
        """Enter the gift as a lot of its own."""
        given = form.cleaned_data
        return services.log_scrap(
            form.estimate,
            donor=given["donor"],
            fibre=given["fibre"],
            moisture=form.moisture_used,
            moisture_known=form.moisture_known_from,
            received_on=given["received_on"],
            is_confidential=given["is_confidential"],
            place=given["place"],
            remarks=given["remarks"],
            by=self.request.user,
            key=key,
        )

    def said(self, result: Lot) -> str:
        """Say what is in store now."""
        dry = show_mass(result.oven_dry_mg, system=self.studio.units)
        return f"Lot {result.ref} is in store: {dry} oven-dry."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain how a gift comes to fibre."""
        return explained.given(self.reader, as_sent(shown))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the classes that are turned away."""
        context = super().get_context_data(**kwargs)
        form = context["form"]
        return {
            **context,
            "refused": house_table(
                self.request, RefusedTable, form.refused, paginate=False, orderable=False
            ),
            "has_classes": form.fields["fibre"].queryset.exists(),
        }
