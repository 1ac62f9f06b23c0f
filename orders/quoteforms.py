"""The forms of quotes: what is offered, and what the client answered."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.safestring import SafeString
from django_filters import ChoiceFilter, ModelChoiceFilter

from orders.forms import SheetForm, still_offered
from orders.models import Client, Quote, Sheet
from studio.errors import StudioError
from studio.fields import TypedField, read
from studio.forms import (
    CountField,
    DayField,
    HouseForm,
    HouseModelForm,
    LengthField,
    MoneyField,
    ShareField,
)
from studio.lists import DayFilter, HouseFilterSet, WordsFilter
from studio.units import show_number

MOST_SHEETS = 1_000_000
LONGEST_LIST = 120
PARTED = re.compile(r"[\s,;]+")
# One number with a mark for thousands, or two numbers: nobody can tell.
EITHER = re.compile(r"[0-9]{1,3}[,.][0-9]{3}(?![0-9])", re.ASCII)
AREA = {"rows": 3}


class NumbersField(TypedField):
    """Several whole numbers, parted by commas or blanks; gives a list, each number once."""

    wanted = "whole numbers of sheets, such as 25, 50, 100"

    def read(self, text: str, unit: str) -> list[int]:
        """Read one number after the other."""
        if len(text) > LONGEST_LIST:
            raise StudioError(
                f"Give {self.wanted}, in at most {LONGEST_LIST} signs; this has {len(text)}."
            )
        if unclear := EITHER.search(text):
            raise StudioError(
                f"{unclear[0]} could be one number or two. Put a blank after the comma, and no "
                "mark for thousands."
            )
        found = [int(read(one, "count")) for one in PARTED.split(text) if one]
        if found and max(found) > MOST_SHEETS:
            raise StudioError(
                f"Give {show_number(MOST_SHEETS)} sheets or fewer, got {show_number(max(found))}."
            )
        return sorted(set(found))

    def show(self, value: Sequence[int]) -> str:
        """Show them with commas."""
        return ", ".join(str(number) for number in value)


class NewSheetForm(SheetForm):
    """A sheet that is kept with the quote; the page's own form carries the key."""

    IN_SIGHT = ("name", "size", "grammage", "furnish", "drying")
    # Nothing of it is needed where a sheet is chosen.
    use_required_attribute = False

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, prefix="made", **kwargs)
        del self.fields["request_key"]
        self.fields["name"].label = "Name of the new sheet"
        if self.instance.width_um:
            self.initial["size"] = self.instance.size

    @property
    def is_typed(self) -> bool:
        """Whether somebody began to describe a sheet."""
        return self.is_bound and any(
            self.data.get(self.add_prefix(name), "").strip() for name in ("name", "size")
        )

    @property
    def rows_in_sight(self) -> list[Any]:
        """The rows that every sheet needs."""
        return [self[name] for name in self.IN_SIGHT]

    @property
    def rows_folded(self) -> list[Any]:
        """The rows that are usual for most sheets."""
        return [field for field in self.visible_fields() if field.name not in self.IN_SIGHT]

    @property
    def is_open(self) -> bool:
        """Whether a folded row has something to put right."""
        return self.is_typed and any(field.errors for field in self.rows_folded)


def _not_over(day: date | None) -> date | None:
    if day is not None and day < timezone.localdate():
        raise forms.ValidationError(f"Give today or a later day, got {day:%d %b %Y}.", code="over")
    return day


