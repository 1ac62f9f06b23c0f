"""Forms of a person's own settings."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import authenticate, password_validation
from django.core.exceptions import ValidationError

from studio.forms import ASKED_OF_PASSWORDS, HouseForm
from studio.models import Studio

LONGEST_PASSWORD = 128


class OwnUnitsForm(HouseForm):
    """In which units a person reads and writes."""

    units = forms.ChoiceField(
        widget=forms.RadioSelect,
        required=False,
        help_text="For you alone; a unit that is typed always counts.",
    )

    def __init__(self, *args: Any, studio_units: str = Studio.Units.METRIC, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        studios = f"As the studio: {str(Studio.Units(studio_units).label).partition(':')[0]}"
        self.fields["units"].choices = [("", studios), *Studio.Units.choices]


class OwnTokenForm(HouseForm):
    """What a token is for, so that it is known again when it is to be closed."""

    name = forms.CharField(
        label="What it is for",
        max_length=60,
        help_text="The program or the machine that reads with it, such as “wall display”.",
    )


def _password(autocomplete: str, **kwargs: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
    return forms.CharField(strip=False, max_length=LONGEST_PASSWORD, widget=widget, **kwargs)


class OwnPasswordForm(HouseForm):
    """A new password, by who knows the old one."""

    # For keepers of passwords, which need to know whose it is; what is sent is not read.
    user_name = forms.CharField(
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "username", "readonly": True}),
    )
    old = _password("current-password", label="Password now")
    password = _password(
        "new-password",
        label="New password",
        help_text=ASKED_OF_PASSWORDS,
    )
    again = _password("new-password", label="New password again")

    def __init__(self, *args: Any, request: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.initial["user_name"] = request.user.get_username()
        if not request.user.has_usable_password():
            del self.fields["old"]

    def clean_old(self) -> str:
        """Ask the door, which counts wrong tries here as it does there."""
        old: str = self.cleaned_data["old"]
        name = self.request.user.get_username()
        if authenticate(self.request, username=name, password=old) is None:
            raise ValidationError("This is not your password. Type it again.")
        return old

    def clean(self) -> dict[str, Any]:
        """Compare the two and weigh the first."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        password, again = given.get("password"), given.get("again")
        if password and again and password != again:
            self.add_error("again", "This is not the same as the first. Type it again.")
        if password:
            try:
                password_validation.validate_password(password, self.request.user)
            except ValidationError as fault:
                self.add_error("password", fault)
        return given
