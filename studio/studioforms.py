"""Forms of the studio's own pages."""

from __future__ import annotations

from copy import copy
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib.auth import get_user_model, password_validation
from django.core.exceptions import ValidationError

from studio.forms import (
    ASKED_OF_PASSWORDS,
    CountField,
    HouseModelForm,
    LengthField,
    MassField,
    MoneyField,
    NumberField,
    RateField,
    ShareField,
    SizeField,
)
from studio.models import Mould, Studio, Vat
from studio.money import digits
from studio.roles import HAND, OWNER, VIEWER, role_of
from studio.sizes import Size

ABOVE_ZERO = (
    "furnish_consistency", "vat_consistency", "couched_solids", "grammage_tolerance",
    "blender_mg", "blender_litres",
)  # fmt: skip


class MouldForm(HouseModelForm):
    """A mould by the size of its opening."""

    size = SizeField(
        label="Opening", help_text="Inside the deckle, such as A4, 22 x 30 in or 297 × 420 mm."
    )

    draw_um = LengthField(
        ["mm"],
        stored=True,
        positive=True,
        label="Draw",
        required=False,
        help_text="Depth of vat whose fibre stays on it; weighed trial sheets tell it. May stay "
        "empty.",
    )

    class Meta:
        model = Mould
        fields = ["name", "draw_um", "remarks"]

    field_order = ["name", "size", "draw_um", "remarks"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        mould = self.instance
        if not mould._state.adding:
            self.initial["size"] = Size(mould.width_um, mould.height_um)

    def save(self, commit: bool = True) -> Mould:
        """Keep both sides of the opening."""
        size = self.cleaned_data["size"]
        self.instance.width_um, self.instance.height_um = size.width_um, size.height_um
        return super().save(commit)


class VatForm(HouseModelForm):
    """A vat by its inside plan and its working depth."""

    size = SizeField(label="Inside", help_text="Seen from above, such as 600 × 500 mm.")
    depth_um = LengthField(
        ["mm"],
        stored=True,
        positive=True,
        label="Working depth",
        help_text="From the bottom to the water, ready for the first pull.",
    )

    class Meta:
        model = Vat
        fields = ["name", "depth_um", "remarks"]

    field_order = ["name", "size", "depth_um", "remarks"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        vat = self.instance
        if not vat._state.adding:
            self.initial["size"] = Size(vat.width_um, vat.height_um)

    def save(self, commit: bool = True) -> Vat:
        """Keep both sides of the plan."""
        size = self.cleaned_data["size"]
        self.instance.width_um, self.instance.height_um = size.width_um, size.height_um
        return super().save(commit)


class StudioForm(HouseModelForm):
    """The studio's names, rates and habits."""

    sheet_moisture = ShareField(
        most=Decimal("0.5"), help_text="Conditioned; 6 % is usual, 2 to 10 % is normal."
    )
    assurance = ShareField(
        label="How sure the safe count is",
        help_text="95 % means: in 95 of 100 makings there are good sheets enough.",
    )
    making_days = CountField(
        label="Form, dry and pack",
        unit="days",
        most=365,
        help_text="A commission needs its fibre so many days before it is due.",
    )
    pulls_a_day = CountField(
        label="Vat and press manage",
        unit="pulls a day",
        least=1,
        most=100_000,
        required=False,
        help_text="Empty: the days above are used for every commission.",
    )
    sizing_cure_days = CountField(
        label="Sizing cures", unit="days", most=365, help_text="Before sheets are sorted."
    )
    packing_days = CountField(label="Sort and pack", unit="days", most=365)
    furnish_consistency = ShareField(most=Decimal("0.2"), label="Stuff is made up at")
    vat_consistency = ShareField(
        most=Decimal("0.05"),
        label="Vat, where no draw is known",
        help_text="0.5 to 1 % is usual, 0.45 % by the kitchen rule.",
    )
    couched_solids = ShareField(
        label="Fibre in a sheet as couched",
        help_text="15 to 20 % is common practice; the rest is water the sheet takes along.",
    )
    grammage_tolerance = ShareField(
        most=Decimal("0.5"),
        label="Top up before sheets are lighter by",
    )
    beater_least_mg = MassField(stored=True, label="Smallest beater load")
    beater_most_mg = MassField(
        stored=True, label="Largest beater load", help_text="Oven-dry; 0 where there is no beater."
    )
    blender_mg = MassField(stored=True, label="Blender load")
    blender_litres = NumberField(label="Water in a blender load", unit="L", most=1000)
    retree_price_share = ShareField(
        label="Retree sells at", help_text="Of the price of good sheets; 90 % is an old custom."
    )
    hourly_rate_minor = MoneyField(label="Pay for an hour")
    overhead_minor_per_hour = MoneyField(label="Rooms, felts and moulds, an hour")
    setup_minutes = CountField(
        label="Set up and clear",
        unit="minutes",
        most=6000,
        help_text="Each making, whatever its number.",
    )
    minutes_per_pull = NumberField(label="A pull, all in", unit="minutes", most=600)
    trial_pulls = CountField(unit="pulls", most=1000)
    heel_mg = MassField(
        stored=True, label="Heel", help_text="Oven-dry fibre left in the vat at the end."
    )
    heel_recovered = ShareField(label="Of the heel, kept for another making")
    broke_recovered = ShareField(label="Of the broke, used again")
    energy_kwh_per_kg = NumberField(label="Beating a kilogram", unit="kWh", most=1000)
    energy_kwh_per_pull = NumberField(label="Pressing and drying a pull", unit="kWh", most=1000)
    energy_minor_per_kwh = RateField(label="A kilowatt-hour costs")
    water_litres_per_pull = NumberField(label="Water for a pull", unit="L", most=10000)
    water_minor_per_m3 = MoneyField(label="A cubic metre of water costs")
    packing_minor_per_sheet = MoneyField(label="Packing a sheet")
    price_rate = ShareField(
        label="Markup or margin", most=9, help_text="The share meant by the choice above."
    )
    tax_rate = ShareField(
        label="Tax on the price", help_text="Your own rate; 0 where none applies."
    )
    price_spread = ShareField(
        label="Fibre may be dearer or cheaper by",
        help_text="At the most, either way; how far the cost may lie off is worked out with it.",
    )
    minutes_spread = ShareField(
        label="A making may take longer or shorter by", help_text="Its minutes, at the most."
    )
    quote_days = CountField(label="A quote holds", unit="days", least=1, most=365)
    quote_deposit = ShareField(label="Deposit", help_text="Of the price; 0 where none is asked.")
    size_tolerance_um = LengthField(
        ["mm"],
        stored=True,
        label="A side may differ by",
        help_text="Either way; handmade sheets are not alike.",
    )

    # Side head, the line under it, and the fields that stand beside it.
    GROUPS = (
        ("The studio", "As every page shows it", ("name", "units", "theme")),
        ("Currency", "Every amount is in it", ("currency", "tax_rate")),
        (
            "Counting",
            "What every sheet is reckoned with",
            ("sheet_moisture", "assurance", "trial_pulls", "heel_mg", "heel_recovered",
             "broke_recovered"),
        ),
        (
            "Planning",
            "When fibre has to be in, and which lots are set aside",
            ("making_days", "pulls_a_day", "sizing_cure_days", "packing_days", "aims"),
        ),
        (
            "Vat and beater",
            "What making sheets are worked out with",
            ("furnish_consistency", "vat_consistency", "couched_solids", "grammage_tolerance",
             "beater_least_mg", "beater_most_mg", "blender_mg", "blender_litres"),
        ),
        (
            "Hours",
            "A sheet can have minutes of its own",
            ("setup_minutes", "minutes_per_pull", "hourly_rate_minor",
             "overhead_minor_per_hour"),
        ),
        (
            "Energy and water",
            "Beating, pressing, drying, rinsing",
            ("energy_kwh_per_kg", "energy_kwh_per_pull", "energy_minor_per_kwh",
             "water_litres_per_pull", "water_minor_per_m3", "packing_minor_per_sheet"),
        ),
        (
            "Price",
            "Markup is a share of the cost, margin a share of the price",
            ("price_by", "price_rate", "retree_price_share"),
        ),
        (
            "Book cost",
            "What fibre in the store cost, and how far off a cost may be",
            ("book_cost", "price_spread", "minutes_spread"),
        ),
        (
            "Quotes",
            "What a new quote starts with",
            ("quote_days", "quote_deposit", "size_tolerance_um", "quote_includes"),
        ),
    )  # fmt: skip

    class Meta:
        model = Studio
        fields = [
            "name", "units", "currency", "theme", "sheet_moisture", "assurance", "making_days",
            "aims", "pulls_a_day", "sizing_cure_days", "packing_days", "furnish_consistency",
            "vat_consistency", "couched_solids", "grammage_tolerance", "beater_least_mg",
            "beater_most_mg", "blender_mg", "blender_litres",
            "hourly_rate_minor", "overhead_minor_per_hour", "setup_minutes", "minutes_per_pull",
            "trial_pulls", "heel_mg", "heel_recovered", "broke_recovered",
            "energy_kwh_per_kg", "energy_kwh_per_pull", "energy_minor_per_kwh",
            "water_litres_per_pull", "water_minor_per_m3", "packing_minor_per_sheet",
            "price_by", "price_rate", "tax_rate", "retree_price_share", "book_cost",
            "price_spread", "minutes_spread", "quote_days", "quote_deposit",
            "size_tolerance_um", "quote_includes",
        ]  # fmt: skip
        labels = {
            "aims": "What comes first",
            "book_cost": "Book cost of fibre",
            "quote_includes": "The price includes",
        }
        help_texts = {
            "aims": "Where a furnish may vary; a promise that comes first is always served first.",
            "book_cost": (
                "Fibre that a commission names by its lots counts at their own cost either way."
            ),
            "quote_includes": "Such as packing and one sample sheet.",
        }
        widgets = {"aims": forms.RadioSelect, "book_cost": forms.RadioSelect}

    @property
    def groups(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """The fields as they stand on the page."""
        return [(head, note, [self[name] for name in names]) for head, note, names in self.GROUPS]

    def clean(self) -> dict[str, Any]:
        """Refuse a margin that leaves no cost and an assurance that is no count."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        rate, sure = given.get("price_rate"), given.get("assurance")
        was, now = self.initial.get("currency"), given.get("currency")
        if was and now and not self.instance._state.adding and digits(was) != digits(now):
            self.add_error(
                "currency",
                f"Amounts that are entered have the decimal places of {was}; in {now} they would "
                f"mean something else. Keep {was}.",
            )
        if given.get("price_by") == Studio.PriceBy.MARGIN and rate is not None and rate >= 1:
            self.add_error("price_rate", "A margin is a share of the price: give less than 100 %.")
        if sure is not None and not 0 < sure < 1:
            self.add_error("assurance", "Give more than 0 % and less than 100 %, such as 95.")
        for name in ABOVE_ZERO:
            if given.get(name) is not None and given[name] <= 0:
                self.add_error(name, "Give more than 0: a vat without fibre makes no sheets.")
        least, most = given.get("beater_least_mg"), given.get("beater_most_mg")
        if least is not None and most and least > most:
            self.add_error("beater_most_mg", "The largest load must not be below the smallest.")
        return given


class PersonForm(HouseModelForm):
    """An account: its name, its role, whether it is open, and a password."""

    role = forms.ChoiceField(
        widget=forms.RadioSelect,
        choices=[
            (OWNER, "Owner: sees and changes everything"),
            (HAND, "Hand: store and counts, no money"),
            (VIEWER, "Viewer: reads, no money"),
        ],
    )
    is_active = forms.BooleanField(label="May sign in", required=False, initial=True)
    password = forms.CharField(
        strip=False,
        max_length=128,
        required=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=ASKED_OF_PASSWORDS,
    )

    class Meta:
        model = get_user_model()
        fields = ["username"]
        error_messages = {
            "username": {
                "unique": "Somebody has this name already. Give another.",
                "invalid": "Give letters, digits and . - _ without spaces.",
            }
        }
        labels = {"username": "User name"}
        help_texts = {"username": "To sign in with; letters and digits."}
        widgets = {"username": forms.TextInput(attrs={"autocomplete": "username"})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_new = self.instance._state.adding
        self.fields["password"].required = self.is_new
        if self.is_new:
            del self.fields["is_active"]
        else:
            self.initial["role"] = role_of(self.instance)
            self.initial["is_active"] = self.instance.is_active
            self.fields["password"].help_text = "Leave empty to keep the one there is."

    def clean_password(self) -> str:
        """Weigh a password that was given."""
        password: str = self.cleaned_data["password"]
        if password:
            # The name as it is typed here: that of the account may be another, or none yet.
            person = copy(self.instance)
            person.username = self.cleaned_data.get("username", person.username)
            try:
                password_validation.validate_password(password, person)
            except ValidationError as fault:
                self.add_error("password", fault)
        return password
