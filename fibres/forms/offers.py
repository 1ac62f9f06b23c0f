"""Forms of offers: one offer with its price breaks, what to compare, and a file to take in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db.models import Q
from django.forms import inlineformset_factory

from fibres.forms.common import KnownInput, open_fibres, some_dry
from fibres.forms.fibres import short_text
from fibres.forms.furnishes import LIMITS, RowOfMany, Rows
from fibres.forms.lots import FORMS
from fibres.models import Fibre, Offer, OfferBreak, Source
from studio.forms import (
    CountField,
    DayField,
    HouseMixin,
    HouseModelForm,
    MassField,
    MoneyField,
    ShareField,
)

MOST_PACKS = 100_000
MEANWHILE = (
    "Somebody changed the price breaks meanwhile. Look at them again, and enter your change once "
    "more."
)


class OfferForm(HouseModelForm):
    """What a source asks for one fibre, by the supply pack."""

    fibre = forms.ModelChoiceField(queryset=Fibre.objects.none())
    source = forms.ModelChoiceField(queryset=Source.objects.none(), label="From")
    form = forms.CharField(
        label="Form it comes in",
        max_length=60,
        required=False,
        widget=KnownInput(FORMS),
        help_text="Dry sheet, dry bark, wet pulp.",
    )
    pack_mg = MassField(
        stored=True, positive=True, label="Supply pack", help_text="As it is sold, with its water."
    )
    moisture = ShareField(
        validators=[some_dry], help_text="As sold; from its list or label. Air-dry pulp: 10."
    )
    price_per = forms.ChoiceField(
        label="The price is for a",
        choices=Offer.PricePer.choices,
        initial=Offer.PricePer.AS_IS,
        widget=forms.RadioSelect,
    )
    minor_per_kg = MoneyField(label="Price a kilogram")
    least_packs = CountField(label="Fewest packs sold", unit="packs", least=1, most=MOST_PACKS)
    breaks_are = forms.ChoiceField(
        label="Price breaks below are for",
        choices=Offer.Breaks.choices,
        initial=Offer.Breaks.ALL_UNITS,
        widget=forms.RadioSelect,
    )
    valid_from = DayField(label="Holds from", required=False)
    valid_to = DayField(label="Holds to", required=False, help_text="The last day to order on.")
    remarks = short_text()

    class Meta:
        model = Offer
        fields = [
            "fibre", "source", "form", "pack_mg", "moisture", "price_per", "minor_per_kg",
            "least_packs", "valid_from", "valid_to", "remarks", "breaks_are",
        ]  # fmt: skip

    field_order = Meta.fields

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # What was closed since stays in the offers that have it.
        kept = self.instance
        fibres = Q(closed_on=None, is_refused=False) | Q(pk=kept.fibre_id)
        self.fields["fibre"].queryset = Fibre.objects.filter(fibres)
        suppliers = Q(kind=Source.Kind.SUPPLIER, closed_on=None) | Q(pk=kept.source_id)
        self.fields["source"].queryset = Source.objects.filter(suppliers)

    def clean(self) -> dict[str, Any]:
        """Refuse an offer that ends before it starts."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = given.get("valid_from"), given.get("valid_to")
        if first and last and last < first:
            self.add_error("valid_to", "An offer cannot end before it starts. Change one day.")
        return given


class BreakForm(RowOfMany):
    """A price that holds from a number of packs on."""

    from_packs = CountField(label="From", unit="packs", least=2, most=MOST_PACKS)
    minor_per_kg = MoneyField(label="Price a kilogram")

    class Meta:
        model = OfferBreak
        fields = ["from_packs", "minor_per_kg"]


class BreakRows(Rows):
    """The price breaks of one offer, each from a number of packs of its own."""

    twice = "Two rows begin at the same number of packs. Keep one of them."

    def full_clean(self) -> None:
        """Say one thing of rows that another page took out, and not one of each row."""
        super().full_clean()
        if any("id" in form.errors for form in self.initial_forms):
            for form in self.initial_forms:
                form.errors.pop("id", None)
            self._non_form_errors = self.error_class([MEANWHILE], error_class="nonform")

    def refuse_up_to(self, least_packs: int | None) -> bool:
        """Blame rows that begin no later than the offer itself; tell whether none does."""
        early = [
            form
            for form in self.forms
            if not self._should_delete_form(form)
            and least_packs is not None
            and form.cleaned_data.get("from_packs", least_packs + 1) <= least_packs
        ]
        for form in early:
            form.add_error(
                "from_packs",
                f"The first price holds from {least_packs} on. Give {least_packs + 1} or more.",
            )
        return not early

    @property
    def given(self) -> tuple[tuple[int, int], ...]:
        """The breaks that were typed, by the number of packs they begin at."""
        rows = [
            (form.cleaned_data["from_packs"], form.cleaned_data["minor_per_kg"])
            for form in self.forms
            if not self._should_delete_form(form) and form.cleaned_data.get("from_packs")
        ]
        return tuple(sorted(rows))


BreakFormSet = inlineformset_factory(
    Offer, OfferBreak, form=BreakForm, formset=BreakRows, **LIMITS
)


class CompareForm(HouseMixin, forms.Form):
    """The fibre and how much of it is wanted; an address keeps the question."""

    fibre = forms.ModelChoiceField(queryset=None)
    want = MassField(
        stored=True, positive=True, label="Oven-dry, wanted", help_text="Fibre without its water."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = Offer.objects.filter(closed_on=None).values("fibre")
        self.fields["fibre"].queryset = open_fibres().filter(pk__in=offered)
