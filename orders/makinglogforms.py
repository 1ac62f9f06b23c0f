"""The forms of the log of a making: each notes one thing at the vat."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from fibres.calc import moisture as wet
from fibres.forms.common import KnownInput, past_day, some_dry
from fibres.models import Addition, Lot
from orders.makings import doubts, keptas, log, weighing
from orders.models import Making, Spell
from studio.doubts import AskingMixin
from studio.forms import (
    CountField,
    HouseForm,
    MassField,
    NumberField,
    ShareField,
    SizeField,
    VolumeField,
)
from studio.units import System, show_mass, show_share, to_mg

SMALL = ("g", "kg", "oz")


def sentence(words: str) -> str:
    """Return words as a sentence of their own."""
    return f"{words[0].upper()}{words[1:]}."


def more_than_none(number: Decimal) -> None:
    """Refuse 0 where something was spent or given."""
    if number == 0:
        raise ValidationError("Give more than 0.", code="nothing")


class LotChoice(forms.ModelChoiceField):
    """A lot, named by what it is and what it weighs."""

    system = "metric"

    def label_from_instance(self, obj: Lot) -> str:
        """Word a lot: "AB-0003 Abaca, 4.05 kg as is at 10 %"."""
        as_is = show_mass(wet.as_is_mg(obj.oven_dry_mg, obj.moisture), system=self.system)
        place = f", {obj.place}" if obj.place else ""
        return f"{obj.ref} {obj.fibre.name}, {as_is} as is at {show_share(obj.moisture)}{place}"


class LogForm(AskingMixin, HouseForm):
    """A form of the log; it knows its making, and asks about what looks like a slip."""

    def __init__(
        self, *args: Any, making: Making, system: System = "metric", **kwargs: Any
    ) -> None:
        self.making, self.system = making, system
        super().__init__(*args, system=system, **kwargs)

    def check(self, given: dict[str, Any]) -> None:
        """Add the faults of fields that hang together."""

    def clean(self) -> dict[str, Any]:
        """Check the fields together; where all can be read, ask about what looks wrong."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        self.check(given)
        self.ask(given)
        return given


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

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lot"].system = self.system
        self.fields["lot"].queryset = weighing.lots_for(self.making)

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about a moisture that is far from the book's."""
        yield "moisture", doubts.of_moisture(given["lot"], given["moisture"])


class SpendForm(LogForm):
    """Minutes spent on one operation."""

    operation = forms.ChoiceField(choices=Spell.Operation.choices, label="Spent on")
    minutes = NumberField(unit="min", most=10_000, validators=[more_than_none])
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

    def check(self, given: dict[str, Any]) -> None:
        """Take 0 only for what is noted, which it takes out."""
        name = " ".join(given.get("name", "").split())
        nothing = "mass" in given and not given["mass"].magnitude
        if name and nothing and not self.making.doses.filter(name__iexact=name).exists():
            self.add_error("mass", f"Give more than 0: no {name} is noted that 0 could take out.")

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about far more than the furnish, or the fibre, can have with it."""
        mass_mg = to_mg(given["mass"])
        yield "mass", doubts.of_dose(self.making, given["name"], mass_mg, system=self.system)


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

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about a sheet that is far from its grammage."""
        mass_mg, moisture = to_mg(given["mass"]), given["moisture"]
        yield "mass", doubts.of_trial(self.making, mass_mg, moisture, system=self.system)


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
        required=False, validators=[some_dry], help_text=sentence(log.HEEL_HOLDS)
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
        self.fields["fibre"].queryset = keptas.kept_as(self.making)
        for name in ("mass", "moisture", "fibre"):
            self.fields[name].needed = "needed if kept"

    def check(self, given: dict[str, Any]) -> None:
        """Ask for what a kept heel needs, and for one measure alone."""
        kept = given.get("heel") == Making.Heel.KEPT
        for name, words in (
            ("mass", "Weigh what is kept, drained, and give its mass."),
            ("moisture", f"Give its moisture: {log.HEEL_HOLDS}."),
            ("fibre", "Say which fibre it is kept as."),
        ):
            if kept and not given.get(name) and name not in self.errors:
                self.add_error(name, words)
        if given.get("mass") and given.get("litres"):
            self.add_error("litres", "Give the mass or the volume, not both.")

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about more fibre than went in, and more volume than the vat holds."""
        if given["heel"] != Making.Heel.NONE and given["mass"]:
            other_mg = log.dry_mg(self.making.broke_as_is_mg, self.making.broke_moisture)
            yield (
                "mass",
                doubts.of_kept(
                    self.making,
                    to_mg(given["mass"]),
                    given["moisture"],
                    beside_mg=other_mg,
                    system=self.system,
                ),
            )
        if given["heel"] == Making.Heel.THROWN and given["litres"]:
            yield "litres", doubts.of_litres(self.making, given["litres"], system=self.system)


class BrokeForm(LogForm):
    """Broke and trimmings that are kept."""

    mass = MassField(label="Mass as it is", help_text="0 where nothing of it is kept.")
    moisture = ShareField(
        required=False,
        validators=[some_dry],
        help_text=sentence(log.BROKE_HOLDS),
    )
    fibre = forms.ModelChoiceField(queryset=None, label="Kept as", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fibre"].queryset = keptas.broke_fibres()
        for name in ("moisture", "fibre"):
            self.fields[name].needed = "needed if kept"

    def doubts(self, given: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Ask about more fibre than went in."""
        making = self.making
        is_heel_kept = making.heel == Making.Heel.KEPT
        other_mg = log.dry_mg(making.heel_as_is_mg, making.heel_moisture) if is_heel_kept else 0
        yield (
            "mass",
            doubts.of_kept(
                making,
                to_mg(given["mass"]),
                given["moisture"],
                beside_mg=other_mg,
                system=self.system,
            ),
        )


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
