"""The forms that both apps build on, and the two that stand before the door.

``HouseForm`` and ``HouseModelForm`` carry the request key that makes a doubled submit write
once. ``system`` and ``currency`` are the studio's own; a view passes them from its settings.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterable
from hashlib import sha256
from typing import Any

from django import forms
from django.contrib.auth import get_user_model, password_validation
from django.contrib.auth.forms import AuthenticationForm, UsernameField
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator
from django.db.models import DecimalField, Model
from django.utils.safestring import SafeString

from studio.errors import StudioError
from studio.fields import (
    CountField,
    DayField,
    GrammageField,
    LengthField,
    MassField,
    MoneyField,
    NumberField,
    QuantityField,
    RateField,
    ShareField,
    SizeField,
    VolumeField,
)
from studio.unseen import holds_unseen

__all__ = [
    "CountField",
    "DayField",
    "FirstRunForm",
    "GrammageField",
    "HouseForm",
    "HouseModelForm",
    "LengthField",
    "LogInForm",
    "MassField",
    "MoneyField",
    "NumberField",
    "QuantityField",
    "RateField",
    "RequestKeyField",
    "RowForm",
    "RowModelForm",
    "ShareField",
    "SizeField",
    "VolumeField",
]

STALE_PAGE = "This page was sent without its key. Look it over and enter it once more."
DASHES = "---------"
# The signs that an account's name may have; the account itself is checked for the same.
IN_A_NAME = re.compile(r"[\w.@+-]")
NAME_SIGNS = "Give letters, digits and the signs . - _ @ + only. Take out: %(signs)s."
UNSEEN = "A sign stands here that cannot be seen. Type it anew."
ASKED_OF_PASSWORDS = (
    "Eight characters or more of any kind; not a common word, and not like the user name."
)
LONG_TEXT = "Give at most %(limit_value)d characters; this has %(show_value)d."


class RequestKeyField(forms.UUIDField):
    """A key made with the page and sent back with it, so that one page writes once."""

    widget = forms.HiddenInput
    default_error_messages = {"required": STALE_PAGE, "invalid": STALE_PAGE}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(initial=uuid.uuid4, label="Request key", **kwargs)

    def bound_data(self, data: Any, initial: Any) -> Any:
        """Keep the key that was sent; put a new one where what was sent is none."""
        try:
            return uuid.UUID(str(data))
        except ValueError:
            return uuid.uuid4()


class HouseMixin:
    """Wording, units and currency of the house for any form."""

    fields: dict[str, forms.Field]
    # Fields that are folded up, because an entry is whole without them.
    waits: frozenset[str] = frozenset()

    def __init__(
        self, *args: Any, system: str = "metric", currency: str = "", **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            word_faults(field)
            word_blank(field)
            refuse_unseen(field)
            self._hold_to_column(name, field)
            if isinstance(field, QuantityField | SizeField):
                field.prefer(system)
            if currency and isinstance(field, MoneyField):
                field.use_currency(currency)

    def _hold_to_column(self, name: str, field: forms.Field) -> None:
        """Let a number have as many places as its column keeps, so that the field says so."""
        model = getattr(getattr(self, "_meta", None), "model", None)
        if model is None or not isinstance(field, NumberField | ShareField):
            return
        column = next((one for one in model._meta.fields if one.name == name), None)
        if isinstance(column, DecimalField):
            field.places = column.decimal_places

    def shorten(self, waits: Iterable[str]) -> None:
        """Fold up fields that can wait; a faulty one unfolds them."""
        self.waits = frozenset(waits)

    @property
    def is_unfolded(self) -> bool:
        """Whether a field that is folded up has to be looked at."""
        return bool(self.waits & set(self.errors))  # type: ignore[attr-defined]

    @property
    def rows(self) -> SafeString:
        """Render hidden inputs and rows without the fault list, for a page that has its own."""
        return self.render("studio/forms/rows.html")  # type: ignore[attr-defined,no-any-return]


def word_faults(field: forms.Field) -> None:
    """Exchange the framework's stock sentences for ones that say what to do."""
    stock = forms.Field.default_error_messages["required"]
    choice = isinstance(field, forms.ChoiceField | forms.ModelChoiceField)
    if field.error_messages.get("required") == stock:
        field.error_messages["required"] = "Choose one." if choice else "Fill this in."
    if choice:
        field.error_messages["invalid_choice"] = "Choose one of those offered."
    if isinstance(field, forms.CharField):
        for validator in field.validators:
            if getattr(validator, "code", "") == "max_length":
                validator.message = LONG_TEXT


def refuse_unseen(field: forms.Field) -> None:
    """Let a field of words refuse what would steer the terminal or turn the page's words round."""
    is_password = isinstance(field.widget, forms.PasswordInput)
    if not isinstance(field, forms.CharField) or is_password:
        return
    lines = isinstance(field.widget, forms.Textarea)

    def refuse(value: Any) -> None:
        if isinstance(value, str) and holds_unseen(value, lines=lines):
            raise ValidationError(UNSEEN, code="unseen")

    field.validators.append(refuse)


