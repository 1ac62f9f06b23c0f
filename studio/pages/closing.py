"""A page that removes, closes or opens one row, and what hangs on it."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.db import IntegrityError, OperationalError, models
from django.db.models import ProtectedError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.response import TemplateResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.views import View

from studio import outages
from studio.entries import AlreadyEnteredError, acting, enter
from studio.pages.forms import NOT_SAVED
from studio.pages.house import HousePage


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
            with acting():
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
        except OperationalError as fault:
            messages.error(request, outages.sentence(fault, NOT_SAVED))
            return self._ask(status=outages.outage_of(fault).status)
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
