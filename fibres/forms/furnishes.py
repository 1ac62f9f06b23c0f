"""The form of a furnish with its three lists: fibres, additions, shrinkages."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q
from django.forms import BaseInlineFormSet, inlineformset_factory

from fibres.forms.common import above_zero
from fibres.forms.fibres import SAME_NAME, short_text
from fibres.models import Addition, Fibre, Furnish, FurnishPart, Shrinkage
from studio.forms import HouseModelForm, MoneyField, RowModelForm, ShareField
from studio.units import show_share

BLANK_ROWS = 3
WHOLE = Decimal(1)
MOST_SHRINKAGE = Decimal("0.6")
MOST_PLACES = 6


def _fits_the_book(share: Decimal) -> None:
    """Refuse digits that the book does not keep, so that shares add up as they are typed."""
    if share != round(share, MOST_PLACES):
        raise ValidationError("Give at most four places after the point.")


class FurnishForm(HouseModelForm):
    """The name of a furnish."""

    remarks = short_text()

    class Meta:
        model = Furnish
        fields = ["name", "remarks"]
        error_messages = {"name": {"unique": SAME_NAME}}


class PartForm(RowModelForm):
    """One fibre by its share of the dry fibre."""

    share = ShareField(label="Share of dry fibre", validators=[above_zero, _fits_the_book])

    class Meta:
        model = FurnishPart
        fields = ["fibre", "share"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # A fibre that was closed since stays in the furnishes that have it.
        offered = Q(closed_on=None, is_refused=False) | Q(pk=self.instance.fibre_id)
        self.fields["fibre"].queryset = Fibre.objects.filter(offered)


class AdditionForm(RowModelForm):
    """One addition by its dose on the dry fibre."""

    dose = ShareField(label="Dose on dry fibre", validators=[above_zero])
    minor_per_kg = MoneyField(label="Price a kilogram", required=False)

    class Meta:
        model = Addition
        fields = ["name", "kind", "dose", "minor_per_kg"]


class ShrinkageForm(RowModelForm):
    """How far the furnish shrinks in one way of drying."""

    across = ShareField(most=MOST_SHRINKAGE)
    along = ShareField(most=MOST_SHRINKAGE)

    class Meta:
        model = Shrinkage
        fields = ["drying", "across", "along"]


class Rows(BaseInlineFormSet):
    """Rows of a furnish; a row that says what another says is named in plain words."""

    twice = "Two rows say the same. Put them together in one row."

    def get_unique_error_message(self, unique_check: Any) -> str:
        """Say what to do about two rows of the same thing."""
        return self.twice

    def get_form_error(self) -> str:
        """Say the same beside the second of the two rows."""
        return self.twice


class PartRows(Rows):
    """The fibres of a furnish: at least one, and all of it together exactly 100 %."""

    twice = "A fibre stands in two rows. Put its shares together in one row."

    def clean(self) -> None:
        """Add the shares up."""
        super().clean()
        if any(form.errors for form in self._kept()):
            return
        shares = [form.cleaned_data["share"] for form in self._kept() if form.cleaned_data]
        if not shares:
            raise ValidationError("Give at least one fibre with its share of the dry fibre.")
        total = sum(shares, Decimal(0))
        if total < WHOLE:
            raise ValidationError(
                f"Shares come to {_percent(total)} of dry fibre. Add {_percent(WHOLE - total)} "
                "to one of them."
            )
        if total > WHOLE:
            raise ValidationError(
                f"Shares come to {_percent(total)} of dry fibre. Take {_percent(total - WHOLE)} "
                "off one of them."
            )

    def _kept(self) -> list[Any]:
        return [form for form in self.forms if not self._should_delete_form(form)]


def _percent(share: Decimal) -> str:
    """Word a share with every place that was typed: a rounded sum would be no help."""
    places = max(0, -int((share * 100).normalize().as_tuple().exponent))
    return show_share(share, places=places)


class ShrinkageRows(Rows):
    """The shrinkages of a furnish, one for each way of drying."""

    twice = "A way of drying stands in two rows. Keep one of them."


PartFormSet = inlineformset_factory(
    Furnish, FurnishPart, form=PartForm, formset=PartRows, extra=BLANK_ROWS
)
AdditionFormSet = inlineformset_factory(
    Furnish, Addition, form=AdditionForm, formset=Rows, extra=BLANK_ROWS
)
ShrinkageFormSet = inlineformset_factory(
    Furnish, Shrinkage, form=ShrinkageForm, formset=ShrinkageRows, extra=BLANK_ROWS
)