class QuoteForm(HouseModelForm):
    """A quote: for whom, what, at which numbers, and on which terms."""

    new_client = forms.CharField(
        max_length=80, required=False, label="Or a new client",
        help_text="Where none is chosen above: a name not in the list yet.",
    )  # fmt: skip
    good_quantity = CountField(
        unit="sheets", least=1, most=MOST_SHEETS, label="Good sheets",
        error_messages={"required": "Give a whole number, 1 or more."},
    )  # fmt: skip
    other_quantities = NumbersField(
        label="Priced at other numbers too", required=False,
        help_text="Up to five, such as 25, 50, 100. Setting up is spread over them.",
    )  # fmt: skip
    send_on = DayField(
        label="Sent by", required=False,
        help_text="Reckoned from the plan where it can be. Left empty, the letter names no day.",
    )  # fmt: skip
    valid_until = DayField(label="Prices hold until")
    deposit = ShareField(label="Deposit on order", help_text="Of all there is to pay.")
    carriage_minor = MoneyField(
        required=False, label="Carriage comes to",
        help_text="Before tax, for the whole parcel. Included, it shows in the working alone.",
    )  # fmt: skip
    size_tolerance_um = LengthField(
        stored=True, required=False, label="A side may differ by", help_text="Either way."
    )
    grammage_tolerance = ShareField(
        required=False, label="Grammage may differ by", help_text="Either way."
    )
    tolerance_over = ShareField(
        required=False, label="Count may be over by",
        help_text="Never under. Up to so much more may be sent at the same price each.",
    )  # fmt: skip
    without_price = forms.BooleanField(
        required=False, label="Issue it though a price is not known: counted as nothing"
    )

    class Meta:
        model = Quote
        fields = [
            "client", "title", "sheet", "good_quantity", "other_quantities", "send_on",
            "valid_until", "deposit", "carriage", "carriage_minor", "size_tolerance_um",
            "grammage_tolerance", "tolerance_over", "includes", "says_recycled", "says_permanence",
            "remarks",
        ]  # fmt: skip
        widgets = {"includes": forms.Textarea(attrs=AREA), "remarks": forms.Textarea(attrs=AREA)}
        labels = {
            "title": "What it is for",
            "includes": "What the price includes",
            "says_recycled": "Say how much of the furnish is recycled",
            "says_permanence": "Say that permanence is aimed at, not tested",
            "remarks": "Remarks to the client",
        }
        help_texts = {
            "includes": "Such as: packing flat and interleaved. Carriage is said above.",
        }

    BEFORE = ("client", "new_client", "title", "sheet")
    PRICED = ("good_quantity", "other_quantities", "send_on", "valid_until", "deposit", "carriage",
              "carriage_minor")  # fmt: skip
    TOLERANCES = ("size_tolerance_um", "grammage_tolerance", "tolerance_over")
    SAID = ("includes", "says_recycled", "says_permanence", "remarks")

    def __init__(
        self, *args: Any, new_sheet: Sheet | None = None, reissues: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        quote = self.instance
        self.sheet_form: NewSheetForm | None = None
        if not reissues:
            del self.fields["without_price"]
        if quote.commission_id or reissues:
            for name in ("client", "new_client", "sheet"):
                del self.fields[name]
            return
        client, sheet = self.fields["client"], self.fields["sheet"]
        client.queryset = still_offered(Client.objects.all(), quote.client_id)
        client.required, client.empty_label = False, "Choose one"
        client.help_text = "This or a new client below; one of the two is needed."
        sheet.queryset = still_offered(
            Sheet.objects.select_related("furnish", "mould"), quote.sheet_id
        )
        sheet.required, sheet.empty_label = False, "Choose one"
        sheet.help_text = "This, or a new sheet below."
        told = {name: kwargs[name] for name in ("system", "currency") if name in kwargs}
        self.sheet_form = NewSheetForm(
            self.data if self.is_bound else None, instance=new_sheet or Sheet(), **told
        )

    @property
    def rows(self) -> SafeString:
        """Render the rows in groups: for whom, a new sheet, prices, tolerances, what is said."""
        groups = {
            name: [self[field] for field in fields if field in self.fields]
            for name, fields in (
                ("before", self.BEFORE), ("priced", self.PRICED),
                ("tolerances", self.TOLERANCES), ("said", self.SAID),
            )
        }  # fmt: skip
        ticked = self["without_price"] if self._asks_without_price else None
        return render_to_string(
            "orders/quotes/_rows.html",
            {
                "hidden": self.hidden_fields(),
                "made": self.sheet_form,
                "without_price": ticked,
                **groups,
            },
        )

    @property
    def _asks_without_price(self) -> bool:
        if "without_price" not in self.fields:
            return False
        field = self["without_price"]
        return bool(field.errors or field.value())

    @property
    def new_sheet(self) -> Sheet | None:
        """The sheet to be kept with the quote, where none was chosen."""
        made = self.sheet_form
        if made is None or self.cleaned_data.get("sheet") or not made.is_typed:
            return None
        return made.instance if made.is_valid() else None

    def clean_new_client(self) -> str:
        """Set the name without needless spaces."""
        return " ".join(self.cleaned_data["new_client"].split())

    def clean_other_quantities(self) -> list[int]:
        """Take nothing for none."""
        return self.cleaned_data["other_quantities"] or []

    def clean_size_tolerance_um(self) -> int:
        """Take nothing for 0."""
        return self.cleaned_data["size_tolerance_um"] or 0

    def clean_grammage_tolerance(self) -> Decimal:
        """Take nothing for 0."""
        return self.cleaned_data["grammage_tolerance"] or Decimal(0)

    def clean_tolerance_over(self) -> Decimal:
        """Take nothing for 0."""
        return self.cleaned_data["tolerance_over"] or Decimal(0)

    def clean_valid_until(self) -> Any:
        """Refuse a day that is over."""
        return _not_over(self.cleaned_data["valid_until"])

    def clean_send_on(self) -> Any:
        """Refuse a day that is over."""
        return _not_over(self.cleaned_data["send_on"])

    def clean(self) -> dict[str, Any]:
        """Take one client and one sheet: chosen, or new."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        if "client" in self.fields:
            self._look_at_client(given)
        if self.sheet_form is not None and not given.get("sheet"):
            self._look_at_sheet()
        return given

    def _look_at_client(self, given: dict[str, Any]) -> None:
        chosen, new = given.get("client"), given.get("new_client")
        if chosen and new:
            self.add_error("new_client", "Choose a client or give a new name, not both.")
        if not chosen and not new and not {"client", "new_client"} & set(self.errors):
            self.add_error("client", "Choose a client, or give a new name below.")

    def _look_at_sheet(self) -> None:
        made = self.sheet_form
        assert made is not None
        if not made.is_typed and "sheet" not in self.errors:
            self.add_error("sheet", "Choose a sheet, or describe a new one below.")

    @property
    def forms_within(self) -> tuple[tuple[str, NewSheetForm], ...]:
        """The new sheet, where one is begun: its faults are faults of this page too."""
        made = self.sheet_form
        used = made is not None and made.is_typed and not self.cleaned_data.get("sheet")
        return (("New sheet", made),) if used else ()

    def is_valid(self) -> bool:
        """Judge the new sheet too."""
        return super().is_valid() and all(held.is_valid() for _, held in self.forms_within)


class IssueForm(HouseForm):
    """Issue a draft as it stands."""

    without_price = forms.BooleanField(required=False)


class AcceptForm(HouseForm):
    """The number that the client ordered, and the day a new commission is due."""

    quantity = forms.TypedChoiceField(
        coerce=int, label="Good sheets ordered", widget=forms.RadioSelect
    )
    due = DayField(label="Due", help_text="Day the sheets have to leave the studio.")
    all_the_same = forms.BooleanField(required=False, label="Accept it all the same")

    def __init__(
        self,
        *args: Any,
        choices: Sequence[tuple[int, str]] = (),
        asks_day: bool = True,
        doubt: str = "",
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"].choices = list(choices)
        if not asks_day:
            del self.fields["due"]
        if doubt:
            self.fields["all_the_same"].help_text = doubt
        else:
            del self.fields["all_the_same"]


class DeclineForm(HouseForm):
    """Why a quote came to nothing."""

    why = forms.CharField(
        max_length=100,
        required=False,
        help_text="For the studio’s own book; the client sees none.",
    )


class QuoteFilter(HouseFilterSet):
    """Quotes by state, client, the day they hold until, and words."""

    state = ChoiceFilter(
        choices=[
            ("out", "Out: issued and still good"),
            ("lapsed", "Lapsed"),
            *Quote.State.choices,
        ],
        method="in_state",
        label="State",
    )
    client = ModelChoiceFilter(queryset=Client.objects.defer("contact", "remarks"), label="Client")
    until_from = DayFilter(field_name="valid_until", lookup_expr="gte", label="Holds from")
    until_to = DayFilter(field_name="valid_until", lookup_expr="lte", label="Holds up to")
    words = WordsFilter(("ref", "title", "sheet__name", "client__name", "commission__ref"))

    def in_state(self, rows: Any, name: str, value: str) -> Any:
        """Keep one state; of those that are out, the ones that still hold or have lapsed."""
        today = timezone.localdate()
        if value == "out":
            return rows.filter(state=Quote.State.ISSUED, valid_until__gte=today)
        if value == "lapsed":
            return rows.filter(state=Quote.State.ISSUED, valid_until__lt=today)
        return rows.filter(state=value)