def word_blank(field: forms.Field) -> None:
    """Say what an empty choice means, in place of the framework's row of dashes."""
    words = "Choose one" if field.required else "None"
    if isinstance(field, forms.ModelChoiceField):
        if field.empty_label == DASHES:
            field.empty_label = words
    elif isinstance(field, forms.ChoiceField) and not hasattr(field, "empty_label"):
        choices = list(field.choices)
        if choices[:1] == [("", DASHES)]:
            field.choices = [("", words), *choices[1:]]


class HouseForm(HouseMixin, forms.Form):
    """A form that writes: carries a request key."""

    request_key = RequestKeyField()


class HouseModelForm(HouseMixin, forms.ModelForm):
    """A form over one row of a model: carries a request key, and the row's version as shown."""

    request_key = RequestKeyField()
    version = forms.CharField(required=False, max_length=32, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            del self.fields["version"]
        else:
            self.initial["version"] = self.version_of(self.instance)

    def refuse_stale(self, stored: Model) -> None:
        """Stop where the row is another than the page showed; the next sending goes through."""
        now = self.version_of(stored)
        if self.cleaned_data.get("version") in ("", None, now):
            return
        self.data = self.data.copy()
        self.data[self.add_prefix("version")] = now
        told = self.differences(stored)
        raise StudioError(
            "Somebody changed this after the page was opened. There it says now "
            f"{'; '.join(told) or 'the same'}. Look it over: entered again, what stands here "
            "is kept."
        )

    def version_of(self, row: Model) -> str:
        """Return the mark of a row; a form over more than the row's columns adds the rest."""
        return version_of(row)

    def differences(self, stored: Model) -> list[str]:
        """Say, field by field, what stands in the row and is not what was typed."""
        sets = {field.name for field in stored._meta.many_to_many}
        return [
            f"{self[name].label}: {self._shown(name, stored)}"
            for name in self.fields
            if hasattr(stored, name)
            and name not in sets
            and getattr(stored, name) != self.cleaned_data.get(name)
        ]

    def _shown(self, name: str, stored: Model) -> str:
        value = self.fields[name].prepare_value(getattr(stored, name))
        words = " ".join(map(str, value)) if isinstance(value, list) else str(value)
        return words or "nothing"


def version_of(row: Model) -> str:
    """Return a mark that changes with any column of a row."""
    columns = [f"{field.attname}={getattr(row, field.attname)}" for field in row._meta.fields]
    return sha256("\n".join(columns).encode()).hexdigest()[:16]


class RowForm(HouseMixin, forms.Form):
    """One row of a formset: the page's own form carries the key."""


class RowModelForm(HouseMixin, forms.ModelForm):
    """One row of a formset over a model."""


class LogInForm(HouseMixin, AuthenticationForm):
    """User name and password."""

    error_messages = {
        "invalid_login": "User name and password do not belong together. Type both again.",
        "inactive": "This account is closed. Ask the owner of the studio to open it.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        name = self.fields["username"]
        name.label = "User name"
        # Django writes the limit into the page alone; a forged name would reach the list of tries.
        name.validators.append(MaxLengthValidator(name.max_length, LONG_TEXT))


class FirstRunForm(HouseForm):
    """What is needed to open a studio: its name and the account of its owner."""

    studio_name = forms.CharField(max_length=80, help_text="It stands at the top of every page.")
    user_name = UsernameField(max_length=150, help_text="To sign in with; letters and digits.")
    password = forms.CharField(
        strip=False,
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=ASKED_OF_PASSWORDS,
    )
    password_again = forms.CharField(
        strip=False,
        max_length=128,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_user_name(self) -> str:
        """Refuse what the account itself would refuse, and say which signs it is."""
        name: str = self.cleaned_data["user_name"]
        try:
            get_user_model()._meta.get_field("username").run_validators(name)
        except ValidationError:
            signs = dict.fromkeys(sign for sign in name if not IN_A_NAME.fullmatch(sign))
            named = ", ".join("a space" if sign.isspace() else sign for sign in signs)
            raise ValidationError(NAME_SIGNS, code="invalid", params={"signs": named}) from None
        return name

    def clean(self) -> dict[str, Any]:
        """Compare the two passwords and weigh the first."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        password, again = given.get("password"), given.get("password_again")
        if password and again and password != again:
            self.add_error("password_again", "This is not the same as the first. Type it again.")
        if password:
            user = get_user_model()(username=given.get("user_name", ""))
            try:
                password_validation.validate_password(password, user)
            except ValidationError as fault:
                self.add_error("password", fault)
        return given
