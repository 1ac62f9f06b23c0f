"""What the pages of this app share beside the shapes of the house."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from orders import services, sheetsinhand, wording
from orders.calc.cover import Cover
from studio.errors import StudioError
from studio.pages import RowPage


class PanelRowPage(RowPage):
    """A row's page with a live panel, which needs only some of the fields to be right."""

    panel_fields: tuple[str, ...] = ()

    def _worked_out(self, form: Any) -> Any:
        form.is_valid()
        if not set(self.panel_fields) <= set(form.cleaned_data):
            return None
        try:
            return self.work_out(form)
        except StudioError as refusal:
            return {"refusal": str(refusal)}


class OpenRowPage(PanelRowPage):
    """The page of a row that is changed only as long as it is open."""

    slug_field = "ref__iexact"
    button_for_new = ""

    @property
    def button(self) -> str:  # type: ignore[override]
        """The words of the one filled button."""
        return self.button_for_new if self.is_new else "Keep the changes"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the form; what is over is not changed any more."""
        if not self.is_new and not self.row.is_open:
            word = self.row.get_state_display().lower()
            messages.info(request, f"{self.row.ref} is {word}; it is not changed any more.")
            return redirect(self.row)
        return super().get(request, *args, **kwargs)


def today() -> date:
    """Return the day where the studio stands."""
    return timezone.localdate()


def cover_marks(cover: Cover) -> dict[str, tuple[str, str]]:
    """Return the mark of each promise by its reference."""
    made = dict.fromkeys(sheetsinhand.all_made(), ("covered", "All made"))
    marks = {answer.ref: wording.mark_of(answer, cover.today) for answer in cover.commissions}
    return {**made, **marks, **{ref: ("short", "Cannot be reckoned") for ref, _ in cover.left_out}}


def covers_now() -> dict[str, tuple[str, str]]:
    """Return the mark of each promise, from one look at the whole store."""
    return cover_marks(services.cover(today()))
