import datetime
from decimal import Decimal

import pytest
from django import forms

from studio.forms import (
    CountField,
    DayField,
    GrammageField,
    HouseForm,
    LengthField,
    MassField,
    MoneyField,
    NumberField,
    QuantityField,
    RowForm,
    ShareField,
    SizeField,
    VolumeField,
)
from studio.sizes import Size
from studio.units import Q, to_mg
from tests.studio.pages import Page

KEY = "6f2c2b3e-8a1d-4a8e-9a51-0d2f6f0c7b11"


class ScrapForm(HouseForm):
    donor = forms.CharField(max_length=60, help_text="Who gave it.")
    how = forms.ChoiceField(
        label="How measured",
        widget=forms.RadioSelect,
        choices=[("w", "Weighed"), ("c", "Counted")],
    )
    mass = MassField(label="Mass as weighed", required=False)
    count = CountField(label="Number", unit="sheets", least=1)
    sorted_ = forms.BooleanField(label="Sorted already", required=False)


GOOD = {"donor": "Mill Lane School", "how": "w", "count": "640", "request_key": KEY}


def scrap(**changes):
    return ScrapForm({**GOOD, **changes})


# --- reading -----------------------------------------------------------------------------------


def test_mass_takes_the_unit_chosen_beside_it():
    assert to_mg(MassField().clean(["2.5", "kg"])) == 2_500_000


def test_unit_in_the_typed_text_wins_over_the_one_chosen():
    # 5 lb 4 oz = 84 oz x 28.349523125 g = 2381.3599425 g, by hand from the definition of the ounce
    assert to_mg(MassField().clean(["5 lb 4 oz", "kg"])) == 2_381_360


def test_mass_without_a_chosen_unit_takes_the_first_offered():
    assert to_mg(MassField(units=("g", "kg")).clean(["7", None])) == 7_000


def test_unit_that_was_not_offered_is_refused():
    with pytest.raises(
        forms.ValidationError, match="Choose one of the units offered: kg, g, lb, oz; got “stone”"
    ):
        MassField().clean(["7", "stone"])


@pytest.mark.parametrize(
    "text", ["five sacks", "nan", "1e400", "-2 kg", "inf", "2 m", "٣ kg", "=1+1", "9" * 10_000]
)
def test_mass_that_cannot_be_read_is_a_fault_with_what_was_typed_kept(text):
    form = scrap(mass=text, mass_unit="kg")
    assert not form.is_valid()
    assert list(form.errors) == ["mass"]
    assert not form.errors["mass"][0].startswith("this")
    page = Page(str(form))
    assert page.one("input", name="mass").attrs["value"] == text


@pytest.mark.parametrize(
    "field",
    [
        MassField(),
        LengthField(),
        VolumeField(),
        GrammageField(),
        SizeField(),
        ShareField(),
        CountField(),
        NumberField(),
        MoneyField(currency="GBP"),
        DayField(),
    ],
    ids=lambda field: type(field).__name__,
)
@pytest.mark.parametrize("text", ["x" * 10_000, "\x00", "NaN", "1e400", "½", "-1"])
def test_no_field_lets_bad_text_pass_or_break(field, text):
    with pytest.raises(forms.ValidationError):
        field.clean(text)


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        (MassField(stored=True), "1 lb", 453_592),  # 453.59237 g, half-even to whole mg
        (LengthField(stored=True), "8.5 in", 215_900),  # 8.5 x 25.4 mm
        (VolumeField(stored=True), "60 L", 60_000),
        (GrammageField(stored=True), "120", Decimal("120.0000")),
        (ShareField(), "6.5", Decimal("0.065")),
        (ShareField(), "8 %", Decimal("0.08")),
        (ShareField(most=9), "150", Decimal("1.5")),
        (CountField(), "640", 640),
        (NumberField(), "2.5", Decimal("2.5")),
        (MoneyField(currency="GBP"), "12.50", 1250),
        (MoneyField(currency="JPY"), "1250", 1250),
        (DayField(), "2026-11-25", datetime.date(2026, 11, 25)),
        (DayField(), "25 Nov 2026", datetime.date(2026, 11, 25)),
        (SizeField(), "A4", Size(210_000, 297_000)),  # ISO 216
    ],
)
def test_field_reads_what_a_person_types(field, text, value):
    assert field.clean(text) == value


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        (MassField(positive=True), "0", "outside what is allowed"),
        (MassField(), "", r"Give a mass, such as 2\.5 kg\."),
        (CountField(least=1), "0", r"Give 1 or more, got 0\."),
        (CountField(most=12), "13", r"Give 12 or fewer, got 13\."),
        (CountField(), "2.5", "is not whole"),
        (ShareField(), "160", "outside what is allowed"),
        (ShareField(most=Decimal("0.5")), "60", r"Give 50 % or less, got 60 %\."),
        (ShareField(most=9), "950", r"Give 900 % or less, got 950 %\."),
        (MoneyField(currency="GBP"), "1,2,3", "Give the amount as a plain amount in GBP"),
        (SizeField(), "460", "can't be read as a size"),
        (DayField(), "yesterday", r"Give a day such as 2026-11-25, got “yesterday”\."),
        (DayField(), "", r"Give a day\."),
    ],
)
def test_refusal_says_what_to_give(field, text, told):
    with pytest.raises(forms.ValidationError, match=told):
        field.clean(text)


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        (
            CountField(most=1_000_000),
            "1000001",
            "Give 1\u202f000\u202f000 or fewer, got 1\u202f000\u202f001.",
        ),
        (NumberField(least=12_000), "11999", "Give 12\u202f000 or more, got 11\u202f999."),
        (
            ShareField(most=120),
            "1200001",
            "Give 12\u202f000 % or less, got 1\u202f200\u202f001 %.",
        ),
    ],
)
def test_limits_are_grouped_as_figures_are_everywhere(field, text, told):
    with pytest.raises(forms.ValidationError) as refused:
        field.clean(text)
    assert refused.value.messages == [told]


