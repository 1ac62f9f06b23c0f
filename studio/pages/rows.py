"""A page that adds or changes one row."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse

from studio.entries import acting, enter, refuse_repeat
from studio.pages.forms import FormPage


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

    def rows_initial(self, name: str) -> list[dict[str, Any]] | None:
        """Return what stands in the new rows of a list before anything is typed."""
        return None

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
                    initial=self.rows_initial(name) if data is None else None,
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
        with acting():
            if key is not None:
                refuse_repeat(key)
            if not self.is_new:
                form.refuse_stale(self.model.objects.select_for_update().get(pk=self.row.pk))
            return self.act(form, key)

    def act(self, form: Any, key: Any) -> Any:
        """Save the row and its parts in one transaction, with one entry."""
        with acting():
            if key is not None:
                refuse_repeat(key)
            verb = "Added" if self.is_new else "Changed"
            row = form.save()
            for parts in self.formsets().values():
                parts.instance = row
                parts.save()
            enter(
                f"{verb.lower()} {self.noun}",
                f"{verb} {self.noun} {row}{self.changed_words(form)}",
                page=self.after(row),
                key=key,
                by=self.request.user,
            )
        return self.after(row)

    def changed_words(self, form: Any) -> str:
        """Return what the entry says of a change beyond its row: nothing, or words after it."""
        return ""

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
