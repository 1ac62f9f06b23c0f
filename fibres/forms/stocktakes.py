"""Forms of a count of the store: begin it, weigh a lot, take in another, post it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from fibres import doubts, places
from fibres.forms.common import some_dry
from fibres.forms.fibres import short_text
from fibres.models import CountLine, Lot
from studio.doubts import AskingMixin
from studio.forms import HouseForm, MassField, ShareField
from studio.units import System, show_share

ALL = "Everything in store"


class BeginForm(HouseForm):
    """Which lots are counted."""

    place = forms.ChoiceField(
        label="Lots that lie at",
        required=False,
        help_text="Lots without a place are counted with everything in store.",
    )
    remarks = short_text()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = [(name, f"{name}, {_in_lots(lots)}") for name, lots in places.held()]
        self.fields["place"].choices = [("", ALL), *offered]


def _in_lots(lots: int) -> str:
    return "1 lot" if lots == 1 else f"{lots} lots"


class CountForm(AskingMixin, HouseForm):
    """What the scale says of one lot, and why it differs; a likely slip is asked about."""

    mass = MassField(
        label="Mass as it is",
        stored=True,
        help_text="With its water, without its box or bag; 0 if nothing is there.",
    )
    reason = forms.ChoiceField(
        label="Why it differs",
        required=False,
        choices=[("", "It does not differ"), *CountLine.Reason.choices],
        help_text="Dried or drew water: the fibre stays as in the book, and the moisture follows.",
    )
    moisture = ShareField(required=False, validators=[some_dry])
    note = forms.CharField(
        max_length=120, required=False, help_text="What was seen: a torn bag, a wet corner."
    )

    def __init__(self, *args: Any, lot: Lot, system: System = "metric", **kwargs: Any) -> None:
        self.lot, self.system = lot, system
        super().__init__(*args, system=system, **kwargs)
        self.fields["reason"].needed = "needed if it does"
        known = str(lot.get_moisture_known_display()).lower()
        self.fields[
            "moisture"
        ].help_text = (
            f"Only where a sample was weighed today. Empty: {show_share(lot.moisture)}, {known}."
        )

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about a mass that is far from the book's."""
        yield "mass", doubts.of_count(self.lot, given["mass"], system=self.system)

    def clean(self) -> dict[str, Any]:
        """Ask, where all can be read."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        self.ask(given)
        return given


class AddLotForm(HouseForm):
    """A lot that lies here and is not on the list."""

    ref = forms.CharField(
        label="Lot",
        max_length=16,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
        help_text="The code on its label, such as AB-0003.",
    )


class PostForm(HouseForm):
    """That lots which were not weighed stay as the book has them."""

    leave_rest = forms.BooleanField(label="Leave the lots that were not weighed as they are")

    def __init__(self, *args: Any, not_weighed: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["leave_rest"]
        field.error_messages["required"] = "Tick this, or weigh them first."
        if not not_weighed:
            del self.fields["leave_rest"]