def test_zero_is_a_mass_where_the_form_allows_it():
    assert MassField(stored=True).clean("0") == 0


def test_field_left_empty_gives_none_where_it_is_optional():
    assert MassField(required=False).clean(["  ", "kg"]) is None


# --- showing -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "value", "shown"),
    [
        (MassField(), 14_620_000, ["14.62", "kg"]),
        (MassField(), 7_040, ["7.04", "g"]),
        (MassField(), 0, ["0", "kg"]),
        (MassField(), Q("2.5", "lb"), ["2.5", "lb"]),
        (MassField(units=("lb", "oz")), 2_267_962, ["5", "lb"]),
        (LengthField(), 215_900, ["215.9", "mm"]),
        (GrammageField(), Decimal("80.0000"), "80"),
        (ShareField(), Decimal("0.060000"), "6"),
        (NumberField(), Decimal("1.50"), "1.5"),
        (CountField(), 640, "640"),
        (MoneyField(currency="GBP"), 1250, "12.50"),
        (SizeField(), Size(210_000, 297_000), "210 × 297 mm"),
    ],
)
def test_value_is_shown_as_a_person_would_type_it(field, value, shown):
    assert field.prepare_value(value) == shown


@pytest.mark.parametrize("mass_mg", [1, 453_592, 2_267_962, 99_999_999, 123_456_789])
@pytest.mark.parametrize("units", [("kg", "g"), ("lb", "oz")])
def test_stored_mass_saved_untouched_does_not_drift(mass_mg, units):
    field = MassField(units=units, stored=True)
    assert field.clean(field.prepare_value(mass_mg)) == mass_mg


def test_size_in_inches_is_shown_and_read_back_the_same():
    field = SizeField()
    field.prefer("US")
    assert field.prepare_value(Size(215_900, 279_400)) == "8.5 × 11 in"
    assert field.clean("8.5 x 11") == Size(215_900, 279_400)


def test_metric_size_is_shown_in_the_fewest_inches_that_read_back_the_same():
    # by hand: 8.2677 x 25 400 um = 209 999.58, 11.6929 x 25 400 um = 296 999.66; one digit less
    # gives 210 007.2 and 297 002.2
    field = SizeField()
    field.prefer("US")
    assert field.prepare_value(Size(210_000, 297_000)) == "8.2677 × 11.6929 in"


def test_studio_in_us_units_offers_pounds_first():
    form = ScrapForm(system="US")
    units = [option.attrs["value"] for option in Page(str(form["mass"])).all("option")]
    assert units == ["lb", "oz", "kg", "g"]
    assert to_mg(form.fields["mass"].clean(["1", ""])) == 453_592


def test_units_named_by_the_field_are_kept_in_any_system():
    class Draw(HouseForm):
        depth = LengthField(units=("mm", "cm"))

    units = [
        option.attrs["value"] for option in Page(str(Draw(system="US")["depth"])).all("option")
    ]
    assert units == ["mm", "cm"]


def test_money_is_labelled_and_read_in_the_currency_of_the_studio():
    class Paid(HouseForm):
        paid = MoneyField()

    form = Paid({"paid": "1250", "request_key": KEY}, currency="JPY")
    assert form.is_valid()
    assert form.cleaned_data["paid"] == 1250
    assert Page(str(form["paid"])).one("span").text == "JPY"


def test_change_is_seen_by_value_not_by_spelling():
    field = QuantityField("mass", stored=True)
    assert not field.has_changed(2_500_000, ["2500 g", "kg"])
    assert field.has_changed(2_500_000, ["2.6", "kg"])
    assert field.has_changed(2_500_000, ["much", "kg"])
    assert not field.has_changed(None, ["", "kg"])


class DayForm(RowForm):
    day = DayField()


@pytest.mark.parametrize(
    ("typed", "kind"), [("2026-11-25", "date"), ("yesterday", "text"), ("25 Nov 2026", "text")]
)
def test_day_that_no_picker_holds_stays_as_typed(typed, kind):
    shown = Page(str(DayForm({"day": typed})["day"])).one("input", name="day")
    assert (shown.attrs["value"], shown.attrs["type"]) == (typed, kind)


def test_day_is_shown_to_the_picker_in_its_own_order():
    form = DayForm(initial={"day": datetime.date(2026, 11, 25)})
    shown = Page(str(form["day"])).one("input", name="day").attrs
    assert (shown["value"], shown["type"]) == ("2026-11-25", "date")
