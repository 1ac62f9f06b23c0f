"""The door (log in, first run), the studio's own rates and moulds, and the pages of refusal."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib.auth import get_user_model, login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import rotate_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_POST
from django.views.generic import FormView

from studio import api, explained, outages, people, tokens
from studio.entries import acting, enter
from studio.explaining import Explained, first_of
from studio.forms import FirstRunForm, LogInForm
from studio.lists import HouseFilterSet, ListPage, WordsFilter, house_table
from studio.models import Mould, Studio, Vat
from studio.origins import origin_of
from studio.pages import ClosePage, RowPage
from studio.roles import PUBLIC, needs
from studio.studioforms import MouldForm, PersonForm, StudioForm, VatForm
from studio.studiotables import (
    MayTable,
    MouldTable,
    PersonTable,
    TokenTable,
    VatTable,
    who_may,
)
from studio.units import show_length


class MouldFilter(HouseFilterSet):
    """Moulds by words of their name."""

    words = WordsFilter(("name", "remarks"), label="Words")


class PersonFilter(HouseFilterSet):
    """People by words of their name."""

    words = WordsFilter(("username",), label="Words")


@needs(PUBLIC)
class LogIn(LoginView):
    """Ask for user name and password."""

    template_name = "registration/log_in.html"
    authentication_form = LogInForm
    redirect_authenticated_user = True
    http_method_names = ["get", "post", "head", "options"]


@needs(PUBLIC)
@login_not_required
@require_POST
def log_out(request: HttpRequest) -> HttpResponse:
    """End the session, and ask the browser to forget what it kept of it."""
    logout(request)
    # Pages that are kept whole tell by it that somebody signed out: studio/static/studio/back.js.
    rotate_token(request)
    answer = redirect("log_in")
    answer["Clear-Site-Data"] = '"cache", "storage"'
    return answer


@needs(PUBLIC)
@method_decorator(login_not_required, name="dispatch")
class FirstRun(FormView):
    """Make the owner's account, once; afterwards this page leads to the log-in."""

    template_name = "studio/first_run.html"
    form_class = FirstRunForm
    http_method_names = ["get", "post", "head", "options"]

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """Close the page for good once somebody has an account."""
        if get_user_model().objects.exists():
            return redirect("log_in")
        return super().dispatch(request, *args, **kwargs)

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Open the studio and sign its owner in."""
        given = form.cleaned_data
        with acting():
            # Of two first runs at once the studio's one row lets only one through.
            studio, is_new = Studio.objects.get_or_create(
                pk=1, defaults={"name": given["studio_name"]}
            )
            if get_user_model().objects.exists():
                return redirect("log_in")
            if not is_new:
                studio.name = given["studio_name"]
                studio.save(update_fields=["name"])
            owner = people.make_owner(given["user_name"], given["password"])
            enter("open studio", f"Opened {studio.name}", page="/", key=None, by=owner)
        login(self.request, owner, backend="django.contrib.auth.backends.ModelBackend")
        return redirect("today")


@needs("studio.change")
class StudioPage(RowPage):
    """Change the studio's name, rates and habits; find its moulds."""

    model = Studio
    form_class = StudioForm
    template_name = "studio/studio_page.html"
    noun = "studio"
    lede = "The studio's own figures. Prices and tax are yours to set; nothing here is advice."
    button = "Keep these figures"

    @property
    def row(self) -> Any:
        """The one row of the studio; not the one that the page is headed with."""
        if not hasattr(self, "_row"):
            self._row = Studio.current()
        return self._row

    def get_heading(self) -> str:
        """Return the name of the studio."""
        return str(self.studio.name)

    def after(self, row: Any) -> str:
        """Stay on the page."""
        return reverse("studio")

    def said(self, result: Any) -> str:
        """Say that the figures are kept."""
        return "Kept. Costs and counts use these figures from now on."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the rates as they are kept, and the first vat."""
        rates = explained.rates(self.reader, self.row)
        return (*rates, *explained.vat(self.reader, first_of(shown["vats"])))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the moulds and the people."""
        everybody = get_user_model().objects.prefetch_related("groups").order_by("username")
        return super().get_context_data(
            moulds=house_table(self.request, MouldTable, Mould.objects.all(), prefix="moulds-"),
            vats=house_table(self.request, VatTable, Vat.objects.all(), prefix="vats-"),
            people=house_table(self.request, PersonTable, everybody, prefix="people-"),
            **kwargs,
        )


