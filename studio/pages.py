"""The shapes that the pages of both apps share: enter, change, close, and ask on a form.

A page reads a form, calls one service and leads on to where the result stands. What a service
refuses comes back beside the field it concerns, with everything that was typed still there; a
page sent twice leads to what the first sending wrote.
"""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError, models, transaction
from django.db.models import ProtectedError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.response import TemplateResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.views import View
from django.views.generic import FormView

from studio import roles
from studio.context import current_studio
from studio.entries import AlreadyEnteredError, enter, refuse_repeat
from studio.errors import StudioError

NOT_SAVED = (
    "Not saved: the database could not take the entry just now. What you typed is below; enter "
    "it once more in a moment."
)


BEATEN = (
    "Not saved: somebody else entered the same a moment ago. Look at what is there before you "
    "enter it once more."
)


class HousePage:
    """What every page of the house knows: the studio, and the role of who looks at it."""

    request: HttpRequest
    heading = ""
    lede = ""
    back: tuple[str, str] | None = None

    @property
    def studio(self) -> Any:
        """The studio's row, read once a request."""
        return current_studio(self.request)

    @property
    def sees_money(self) -> bool:
        """Whether who looks may see what things cost."""
        return roles.can(self.request.user, "money")

    def get_back(self) -> tuple[str, str] | None:
        """Return the words and the address of the way back."""
        return (self.back[0], reverse(self.back[1])) if self.back else None

    def get_heading(self) -> str:
        """Return the words of the h1."""
        return self.heading

    def get_lede(self) -> str:
        """Return the one sentence that says what matters."""
        return self.lede

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add heading, lede and way back."""
        context: dict[str, Any] = super().get_context_data(**kwargs)  # type: ignore[misc]
        return {
            "heading": self.get_heading(),
            "lede": self.get_lede(),
            "back": self.get_back(),
            "view": self,
            **context,
        }


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
            return self.work_out(form) if form.is_valid() else None
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
        except OperationalError:
            form.add_error(None, NOT_SAVED)
            return self.render_to_response(self.get_context_data(form=form), status=503)
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


class RowPage(FormPage):
    """A page that adds or changes one row of a model, with an entry in the book.

    With ``slug_field`` and an argument in the route it changes that row; without, it adds one.
    ``parts_class`` adds an inline formset that is saved with the row.
    """

    model: type[models.Model]
    slug_field = "pk"
    noun = ""
    close_route = ""
    # Whether the row has a page of its own to lead back to, beside the one it is changed on.
    has_page = False
    parts_classes: tuple[tuple[str, Any], ...] = ()

    @property
    def row(self) -> Any:
        """The row being changed, or a new one."""
        known = getattr(self, "_row", None)
        if known is None:
            slug = next(iter(self.kwargs.values()), None)
            known = (
                self.model()
                if slug is None
                else get_object_or_404(self.model, **{self.slug_field: slug})
            )
            self._row = known
        return known

    @property
    def is_new(self) -> bool:
        """Whether the page adds a row."""
        return self.row._state.adding

    def get_form_kwargs(self) -> dict[str, Any]:
        """Give the form the row."""
        return {**super().get_form_kwargs(), "instance": self.row}

    def get_back(self) -> tuple[str, str] | None:
        """Lead back to the row where it has a page, else to the list of all of them."""
        if self.has_page and not self.is_new:
            return (str(self.row), str(self.row.get_absolute_url()))
        return super().get_back()

    def get_heading(self) -> str:
        """Return "New mould", or the name of the row."""
        return f"New {self.noun}" if self.is_new else str(self.row)

    def formsets(self) -> dict[str, Any]:
        """Return the formsets by name, bound where the page was sent."""
        known = getattr(self, "_formsets", None)
        if known is None:
            data = self.request.POST if self.request.method == "POST" else None
            studio = self.studio
            known = {
                name: formset_class(
                    data,
                    instance=self.row,
                    prefix=name,
                    form_kwargs={"system": studio.units, "currency": studio.currency},
                )
                for name, formset_class in self.parts_classes
            }
            self._formsets = known
        return known

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Check the form and its formsets together, so that every fault is shown at once."""
        if self.asks_panel():
            return self.answer_panel()
        form = self.get_form()
        fine = [form.is_valid(), *(parts.is_valid() for parts in self.formsets().values())]
        return self.form_valid(form) if all(fine) else self.form_invalid(form)

    def do(self, form: Any, key: Any) -> Any:
        """Act under a lock on the row, if it is still as the page showed it."""
        with transaction.atomic():
            if key is not None:
                refuse_repeat(key)
            if not self.is_new:
                form.refuse_stale(self.model.objects.select_for_update().get(pk=self.row.pk))
            return self.act(form, key)

    def act(self, form: Any, key: Any) -> Any:
        """Save the row and its parts in one transaction, with one entry."""
        with transaction.atomic():
            if key is not None:
                refuse_repeat(key)
            verb = "Added" if self.is_new else "Changed"
            row = form.save()
            for parts in self.formsets().values():
                parts.instance = row
                parts.save()
            enter(
                f"{verb.lower()} {self.noun}",
                f"{verb} {self.noun} {row}",
                page=self.after(row),
                key=key,
                by=self.request.user,
            )
        return self.after(row)

    def after(self, row: Any) -> str:
        """Return where to go once the row is saved."""
        return str(row.get_absolute_url())

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the formsets and the row."""
        context = super().get_context_data(**kwargs)
        close = ""
        if self.close_route and not self.is_new:
            close = reverse(self.close_route, args=[self.row.pk])
        return {**context, "row": self.row, "formsets": self.formsets(), "close": close}


class ClosePage(HousePage, View):
    """Remove a row that nothing hangs on; offer to close one that has a history.

    A closed row is hidden from choices and kept for its history; it can be opened again.
    """

    model: type[models.Model]
    slug_field = "pk"
    noun = ""
    list_route = ""
    template_name = "studio/close_page.html"

    @cached_property
    def row(self) -> Any:
        """Return the row that is to be closed, opened or removed."""
        slug = next(iter(self.kwargs.values()))
        return get_object_or_404(self.model, **{self.slug_field: slug})

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask what to do, and say what hangs on the row."""
        return self._ask()

    def _ask(self, status: int = 200) -> HttpResponse:
        context = {
            "row": self.row,
            "noun": self.noun,
            "held": hanging(self.row),
            "leave": self.row.get_absolute_url(),
            "request_key": uuid.uuid4(),
        }
        return TemplateResponse(self.request, self.template_name, context, status=status)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Remove, close or open the row; sent twice, it is done once."""
        deeds = {"remove": self._remove, "close": self._close, "open": self._open}
        deed = deeds.get(request.POST.get("deed", ""))
        if deed is None:
            return self._ask()
        try:
            with transaction.atomic():
                said, page = deed()
                enter(
                    f"{request.POST['deed']} {self.noun}",
                    said,
                    page=page,
                    key=self._key(),
                    by=request.user,
                )
        except AlreadyEnteredError as repeat:
            return redirect(repeat.entry.page)
        except (ProtectedError, IntegrityError):
            return self._ask(status=409)
        except OperationalError:
            messages.error(request, NOT_SAVED)
            return self._ask(status=503)
        messages.success(request, f"{said}.")
        return redirect(page)

    def _key(self) -> uuid.UUID | None:
        try:
            return uuid.UUID(self.request.POST.get("request_key", ""))
        except ValueError:
            return None

    def _remove(self) -> tuple[str, str]:
        said = f"Removed {self.noun} {self.row}"
        self.row.delete()
        return said, reverse(self.list_route)

    def _close(self) -> tuple[str, str]:
        self.row.closed_on = self.row.closed_on or timezone.localdate()
        return self._kept("Closed")

    def _open(self) -> tuple[str, str]:
        self.row.closed_on = None
        return self._kept("Opened")

    def _kept(self, verb: str) -> tuple[str, str]:
        self.row.save(update_fields=["closed_on"])
        return f"{verb} {self.noun} {self.row}", self.row.get_absolute_url()


def hanging(row: models.Model) -> list[str]:
    """Say, kind by kind, what hangs on a row and would lose its trail."""
    found = []
    for relation in row._meta.related_objects:
        if relation.on_delete is not models.PROTECT:
            continue
        count = relation.related_model._base_manager.filter(**{relation.field.name: row}).count()
        if count:
            meta = relation.related_model._meta
            name = meta.verbose_name if count == 1 else meta.verbose_name_plural
            found.append(f"{count} {name}")
    return found
