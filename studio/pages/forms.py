"""A page with one form that does one thing, and how a refusal comes back to it."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.generic import FormView

from studio import outages
from studio.entries import AlreadyEnteredError, refuse_repeat
from studio.errors import StudioError
from studio.pages.house import HousePage

NOT_SAVED = (
    "Not saved: the database could not take the entry just now. What you typed is below; enter "
    "it once more in a moment."
)
SHORT = "short"
BEATEN = (
    "Not saved: somebody else entered the same a moment ago. Look at what is there before you "
    "enter it once more."
)


class FormPage(HousePage, FormView):
    """A page with one form that does one thing.

    Children set ``form_class``, ``heading``, ``lede``, ``button`` and ``act``. With ``panel``
    (a template) they also give ``work_out(form)``, whose result the live panel shows.
    """

    template_name = "studio/form_page.html"
    button = "Enter"
    panel = ""
    panel_title = "What it comes to"
    side_head = ""
    note = ""
    preview_route = ""
    # Fields that an address with "short" folds up, because an entry is whole without them.
    waits: tuple[str, ...] = ()
    # Whether it folds up the panel too, because the page that follows says the same.
    panel_waits = False

    @property
    def is_short(self) -> bool:
        """Whether the page was asked to show only what an entry cannot do without."""
        return bool(self.waits) and SHORT in self.request.GET

    @property
    def folds_panel(self) -> bool:
        """Whether the panel is folded up until somebody asks for what it says."""
        return self.is_short and self.panel_waits and "work_out" not in self.request.POST

    def get_form(self, form_class: type[forms.Form] | None = None) -> forms.Form:
        """Fold up what can wait, where the page was asked to be short."""
        form = super().get_form(form_class)
        if self.is_short:
            form.shorten(self.waits)
        return form

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the studio's units and currency."""
        studio = self.studio
        return {
            **super().get_form_kwargs(),
            "system": studio.units,
            "currency": studio.currency,
        }

    def act(self, form: forms.Form, key: Any) -> Any:
        """Do what the form asks; return where to go: a model, or an address."""
        raise NotImplementedError

    def do(self, form: forms.Form, key: Any) -> Any:
        """Act; a page over a row first makes sure that it is the row the page showed."""
        return self.act(form, key)

    def said(self, result: Any) -> str:
        """Return the sentence shown once it is done."""
        return ""

    def work_out(self, form: forms.Form) -> Any:
        """Return what the live panel shows for a form that can be read, or None."""
        return None

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Enter the form, or only work it out for the panel."""
        if self.asks_panel():
            return self.answer_panel()
        return super().post(request, *args, **kwargs)

    def asks_panel(self) -> bool:
        """Tell whether the page was sent to be worked out, not to be entered."""
        live = self.request.htmx or "work_out" in self.request.POST  # type: ignore[attr-defined]
        return bool(self.panel) and bool(live)

    def form_invalid(self, form: forms.Form) -> HttpResponse:
        """Show the faults, unless they come of the page itself: sent twice, its name is taken."""
        return self.answer_repeat() or super().form_invalid(form)

    def answer_repeat(self) -> HttpResponse | None:
        """Lead a page that was sent before to what it wrote."""
        try:
            refuse_repeat(uuid.UUID(self.request.POST.get("request_key", "")))
        except AlreadyEnteredError as repeat:
            messages.info(self.request, "This was entered already. Nothing was written twice.")
            return redirect(repeat.entry.page)
        except ValueError:
            # Not a key at all: the form says so.
            return None
        return None

    def answer_panel(self) -> HttpResponse:
        """Show what the form comes to, entering nothing."""
        form = self.get_form()
        result = self._worked_out(form)
        if self.request.htmx:  # type: ignore[attr-defined]
            return render(self.request, self.panel, {"result": result, "form": form})
        return self.render_to_response(self.get_context_data(form=form, result=result))

    def _worked_out(self, form: forms.Form) -> Any:
        try:
            can_be_read = form.is_valid() or getattr(form, "is_only_asked", False)
            return self.work_out(form) if can_be_read else None
        except StudioError as refusal:
            blame(form, refusal)
            return None

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Call the service; bring a refusal back to the form."""
        try:
            result = self.do(form, form.cleaned_data.get("request_key"))
        except AlreadyEnteredError as repeat:
            messages.info(self.request, "This was entered already. Nothing was written twice.")
            return redirect(repeat.entry.page)
        except (StudioError, ValidationError) as refusal:
            blame(form, refusal)
            return self.form_invalid(form)
        except IntegrityError:
            # Of two at once, the other was first: the same page sent twice, or the same name.
            form.add_error(None, BEATEN)
            return self.form_invalid(form)
        except OperationalError as fault:
            form.add_error(None, outages.sentence(fault, NOT_SAVED, below=True))
            status = outages.outage_of(fault).status
            return self.render_to_response(self.get_context_data(form=form), status=status)
        said = self.said(result)
        if said:
            messages.success(self.request, said)
        return redirect(result)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the button, the panel and what it shows."""
        context = super().get_context_data(**kwargs)
        back = context["back"]
        if self.panel and "result" not in context and context["form"].is_bound:
            context["result"] = self._worked_out(context["form"])
        return {
            "button": self.button,
            "panel": self.panel,
            "panel_title": self.panel_title,
            "preview": self.request.path if self.panel else "",
            "side_head": self.side_head,
            "note": self.note,
            "leave": back[1] if back else "",
            **context,
        }


def blame(form: forms.Form, refusal: StudioError | ValidationError) -> None:
    """Put a refusal beside the field that it concerns, or at the head of the form."""
    if isinstance(refusal, StudioError):
        field = refusal.field if refusal.field in form.fields else None
        form.add_error(field, str(refusal))
        return
    faults = refusal.message_dict if hasattr(refusal, "error_dict") else {"": refusal.messages}
    for name, sentences in faults.items():
        for sentence in sentences:
            form.add_error(name if name in form.fields else None, sentence)