@needs("studio.change")
class MouldList(ListPage):
    """Every mould, to be narrowed, sorted and taken along."""

    table_class = MouldTable
    filterset_class = MouldFilter
    heading = "Moulds"
    lede = "By the opening inside the deckle; drying makes the sheet smaller."
    side_head = "Moulds"
    export_name = "moulds"

    def get_queryset(self) -> QuerySet[Mould]:
        """Return moulds by name."""
        return Mould.objects.all()

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the first mould."""
        return explained.mould(self.reader, first_of(shown["table"]))


@needs("studio.change")
class MouldPage(RowPage):
    """Add or change a mould."""

    model = Mould
    form_class = MouldForm
    noun = "mould"
    close_route = "mould_close"
    back = ("Studio", "studio")
    lede = "The opening inside the deckle decides how large a wet sheet is; drying makes it less."
    button = "Keep the mould"

    def get_lede(self) -> str:
        """Say where the draw comes from, where one is known."""
        mould = self.row
        if mould.draw_um is None:
            return self.lede
        draw = show_length(mould.draw_um, system=self.studio.units)
        origin = origin_of("draw", f"mould {mould.pk}", mould.draw_um)
        return f"{self.lede} Its draw of {draw} is {origin}."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the mould as it is kept."""
        return explained.mould(self.reader, explained.kept(self.row))

    def after(self, row: Any) -> str:
        """Go back to the list of moulds."""
        return reverse("studio")


@needs("studio.change")
class MouldClose(ClosePage):
    """Remove or close a mould."""

    model = Mould
    noun = "mould"
    list_route = "studio"


@needs("studio.change")
class VatPage(RowPage):
    """Add or change a vat."""

    model = Vat
    form_class = VatForm
    noun = "vat"
    close_route = "vat_close"
    back = ("Studio", "studio")
    lede = "Its inside and its working depth say how many litres a making fills."
    button = "Keep the vat"

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain the vat as it is kept."""
        return explained.vat(self.reader, explained.kept(self.row))

    def after(self, row: Any) -> str:
        """Go back to the list of vats."""
        return reverse("studio")


@needs("studio.change")
class VatClose(ClosePage):
    """Remove or close a vat."""

    model = Vat
    noun = "vat"
    list_route = "studio"


@needs("studio.change")
class PersonList(ListPage):
    """Everybody with an account, to be narrowed and sorted."""

    table_class = PersonTable
    filterset_class = PersonFilter
    heading = "People"
    lede = "Who may sign in, and as what."
    side_head = "People"
    export_name = "people"
    template_name = "studio/people.html"

    def get_queryset(self) -> QuerySet[Any]:
        """Return accounts by name, with their roles."""
        return get_user_model().objects.prefetch_related("groups").order_by("username")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add who may see and do what, and the tokens by which other programs read."""
        may = house_table(self.request, MayTable, who_may(), paginate=False, prefix="may-")
        rows = tokens.open_tokens().select_related("user")
        table = house_table(self.request, TokenTable, rows, prefix="tokens-")
        return super().get_context_data(may=may, tokens=table, **kwargs)


@needs("studio.change")
class PersonPage(RowPage):
    """Add a person, or change what one may do."""

    model = get_user_model()
    form_class = PersonForm
    noun = "person"
    back = ("Studio", "studio")
    lede = (
        "The owner sees and changes everything. A hand works in the store. A viewer reads. "
        "Another role signs the person out; a new password does too, and closes the person’s "
        "tokens for other programs, as closing the account does."
    )
    button = "Keep the account"

    def act(self, form: forms.ModelForm, key: Any) -> str:
        """Keep the account."""
        given = form.cleaned_data
        people.keep_person(
            form.instance,
            role=given["role"],
            is_active=given.get("is_active", True),
            password=given["password"],
            by=self.request.user,
            key=key,
        )
        if form.instance.pk == self.request.user.pk and "role" in form.changed_data:
            logout(self.request)
            return reverse("log_in")
        return reverse("studio")


def _refusal(request: HttpRequest, template: str, status: int, said: str) -> HttpResponse:
    if api.is_api(request):
        return api.refusal(said, status=status)
    return render(request, template, status=status)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Say that the address or the form could not be read."""
    return _refusal(request, "400.html", 400, api.UNREADABLE)


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Say that the role does not reach this page."""
    return _refusal(request, "403.html", 403, api.NO_ROLE)


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Say that there is no such page."""
    return _refusal(request, "404.html", 404, api.NOTHING_HERE)


def broken(request: HttpRequest) -> HttpResponse:
    """Say that something failed, from a page that needs nothing."""
    fault = sys.exc_info()[1]
    if fault is not None and outages.is_outage(fault):
        return outages.answer(request, fault)
    if api.is_api(request):
        return api.refusal(api.BROKEN, status=500)
    return HttpResponse(_static_page("500.html"), status=500)


def _static_page(template: str) -> str:
    from django.template.loader import render_to_string

    return render_to_string(template)
