"""A person's own settings: units, and the password."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import update_session_auth_hash
from django.urls import reverse

from studio import people, roles
from studio.models import Preference, Studio
from studio.ownforms import OwnPasswordForm, OwnUnitsForm
from studio.pages import FormPage
from studio.roles import needs


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


def _as_what(role: str) -> str:
    return f"{'an' if role == roles.OWNER else 'a'} {role}"


@needs("read")
class OwnPassword(FormPage):
    """Change one's own password."""

    form_class = OwnPasswordForm
    heading = "Your password"
    lede = "A new one signs you out everywhere else."
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
        return "Your password is changed. You are signed out everywhere else."
