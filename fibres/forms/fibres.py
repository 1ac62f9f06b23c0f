"""Forms of fibres and of the sources that they come from."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms

from fibres.forms.common import above_zero, not_ahead, some_dry
from fibres.models import Fibre, Source
from studio.forms import (
    CountField,
    DayField,
    HouseModelForm,
    MassField,
    MoneyField,
    NumberField,
    ShareField,
)

LETTERS = re.compile(r"[A-Z]{1,3}")
SAME_NAME = "There is one of this name already. Choose another name, or change that one."
MOST_DAYS = 3650
MOST_SPREAD = Decimal("0.3")
MOST_LEAD_DAYS = 730


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
    yield_spread = ShareField(
        most=MOST_SPREAD,
        label="How far the yield varies",
        help_text="Standard deviation: two lots of three come within so much of it, either way.",
    )
    preparation_days = CountField(
        label="Days of preparation",
        unit="days",
        most=365,
        help_text="To soak, cook and beat before the vat; 0 where the days of making hold it.",
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
            "preparation_yield", "yield_spread", "preparation_days", "evidence", "minimum_mg",
            "keeps_wet_days", "is_scrap", "sorting_minutes_per_kg", "is_refused", "refusals",
            "cautions",
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
    """A supplier, a donor, or the studio itself; terms of an order are a supplier's."""

    use_required_attribute = False

    lead_days = CountField(
        label="Order to delivery", unit="days", most=MOST_LEAD_DAYS, required=False, initial=0
    )
    freight_minor = MoneyField(
        label="Freight of an order", required=False, initial=0, help_text="Once for each order."
    )
    order_minimum_minor = MoneyField(
        label="Least order", required=False, initial=0, help_text="Goods alone; 0 for none."
    )
    free_freight_from_minor = MoneyField(
        label="Freight is free from", required=False, help_text="Goods alone; empty: never."
    )
    thanked_on = DayField(label="Thanked on", required=False, validators=[not_ahead])
    remarks = short_text()

    ABOUT = ("name", "kind", "may_be_named", "contact", "thanked_on", "remarks")
    TERMS = (
        "lead_days", "freight_minor", "order_minimum_minor", "free_freight_from_minor",
        "season_from", "season_to",
    )  # fmt: skip

    class Meta:
        model = Source
        fields = [
            "name", "kind", "may_be_named", "lead_days", "freight_minor", "order_minimum_minor",
            "free_freight_from_minor", "season_from", "season_to", "contact", "thanked_on",
            "remarks",
        ]  # fmt: skip
        labels = {
            "season_from": "Takes orders from the start of",
            "season_to": "Takes orders to the end of",
        }
        help_texts = {
            "may_be_named": "Only with consent; without it a visitor reads “a donor”.",
            "contact": "Whom to ask, and how; with consent.",
            "season_to": "Leave both empty where it takes orders all year.",
        }
        error_messages = {"name": {"unique": SAME_NAME}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("season_from", "season_to"):
            months = self.fields[name].choices
            self.fields[name].choices = [("", "All year"), *list(months)[1:]]

    @property
    def groups(self) -> list[tuple[str, str, str, list[forms.BoundField]]]:
        """The fields as they stand on the page: side head, note, class, fields."""
        return [
            ("The source", "Who it is", "first", [self[name] for name in self.ABOUT]),
            ("Terms", "What an order to a supplier costs beside the goods, and how long it takes",
             "of-supplier", [self[name] for name in self.TERMS]),
        ]  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """Ask for both months or neither; leave terms to suppliers."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if given.get("kind") in (Source.Kind.DONOR, Source.Kind.STUDIO):
            for name in self.TERMS:
                self._errors.pop(name, None)
                given[name] = None
        for name in ("lead_days", "freight_minor", "order_minimum_minor"):
            if name not in self.errors and given.get(name) is None:
                given[name] = 0
        first, last = given.get("season_from"), given.get("season_to")
        if (first is None) != (last is None) and not {"season_from", "season_to"} & {*self.errors}:
            lacking = "season_from" if first is None else "season_to"
            self.add_error(lacking, "Give both months of the season, or neither.")
        return given
