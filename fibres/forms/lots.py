"""Forms about one lot: receive it, test it, take from it, put an entry right."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django import forms

from fibres.forms.common import (
    KnownInput,
    MoneyMixin,
    PlaceField,
    above_zero,
    open_fibres,
    past_day,
    some_dry,
)
from fibres.forms.fibres import short_text
from fibres.models import Lot, Movement, Source
from studio.forms import DayField, HouseForm, HouseModelForm, MassField, MoneyField, ShareField

FORMS = ("Dry sheet", "Dry bark", "Dry loose", "Torn", "Shredded", "Wet pulp", "Half-stuff")
SAMPLE_UNITS = ("g", "kg", "oz")


class ReceiveForm(MoneyMixin, HouseForm):
    """A lot as it was bought, or as the studio made it itself."""

    money_fields = ("paid",)

    fibre = forms.ModelChoiceField(queryset=None)
    source = forms.ModelChoiceField(queryset=None, label="From")
    form = forms.CharField(
        max_length=60,
        required=False,
        widget=KnownInput(FORMS),
        help_text="Dry sheet, dry bark, wet pulp.",
    )
    mass = MassField(
        label="Mass as it is", positive=True, help_text="With its water, without its wrapping."
    )
    moisture = ShareField(
        validators=[some_dry], help_text="Of the mass as it is; air-dry pulp is sold as 10 %."
    )
    moisture_known = forms.ChoiceField(
        label="Known from",
        choices=[
            (Lot.MoistureKnown.WEIGHED, "A weighed sample"),
            (Lot.MoistureKnown.LABEL, "The label"),
            (Lot.MoistureKnown.ASSUMED, "Assumed"),
        ],
        initial=Lot.MoistureKnown.LABEL,
        widget=forms.RadioSelect,
    )
    is_wet = forms.BooleanField(
        label="It came wet",
        required=False,
        help_text="Then it keeps only for the days that its fibre keeps wet.",
    )
    received_on = past_day("Received")
    place = PlaceField()
    paid = MoneyField(
        label="Paid", required=False, help_text="For the whole lot, with its share of freight."
    )
    preparation_yield = ShareField(
        label="Preparation yield of this lot",
        required=False,
        validators=[above_zero],
        help_text="Only where this lot differs from what is usual for its fibre.",
    )
    remarks = forms.CharField(
        required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fibre"].queryset = open_fibres()
        self.fields["source"].queryset = Source.objects.filter(closed_on=None)

    @property
    def yield_used(self) -> Decimal:
        """The preparation yield of this lot, or the usual one of its fibre."""
        own: Decimal | None = self.cleaned_data["preparation_yield"]
        usual: Decimal = self.cleaned_data["fibre"].preparation_yield
        return usual if own is None else own


class LotForm(HouseModelForm):
    """What is said of a lot; what it holds changes by acts alone."""

    form = forms.CharField(
        label="Form it came in", max_length=60, required=False, widget=KnownInput(FORMS)
    )
    place = PlaceField()
    paid_minor = MoneyField(
        label="Paid", required=False, help_text="For the whole lot, with its share of freight."
    )
    preparation_yield = ShareField(
        label="Preparation yield of this lot",
        required=False,
        validators=[above_zero],
        help_text="Only where this lot differs from what is usual for its fibre.",
    )
    keep_until = DayField(
        label="Keep until", required=False, help_text="Empty where it keeps dry."
    )
    remarks = short_text()

    class Meta:
        model = Lot
        fields = [
            "form", "place", "paid_minor", "preparation_yield", "keep_until", "is_confidential",
            "remarks",
        ]  # fmt: skip
        labels = {"is_confidential": "It may show private papers"}

    def clean_keep_until(self) -> date | None:
        """Refuse a day before the lot came."""
        until: date | None = self.cleaned_data["keep_until"]
        came = self.instance.received_on
        if until and until < came:
            raise forms.ValidationError(
                f"The lot came on {came:%d %b %Y}. Give that day or a later one."
            )
        return until

    def save(self, commit: bool = True) -> Lot:
        """Write these columns alone: the balance may have moved since the row was read."""
        lot: Lot = self.instance
        lot.save(update_fields=self._meta.fields)
        return lot


class MoistureForm(HouseForm):
    """A sample weighed before and after drying."""

    wet = MassField(
        SAMPLE_UNITS, label="Before drying", positive=True, help_text="Sample and dish."
    )
    dry = MassField(
        SAMPLE_UNITS,
        label="After drying",
        positive=True,
        help_text="Sample and dish, dried at 105 °C until the mass stays the same.",
    )
    dish = MassField(
        SAMPLE_UNITS,
        label="Dish alone",
        required=False,
        help_text="Leave it empty if the sample was weighed by itself.",
    )
    happened_on = past_day("Day")
    has_dried = forms.ChoiceField(
        label="Why it differs",
        choices=[
            ("no", "The figure in the book was wrong"),
            ("yes", "It has dried or drawn water since"),
        ],
        initial="no",
        widget=forms.RadioSelect,
        help_text=(
            "Wrong: the mass as it is stays, and the oven-dry fibre is put right. "
            "Dried or drawn water: the oven-dry fibre stays."
        ),
    )


class TakeForm(HouseForm):
    """Fibre that leaves the store."""

    mass = MassField(
        label="Mass as it is", positive=True, help_text="As weighed out, with its water."
    )
    kind = forms.ChoiceField(
        label="What for",
        choices=[
            (Movement.Kind.ISSUED, "Issued to the vat"),
            (Movement.Kind.DISCARDED, "Discarded"),
        ],
        initial=Movement.Kind.ISSUED,
        widget=forms.RadioSelect,
    )
    happened_on = past_day("Day")
    why = forms.CharField(
        label="Why", max_length=200, help_text="Trial for endpapers; soured; picked out."
    )


class CorrectForm(HouseForm):
    """What an entry of the ledger should have said."""

    mass = MassField(
        label="Right mass as it is", help_text="As weighed, with its water; 0 if nothing moved."
    )
    happened_on = past_day("Day of the correction")
    why = forms.CharField(
        label="Why", max_length=200, help_text="The scale was read wrong; entered twice."
    )
