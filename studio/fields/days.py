"""A day."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.reading import shown
from studio.widgets import DayInput

FIRST_YEAR, LAST_YEAR = 2000, 2100


class DayField(forms.DateField):
    """A day, picked or typed as 2026-11-25 or 25 Nov 2026."""

    widget = DayInput
    input_formats = ("%Y-%m-%d", "%d %b %Y", "%d %B %Y")
    default_error_messages = {
        "required": "Give a day.",
        "invalid": "Give a day such as 2026-11-25, got %(got)s.",
    }

    def to_python(self, value: Any) -> Any:
        """Read the day; a refusal names what was given."""
        try:
            return super().to_python(value)
        except ValidationError as fault:
            raise ValidationError(
                self.error_messages["invalid"], code="invalid", params={"got": shown(value)}
            ) from fault

    def validate(self, value: Any) -> None:
        """Refuse a year that can only be a slip of the finger."""
        super().validate(value)
        if value is not None and not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise ValidationError(
                f"Give a day from {FIRST_YEAR} to {LAST_YEAR}, got {value.year}.", code="year"
            )
