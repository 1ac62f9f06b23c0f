"""Controls with a unit: number and unit share one outline and one focus ring."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from django import forms

# How a unit's name in the registry is written for people.
UNIT_WORDS = {"g/m2": "g/m²", "um": "µm", "gal": "US gal"}


def unit_word(unit: str) -> str:
    """Return a unit as it stands beside a figure."""
    return UNIT_WORDS.get(unit, unit)


def plain_text_input(inputmode: str = "") -> forms.TextInput:
    """Return a text input that no browser fills in by itself."""
    mode = {"inputmode": inputmode} if inputmode else {}
    return forms.TextInput(attrs={"autocomplete": "off", **mode})


class UnitInput(forms.TextInput):
    """A figure with a fixed unit beside it."""

    template_name = "studio/forms/unit_input.html"

    def __init__(self, unit: str, *, letters: bool = False) -> None:
        # Where another unit may be typed ("32 lb bond"), the keyboard must offer letters.
        mode = {} if letters else {"inputmode": "decimal"}
        super().__init__(attrs={"autocomplete": "off", **mode})
        self.unit = unit

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Tie the unit to the input, so that it is read out with it."""
        context: dict[str, Any] = super().get_context(name, value, attrs)
        own = context["widget"]["attrs"]
        own.pop("class", None)
        unit_id = f"{own['id']}_unit" if own.get("id") else ""
        if unit_id:
            told = own.get("aria-describedby")
            own["aria-describedby"] = f"{unit_id} {told}" if told else unit_id
        context["widget"].update(unit=unit_word(self.unit), unit_id=unit_id)
        return context


class DayInput(forms.DateInput):
    """A day picker that shows text which is no day as text, so that it stays as typed."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Fall back to a plain input where the picker would drop the text."""
        context: dict[str, Any] = super().get_context(name, value, attrs)
        shown = context["widget"]["value"]
        if shown:
            try:
                datetime.date.fromisoformat(shown)
            except ValueError:
                context["widget"]["type"] = "text"
        return context


class FoldedChoices(forms.CheckboxSelectMultiple):
    """A long list of tick boxes under one line that names what is chosen."""

    template_name = "studio/forms/folded.html"

    def __init__(self, *, nothing: str = "None", attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs)
        self.nothing = nothing

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Name what is chosen; say what it means where nothing is."""
        context: dict[str, Any] = super().get_context(name, value, attrs)
        groups = context["widget"]["optgroups"]
        chosen = [
            str(option["label"])
            for _, options, _ in groups
            for option in options
            if option["selected"]
        ]
        context["widget"]["told"] = ", ".join(chosen) or self.nothing
        return context


class QuantityWidget(forms.MultiWidget):
    """A figure and a list of units; posts ``name`` and ``name_unit``."""

    template_name = "studio/forms/quantity.html"
    use_fieldset = False

    def __init__(self, units: Sequence[str], attrs: dict[str, Any] | None = None) -> None:
        self.unit_label = "Unit"
        super().__init__({"": plain_text_input(), "unit": forms.Select()}, attrs)
        self.offer(units)

    def offer(self, units: Sequence[str]) -> None:
        """Set the units to choose from; the first is the one taken for a bare number."""
        self.units = tuple(units)
        self.widgets[1].choices = [(unit, unit_word(unit)) for unit in units]

    def decompress(self, value: Any) -> list[Any]:
        """Return text and unit for a value that is text alone."""
        return [value, self.units[0]]

    def id_for_label(self, id_: str) -> str:
        """Let the label name the figure."""
        return id_

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Keep the field's id and what describes it on the figure; name the list of units."""
        context: dict[str, Any] = super().get_context(name, value, attrs)
        figure, unit = context["widget"]["subwidgets"]
        own_id = context["widget"]["attrs"].get("id")
        unit["attrs"] = {"aria-label": self.unit_label}
        if own_id:
            figure["attrs"]["id"] = own_id
            unit["attrs"]["id"] = f"{own_id}_unit"
        return context
