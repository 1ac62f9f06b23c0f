"""A day."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio.widgets import DayInput

FIRST_YEAR, LAST_YEAR = 2000, 2100


class DayField(forms.DateField):
    """A day, picked or typed as 2026-11-25 or 25 Nov 2026."""

    widget = DayInput
    input_formats = ("%Y-%m-%d", "%d %b %Y", "%d %B %Y")
    default_error_messages = {
        "required": "Give a day.",
        "invalid": "Give a day such as 2026-11-25.",
    }

    def validate(self, value: Any) -> None:
        """Refuse a year that can only be a slip of the finger."""
        super().validate(value)
        if value is not None and not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise ValidationError(
                f"Give a day from {FIRST_YEAR} to {LAST_YEAR}, got {value.year}.", code="year"
            )
