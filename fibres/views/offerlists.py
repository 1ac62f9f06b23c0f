"""Take in a list of offers: look a file over, see what it changes, then enter it."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.urls import reverse

from fibres.forms.offerlists import ConfirmForm, ImportForm, kept_rows
from fibres.offerfiles import COLUMNS, REQUIRED, read_file
from fibres.offerimport import OfferFaultsError, TakenIn, take_in
from fibres.tables.offers import ChangeTable
from studio.errors import StudioError
from studio.lists import house_table
from studio.pages import FormPage, blame
from studio.roles import needs

MOST_FAULTS = 50


@needs("sources.change")
class OfferImport(FormPage):
    """A file of offers: looked over first, entered on the second press."""

    template_name = "fibres/offer_import.html"
    heading = "Enter a list of offers"
    lede = "Nothing is written before you have seen what the list changes."
    back = ("Offers", "offers")
    button = "Look it over"

    @property
    def is_confirmed(self) -> bool:
        """Whether the rows were looked over and are sent back to be entered."""
        return "rows" in self.request.POST

    def get_form_class(self) -> Any:
        """Return the form of the step that was sent."""
        return ConfirmForm if self.is_confirmed else ImportForm

    def form_valid(self, form: Any) -> HttpResponse:
        """Look a file over; enter rows that were looked over."""
        return super().form_valid(form) if self.is_confirmed else self._look_over(form)

    def _look_over(self, form: Any) -> HttpResponse:
        file = form.cleaned_data["file"]
        try:
            rows = read_file(file.read(), sheet=form.cleaned_data["sheet"])
            kept = kept_rows(rows)
            found = take_in(rows, currency=self.studio.currency, dry_run=True)
        except OfferFaultsError as refusal:
            blame(form, by_row(refusal))
        except StudioError as refusal:
            form.add_error("file", str(refusal))
        except ValidationError as refusal:
            form.add_error("file", refusal)
        else:
            confirm = ConfirmForm(initial={"rows": kept, "name": file.name[:200]})
            return self.render_to_response(
                self.get_context_data(form=form, found=found, confirm=confirm)
            )
        return self.form_invalid(form)

    def act(self, form: Any, key: Any) -> str:
        """Enter the rows; what was changed since they were looked over can still refuse them."""
        given = form.cleaned_data
        try:
            self.taken_in = take_in(
                given["rows"],
                currency=self.studio.currency,
                name=given["name"],
                by=self.request.user,
                key=key,
            )
        except OfferFaultsError as refusal:
            raise by_row(refusal) from refusal
        return reverse("offers")

    def said(self, result: Any) -> str:
        """Say how many offers were entered and replaced."""
        return f"Offers: {self.taken_in.said}."

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the list changes, and the headings that it may have."""
        found: TakenIn | None = kwargs.get("found")
        if found is not None:
            kwargs["table"] = house_table(
                self.request, ChangeTable, list(found.changes), paginate=False, orderable=False
            )
            kwargs["lede"] = f"Nothing is written yet. It would be: {found.said}."
            if found.count("unchanged") == len(found.changes):
                kwargs["lede"] = "Nothing in the list is new. There is nothing to enter."
                del kwargs["confirm"]
        context = super().get_context_data(
            columns=[(name, name in REQUIRED) for name in COLUMNS], **kwargs
        )
        form = context["form"]
        return {**context, "upload": form if isinstance(form, ImportForm) else ImportForm()}


def by_row(refusal: OfferFaultsError) -> ValidationError:
    """Return the faults of a list as the page shows them: the first ones, and how many more."""
    said = [str(fault) for fault in refusal.faults[:MOST_FAULTS]]
    more = len(refusal.faults) - len(said)
    return ValidationError([*said, f"And {more} more like these."] if more else said)
