"""The form that logs a gift of scrap."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from fibres import gifts
from fibres.calc.estimates import Estimate
from fibres.forms.common import KnownInput, PlaceField, past_day, some, some_dry
from fibres.gifts import MEASURES, NEEDED, Measure
from fibres.models import Fibre, Lot
from studio.forms import (
    GrammageField,
    HouseForm,
    LengthField,
    MassField,
    NumberField,
    ShareField,
    SizeField,
)

USUAL, WEIGHED = "usual", "weighed"


class ScrapClassField(forms.ModelChoiceField):
    """A class of scrap that is taken in; one that is refused answers with its refusal."""

    refused: Sequence[Fibre] = ()

    def to_python(self, value: Any) -> Fibre | None:
        """Find the class, or say why it is turned away."""
        turned_away = next((one for one in self.refused if str(one.pk) == str(value)), None)
        if turned_away is not None:
            raise ValidationError(gifts.refusal_of(turned_away), code="refused")
        found: Fibre | None = super().to_python(value)
        return found


class ScrapForm(HouseForm):
    """Who gave what, how it was measured, and how wet it is.

    Every way of measuring has its fields on the page; only those of the way that is chosen are
    asked for and judged.
    """

    use_required_attribute = False

    donor = forms.CharField(
        label="Given by",
        max_length=80,
        required=False,
        widget=KnownInput(),
        help_text="A new donor is added when you save. Leave it empty for an anonymous drop.",
    )
    fibre = ScrapClassField(queryset=Fibre.objects.none(), label="Class of scrap")
    measured = forms.ChoiceField(
        label="How measured",
        choices=Lot.Measured.choices,
        initial=Lot.Measured.WEIGHED,
        widget=forms.RadioSelect,
    )
    mass = MassField(
        label="Mass as it is",
        positive=True,
        help_text="Weighed or guessed: with its water, without its box or bag.",
    )
    number = NumberField(
        label="Number",
        validators=[some],
        help_text="Of sheets, reams of 500 or boxes; parts such as 2.5 reams too.",
    )
    height = LengthField(
        units=("cm", "mm", "in"),
        label="Height of the pile",
        positive=True,
        help_text="A neat pile, pressed flat by hand.",
    )
    size = SizeField(
        label="Sheet", initial="A4", help_text="A4, Letter, 8.5 x 11 in or 210 × 297 mm."
    )
    grammage = GrammageField(
        label="Grammage",
        initial="80",
        positive=True,
        help_text="Copier paper is mostly 80 g/m², or 20 lb bond.",
    )
    moisture_by = forms.ChoiceField(
        label="Moisture",
        choices=[(USUAL, "Assume the usual of its class"), (WEIGHED, "Weighed from a sample")],
        initial=USUAL,
        widget=forms.RadioSelect,
        help_text="An assumed figure can be out by two points either way.",
    )
    moisture = ShareField(
        label="Moisture as weighed", validators=[some_dry], help_text="Of the mass as it is."
    )
    received_on = past_day("Received")
    place = PlaceField()
    is_confidential = forms.BooleanField(
        label="It may show private papers",
        required=False,
        help_text=(
            "Anything personal or about a business. Agree with the donor who makes it "
            "unreadable, by when, and how that is noted."
        ),
    )
    remarks = forms.CharField(
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Staples, glue, windows, toner: whatever the sorter should know.",
    )

    def __init__(self, *args: Any, donors: Sequence[str] = (), **kwargs: Any) -> None:
        american = kwargs.get("system") == "US"
        super().__init__(*args, **kwargs)
        classes = list(Fibre.objects.filter(is_scrap=True, closed_on=None))
        self.refused = [one for one in classes if one.is_refused]
        fibre = self.fields["fibre"]
        fibre.queryset = Fibre.objects.filter(is_scrap=True, closed_on=None, is_refused=False)
        fibre.refused = self.refused
        self.fields["donor"].widget.names = donors
        if american:
            self.fields["size"].initial = "Letter"
            self.fields["grammage"].initial = "20 lb bond"

    def clean(self) -> dict[str, Any]:
        """Leave aside what the chosen way of measuring does not ask for, then work it out."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        method = given.get("measured")
        self._pass_over(set(MEASURES) - set(NEEDED.get(method or "", ())))
        if given.get("moisture_by") != WEIGHED:
            self._pass_over({"moisture"})
        return given

    def _pass_over(self, names: set[str]) -> None:
        for name in names:
            self._errors.pop(name, None)
            self.cleaned_data[name] = None

    @property
    def estimate(self) -> Estimate:
        """The mass of the gift as it was measured."""
        given = self.cleaned_data
        return gifts.estimate(
            Measure(given["measured"], **{name: given[name] for name in MEASURES})
        )

    @property
    def moisture_used(self) -> Decimal:
        """The moisture that was weighed, or the usual one of the class."""
        weighed: Decimal | None = self.cleaned_data["moisture"]
        fibre: Fibre = self.cleaned_data["fibre"]
        return fibre.usual_moisture if weighed is None else weighed

    @property
    def moisture_known_from(self) -> str:
        """How the moisture is known."""
        known = Lot.MoistureKnown
        return known.ASSUMED if self.cleaned_data["moisture"] is None else known.WEIGHED
