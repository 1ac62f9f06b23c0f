"""The forms of the log of a making: each notes one thing at the vat."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from fibres.calc import moisture as wet
from fibres.forms.common import KnownInput, past_day, some_dry
from fibres.models import Addition, Lot
from orders.makings import weighing
from orders.models import Making, Spell
from studio.forms import (
    CountField,
    HouseForm,
    MassField,
    NumberField,
    ShareField,
    SizeField,
    VolumeField,
)
from studio.units import show_mass, show_share

SMALL = ("g", "kg", "oz")


class LotChoice(forms.ModelChoiceField):
    """A lot, named by what it is and what it weighs."""

    system = "metric"

    def label_from_instance(self, obj: Lot) -> str:
        """Word a lot: "AB-0003 Abaca, 4.05 kg as is at 10 %"."""
        as_is = show_mass(wet.as_is_mg(obj.oven_dry_mg, obj.moisture), system=self.system)
        place = f", {obj.place}" if obj.place else ""
        return f"{obj.ref} {obj.fibre.name}, {as_is} as is at {show_share(obj.moisture)}{place}"


class LogForm(HouseForm):
    """A form of the log; it knows its making."""

    def __init__(self, *args: Any, making: Making, **kwargs: Any) -> None:
        self.making = making
        super().__init__(*args, **kwargs)


class IssueForm(LogForm):
    """What was weighed out of one lot."""

    lot = LotChoice(queryset=Lot.objects.none(), label="From lot")
    mass = MassField(
        label="Mass as it is", positive=True, help_text="As weighed out, with its water."
    )
    moisture = ShareField(
        required=False,
        validators=[some_dry],
        help_text="Leave it empty where the book’s own figure holds.",
    )

    def __init__(self, *args: Any, system: str = "metric", **kwargs: Any) -> None:
        super().__init__(*args, system=system, **kwargs)
        self.fields["lot"].system = system
        self.fields["lot"].queryset = weighing.lots_for(self.making)


class SpendForm(LogForm):
    """Minutes spent on one operation."""

    operation = forms.ChoiceField(choices=Spell.Operation.choices, label="Spent on")
    minutes = NumberField(unit="min", most=10_000)
    way = forms.ChoiceField(
        label="Add or take back",
        choices=[("add", "Add"), ("back", "Take back")],
        initial="add",
        widget=forms.RadioSelect,
    )

    @property
    def signed(self) -> Decimal:
        """The minutes, below 0 where they are taken back."""
        minutes: Decimal = self.cleaned_data["minutes"]
        return minutes if self.cleaned_data["way"] == "add" else -minutes


class DoseForm(LogForm):
    """An addition that went in."""

    name = forms.CharField(label="Addition", max_length=80)
    kind = forms.ChoiceField(choices=Addition.Kind.choices)
    mass = MassField(SMALL, label="Mass, dry", help_text="All of it so far; 0 takes it out.")
    bottle = forms.CharField(
        label="Bottle or pack", max_length=40, required=False, help_text="Its lot or its day."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = self.making.sheet.furnish.additions.values_list("name", flat=True)
        self.fields["name"].widget = KnownInput(list(names))


class TrialForm(LogForm):
    """A sheet that was dried and weighed."""

    mass = MassField(
        SMALL, label="Weighs", positive=True, help_text="The whole pull, untrimmed, dried."
    )
    moisture = ShareField(
        validators=[some_dry], help_text="Conditioned paper holds about 6 %; hot from a dryer, 0."
    )
    number = CountField(label="Pull", least=1, most=1_000_000, initial=1)
    consistency = ShareField(
        label="Consistency of the vat then",
        required=False,
        most=Decimal("0.2"),
        help_text="Left empty for pull 1, what the making sheet charges the vat to is kept.",
    )
    size = SizeField(label="Dry size", required=False, help_text="Across, then along the mould.")


class HeelForm(LogForm):
    """What becomes of what is left in the vat."""

    heel = forms.ChoiceField(
        label="It is",
        choices=[choice for choice in Making.Heel.choices if choice[0]],
        widget=forms.RadioSelect,
    )
    mass = MassField(
        label="Mass, drained, as it is",
        required=False,
        help_text="Needed for what is kept; for what is thrown away as far as it is known.",
    )
    moisture = ShareField(
        required=False, validators=[some_dry], help_text="Squeezed pulp holds about 85 %."
    )
    litres = VolumeField(
        ("L", "gal"),
        label="Or volume thrown away",
        required=False,
        help_text="Stirred, straight from the vat: reckoned at what the making sheet charges.",
    )
    fibre = forms.ModelChoiceField(queryset=None, label="Kept as", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fibre"].queryset = weighing.kept_as(self.making)

    def clean(self) -> dict[str, Any]:
        """Ask for what a kept heel needs, and for one measure alone."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        kept = given.get("heel") == Making.Heel.KEPT
        for name, words in (
            ("mass", "Weigh what is kept, drained, and give its mass."),
            ("moisture", "Give its moisture."),
            ("fibre", "Say which fibre it is kept as."),
        ):
            if kept and not given.get(name) and name not in self.errors:
                self.add_error(name, words)
        if given.get("mass") and given.get("litres"):
            self.add_error("litres", "Give the mass or the volume, not both.")
        return given


class BrokeForm(LogForm):
    """Broke and trimmings that are kept."""

    mass = MassField(label="Mass as it is", help_text="0 where nothing of it is kept.")
    moisture = ShareField(
        required=False,
        validators=[some_dry],
        help_text="Dried broke holds about 6 %; pressed and still wet, about 65 %.",
    )
    fibre = forms.ModelChoiceField(queryset=None, label="Kept as", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fibre"].queryset = weighing.broke_fibres()


class FinishForm(LogForm):
    """The day on which everything moves."""

    happened_on = past_day("Finished on")
    accept_over = forms.BooleanField(
        label="It is counted right: more came out than was entered", required=False
    )

    def __init__(self, *args: Any, is_over: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_over:
            del self.fields["accept_over"]
