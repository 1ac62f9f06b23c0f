"""Forms of fibres and of the sources that they come from."""

from __future__ import annotations

import re
from typing import Any

from django import forms

from fibres.forms.common import above_zero, not_ahead, some_dry
from fibres.models import Fibre, Source
from studio.forms import CountField, DayField, HouseModelForm, MassField, NumberField, ShareField

LETTERS = re.compile(r"[A-Z]{1,3}")
SAME_NAME = "There is one of this name already. Choose another name, or change that one."
MOST_DAYS = 3650


def short_text(rows: int = 3, **kwargs: Any) -> forms.CharField:
    """Return a field for a few sentences."""
    return forms.CharField(
        required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": rows}), **kwargs
    )


class FibreForm(HouseModelForm):
    """A kind of material in one state, with its usual figures."""

    usual_moisture = ShareField(
        validators=[some_dry], help_text="Of the mass as it is, where nobody has weighed it."
    )
    preparation_yield = ShareField(
        validators=[above_zero],
        help_text="Left after sorting, cooking, washing and picking; of the oven-dry mass.",
    )
    evidence = short_text(
        label="Where these figures come from", help_text="Your own lots, a book, the supplier."
    )
    minimum_mg = MassField(
        stored=True, label="Minimum to keep", help_text="Oven-dry; 0 where none is kept."
    )
    keeps_wet_days = CountField(
        label="Keeps wet for", unit="days", required=False, least=1, most=MOST_DAYS
    )
    sorting_minutes_per_kg = NumberField(
        label="Sorting a kilogram", unit="minutes", most=9999, help_text="As it is; 0 for none."
    )
    refusals = short_text(label="What to refuse")
    cautions = short_text()

    class Meta:
        model = Fibre
        fields = [
            "name", "code", "state", "family", "source_class", "usual_moisture",
            "preparation_yield", "evidence", "minimum_mg", "keeps_wet_days", "is_scrap",
            "sorting_minutes_per_kg", "is_refused", "refusals", "cautions",
        ]  # fmt: skip
        help_texts = {
            "state": "Such as white bark, dry; the same plant in another state is another fibre.",
            "is_scrap": "Offered on the page that logs scrap.",
            "is_refused": "Listed as not accepted; no lot of it can be entered.",
        }
        error_messages = {"name": {"unique": SAME_NAME}}

    def clean_code(self) -> str:
        """Take one to three plain letters, in capitals."""
        code: str = self.cleaned_data["code"].upper()
        if not LETTERS.fullmatch(code):
            raise forms.ValidationError("Give one to three letters from A to Z, such as AB.")
        return code

    def clean(self) -> dict[str, Any]:
        """Ask for the sentence that a refusal answers with."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("is_refused") and not given.get("refusals"):
            self.add_error("refusals", "Say why it is refused: the donor is told this sentence.")
        return given


class SourceForm(HouseModelForm):
    """A supplier, a donor, or the studio itself."""

    lead_days = CountField(
        label="Order to delivery", unit="days", most=MOST_DAYS, help_text="0 for a donor."
    )
    thanked_on = DayField(label="Thanked on", required=False, validators=[not_ahead])
    remarks = short_text()

    class Meta:
        model = Source
        fields = [
            "name", "kind", "may_be_named", "lead_days", "contact", "thanked_on", "remarks",
        ]  # fmt: skip
        help_texts = {
            "may_be_named": "Only with consent; without it a visitor reads “a donor”.",
            "contact": "Whom to ask, and how; with consent.",
        }
        error_messages = {"name": {"unique": SAME_NAME}}
