"""What several forms of the store ask in the same words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from fibres import places
from fibres.models import Fibre
from studio.forms import DayField


def not_ahead(day: date) -> None:
    """Refuse a day that has not come; one day more is left for a studio east of its clock."""
    if day > timezone.localdate() + timedelta(days=1):
        raise ValidationError("That day has not come yet. Give today or a day before it.")


def some_dry(moisture: Decimal) -> None:
    """Refuse a moisture that leaves nothing but water."""
    if moisture >= 1:
        raise ValidationError("Give less than 100 %: the rest is fibre.")


def above_zero(share: Decimal) -> None:
    """Refuse a share of nothing."""
    if share <= 0:
        raise ValidationError("Give more than 0 %.")


def some(number: Decimal) -> None:
    """Refuse a number of none."""
    if number <= 0:
        raise ValidationError("Give more than 0.")


def past_day(label: str, **kwargs: Any) -> DayField:
    """Return a field for a day that has come, filled in with today."""
    return DayField(label=label, initial=timezone.localdate, validators=[not_ahead], **kwargs)


def open_fibres() -> Any:
    """Return the fibres that a lot or a furnish can be of."""
    return Fibre.objects.filter(closed_on=None, is_refused=False)


class KnownInput(forms.TextInput):
    """A line of text with known answers offered under it; any other may be typed."""

    template_name = "fibres/forms/known_input.html"

    def __init__(self, names: Sequence[str] = ()) -> None:
        super().__init__(attrs={"autocomplete": "off"})
        self.names = names

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Tie the list to the line."""
        context: dict[str, Any] = super().get_context(name, value, attrs)
        list_id = f"{context['widget']['attrs'].get('id', name)}_known"
        return {**context, "names": self.names, "list_id": list_id}


class PlaceInput(KnownInput):
    """A place, with those known offered; they are read only when the form is drawn."""

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Offer the places where lots lie."""
        self.names = places.known()
        return super().get_context(name, value, attrs)


class PlaceField(forms.CharField):
    """Where something lies, spelled as the same place was spelled before."""

    widget = PlaceInput

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", "Where it lies")
        kwargs.setdefault("help_text", "Shelf B2, tub 4. The store is counted place by place.")
        super().__init__(required=False, max_length=40, **kwargs)

    def clean(self, value: Any) -> str:
        """Return the place as it is known already."""
        return places.spelled(super().clean(value))


class MoneyMixin:
    """Drops the fields about money for a person who may not see what things cost."""

    money_fields: tuple[str, ...] = ()

    def __init__(self, *args: Any, sees_money: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in () if sees_money else self.money_fields:
            del self.fields[name]  # type: ignore[attr-defined]
