"""A field whose text the house reads, and what reads and shows it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.errors import ReadingError, StudioError
from studio.reading import read_quantity

# Stands for the field's name in a refusal; the page shows the label in its place.
THIS = "this"


def read(text: str, kind: str, *, unit: str = "", allow_zero: bool = False) -> Any:
    """Read text; a refusal says what is wrong and leaves the name of the field to the label."""
    try:
        return read_quantity(text, kind, field=THIS, unit=unit, allow_zero=allow_zero)
    except ReadingError as fault:
        message = str(fault).removeprefix(f"{THIS}: ")
        raise ReadingError(message, value=fault.value) from fault


def plain(number: Decimal) -> str:
    """Return a number as a person would type it: no exponent, no trailing zeros."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class TypedField(forms.Field):
    """A field whose text the house reads; children say how to read and how to show."""

    wanted = ""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        if "required" not in (kwargs.get("error_messages") or {}):
            self.error_messages["required"] = f"Give {self.wanted}."

    def read(self, text: str, unit: str) -> Any:
        """Return what was typed as a value, or raise a StudioError."""
        raise NotImplementedError

    def show(self, value: Any) -> str:
        """Return the text that reads back to the value."""
        raise NotImplementedError

    def check(self, value: Any) -> None:
        """Raise a ValidationError where the value is outside what the form allows."""

    def typed(self, value: Any) -> tuple[str, str]:
        """Split what the widget sent into text and unit."""
        return str(value), ""

    def to_python(self, value: Any) -> Any:
        """Read the text; any fault of reading becomes a fault of the form."""
        if value is None:
            return None
        text, unit = self.typed(value)
        if not text.strip():
            return None
        try:
            return self.read(text, unit)
        except StudioError as fault:
            raise ValidationError(str(fault), code="unreadable") from fault

    def validate(self, value: Any) -> None:
        """Check the value after the check for an empty field."""
        super().validate(value)
        if value is not None:
            self.check(value)

    def prepare_value(self, value: Any) -> Any:
        """Show a value as text; leave what was typed as it was."""
        return value if value is None or isinstance(value, str) else self.show(value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare what is typed with what was shown, as values."""
        if self.disabled:
            return False
        try:
            now = self.to_python(data)
            before = None if initial is None else self.to_python(self.prepare_value(initial))
        except ValidationError:
            return True
        return bool(now != before)
