"""A person's own settings: units, the password, and tokens for other programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib.auth import update_session_auth_hash
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import cached_property

from studio import explained, people, roles, tokens
from studio.explaining import Explained
from studio.forms import HouseForm
from studio.lists import house_table
from studio.models import AccessToken, Preference, Studio
from studio.ownforms import OwnPasswordForm, OwnTokenForm, OwnUnitsForm
from studio.pages import FormPage
from studio.roles import needs
from studio.studiotables import OwnTokenTable


@needs("read")
class OwnSettings(FormPage):
    """Choose the units of one's own pages; lead on to the password."""

    template_name = "studio/own_settings.html"
    form_class = OwnUnitsForm
    heading = "Your own settings"
    side_head = "Units"
    note = "On pages, in files and on paper that you take; quotes keep the studio’s"
    button = "Keep the units"

    def get_lede(self) -> str:
        """Say who is signed in, and as what."""
        user = self.request.user
        return f"You are signed in as {user.get_username()}, {_as_what(roles.role_of(user))}."

    def get_form_kwargs(self) -> dict[str, Any]:
        """Show what was chosen, and what the studio has."""
        chosen = Preference.objects.filter(user=self.request.user).first()
        return {
            **super().get_form_kwargs(),
            "initial": {"units": chosen.units if chosen else ""},
            "studio_units": Studio.current().units,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the role lets a person do."""
        user = self.request.user
        may = [words for need, words in roles.MAY.items() if roles.can(user, need)]
        return super().get_context_data(may=may, **kwargs)

    def act(self, form: forms.Form, key: Any) -> str:
        """Remember the choice."""
        people.keep_own_units(self.request.user, form.cleaned_data["units"], key=key)
        return reverse("you")

    def said(self, result: Any) -> str:
        """Say that it counts."""
        return "Kept. Your pages are in these units from now on."

    def explain(self, shown: Mapping[str, Any]) -> Sequence[Explained]:
        """Explain how figures are turned into other units."""
        return explained.units()


def _as_what(role: str) -> str:
    return f"{'an' if role == roles.OWNER else 'a'} {role}"


@needs("read")
class OwnPassword(FormPage):
    """Change one's own password."""

    form_class = OwnPasswordForm
    heading = "Your password"
    lede = "A new one signs you out everywhere else, and closes your tokens for other programs."
    back = ("Your own settings", "you")
    button = "Change the password"

    def get_form_kwargs(self) -> dict[str, Any]:
        """Let the form ask whose password it is."""
        return {**super().get_form_kwargs(), "request": self.request}

    def act(self, form: forms.Form, key: Any) -> str:
        """Change it and stay signed in here."""
        user = self.request.user
        people.keep_own_password(user, form.cleaned_data["password"], key=key)
        update_session_auth_hash(self.request, user)
        return reverse("you")

    def said(self, result: Any) -> str:
        """Say that it is done."""
        return (
            "Your password is changed. You are signed out everywhere else, and no token of yours "
            "is open."
        )


@needs("read")
class OwnTokens(FormPage):
    """Make a token for another program, see it once, and see which there are."""

    template_name = "studio/own_tokens.html"
    form_class = OwnTokenForm
    heading = "Tokens for other programs"
    lede = (
        "A token lets another program read store and cover as you, and change nothing. It sees "
        "what you may see, no more, until you close it or change your password."
    )
    back = ("Your own settings", "you")
    side_head = "Make a token"
    note = "It is shown once; nobody can read it here again"
    button = "Make the token"
    # Set where one has just been made: shown in this one answer, and kept nowhere.
    token = ""

    def act(self, form: forms.Form, key: Any) -> str:
        """Make it."""
        self.token = tokens.make(self.request.user, form.cleaned_data["name"], key=key)
        return reverse("you_tokens")

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Show the token in the answer itself: on the way to another page it would be written."""
        answer = super().form_valid(form)
        if not self.token:
            return answer
        fresh = self.form_class(**{**self.get_form_kwargs(), "data": None, "files": None})
        context = self.get_context_data(form=fresh, token=self.token)
        return self.render_to_response(context, headers={"Cache-Control": "no-store"})

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add the tokens that are open."""
        rows = tokens.open_tokens().filter(user=self.request.user)
        table = house_table(self.request, OwnTokenTable, rows, prefix="tokens-")
        return super().get_context_data(table=table, **kwargs)


class TokenClosing(FormPage):
    """Close one token for good."""

    form_class = HouseForm
    button = "Close the token"
    side_head = "Close it"
    note = "This cannot be taken back; another token is made in a moment"
    leads_to = ""

    def rows(self) -> QuerySet[AccessToken]:
        """Return the tokens that whoever asks may close."""
        raise NotImplementedError

    @cached_property
    def row(self) -> AccessToken:
        """Return the token that is to be closed."""
        return get_object_or_404(self.rows().select_related("user"), pk=self.kwargs["pk"])

    def get_heading(self) -> str:
        """Name the token."""
        return f"Close the token for {self.row.name}"

    def get_lede(self) -> str:
        """Say what closing does, or that it is done."""
        whose = self.row.user.get_username()
        if self.row.is_closed:
            return f"It is closed already. It was made by {whose}."
        return f"It was made by {whose}. The program that reads with it is refused from then on."

    def act(self, form: forms.Form, key: Any) -> str:
        """Close it."""
        page = reverse(self.leads_to)
        tokens.close(self.row, by=self.request.user, page=page, key=key)
        return page

    def said(self, result: Any) -> str:
        """Say that it is done."""
        return f"The token for {self.row.name} is closed."


@needs("read")
class OwnTokenClose(TokenClosing):
    """Close a token of one's own."""

    back = ("Tokens for other programs", "you_tokens")
    leads_to = "you_tokens"

    def rows(self) -> QuerySet[AccessToken]:
        """Return one's own."""
        return AccessToken.objects.filter(user=self.request.user)


@needs("studio.change")
class AnyTokenClose(TokenClosing):
    """Close a token of anybody, for the owner."""

    back = ("People", "people")
    leads_to = "people"

    def rows(self) -> QuerySet[AccessToken]:
        """Return everybody's."""
        return AccessToken.objects.all()
