import uuid
from decimal import Decimal

import pytest
from django import forms

from studio.forms import (
    CountField,
    FirstRunForm,
    HouseForm,
    HouseModelForm,
    LengthField,
    LogInForm,
    MassField,
    NumberField,
    RowForm,
    ShareField,
)
from studio.models import Mould, Studio
from studio.units import Q, to_um
from tests.studio.pages import Page, words

NO_BREAK = "\u00a0"

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


class MouldForm(HouseModelForm):
    width_um = LengthField(stored=True, positive=True, label="Across")
    height_um = LengthField(stored=True, positive=True, label="Along")

    class Meta:
        model = Mould
        fields = ["name", "width_um", "height_um", "remarks"]


class PartForm(RowForm):
    fibre = forms.ChoiceField(choices=[("", "Choose a fibre"), ("1", "Abaca")])
    share = ShareField()


Parts = forms.formset_factory(PartForm, extra=2, can_delete=True)
GOOD = {"donor": "Mill Lane School", "how": "w", "count": "640", "request_key": KEY}


def scrap(**changes):
    return ScrapForm({**GOOD, **changes})


# --- request key -------------------------------------------------------------------------------


def test_each_page_carries_its_own_request_key():
    keys = {Page(str(ScrapForm())).one("input", name="request_key").attrs["value"] for _ in "ab"}
    assert len({uuid.UUID(key) for key in keys}) == 2


def test_request_key_is_kept_when_the_form_comes_back():
    form = scrap(count="none")
    assert Page(str(form)).one("input", name="request_key").attrs["value"] == KEY
    assert scrap().is_valid()


@pytest.mark.parametrize("key", ["", "x", "x" * 10_000])
def test_page_without_a_key_is_refused_and_gets_a_new_one(key):
    form = scrap(request_key=key)
    assert form.errors["request_key"] == [
        "This page was sent without its key. Look it over and enter it once more."
    ]
    page = Page(str(form))
    assert uuid.UUID(page.one("input", name="request_key").attrs["value"])
    assert "sent without its key" in page.one("div", class_="faults").text


# --- rendering ---------------------------------------------------------------------------------


def test_faults_come_first_are_counted_in_words_and_lead_to_their_fields():
    page = Page(str(scrap(donor="", how="", count="0")))
    faults = page.one("div", class_="faults")
    assert page.elements.index(faults) == 0
    assert faults.attrs["role"] == "alert"
    assert faults.attrs["tabindex"] == "-1"
    assert words(page.one("h2").text) == "Put three things right"
    assert [link.attrs["href"] for link in page.all("a")] == [
        "#id_donor",
        "#id_how_0",
        "#id_count",
    ]
    assert {link.attrs["href"][1:] for link in page.all("a")} <= set(page.ids())
    assert [link.text for link in page.all("a")] == [
        "Donor: Fill this in.",
        "How measured: Choose one.",
        f"Number: Give 1 or more, got 0{NO_BREAK}sheets.",
    ]


def test_codes_in_faults_and_hints_do_not_break():
    form = scrap(count="0")
    form.fields["count"].help_text = "Of LI-0003 & <b>."
    form.add_error("donor", "No lot LI-0001 <here>.")
    form.add_error(None, "Weigh LI-0002 first.")
    page = Page(str(form))
    codes = page.all("span", class_="code")
    # What stands in the list and beside its field comes twice.
    assert sorted(span.text for span in codes) == ["LI-0001", "LI-0001", "LI-0002", "LI-0003"]
    assert "Donor: No lot LI-0001 <here>." in [words(link.text) for link in page.all("a")]


class RateForm(HouseModelForm):
    """Two figures that their columns keep with so many places."""

    minutes_per_pull = NumberField(unit="minutes", most=600)
    tax_rate = ShareField()

    class Meta:
        model = Studio
        fields = ["minutes_per_pull", "tax_rate"]


@pytest.mark.django_db
def test_a_figure_finer_than_is_kept_is_refused_in_our_own_words():
    # Columns of two places, and of six for a share, which are four in percent.
    form = RateForm({"minutes_per_pull": "1.234", "tax_rate": "17.12345"}, instance=Studio())
    assert form.errors["minutes_per_pull"] == [
        f"Give at most two places after the point, got 1.234{NO_BREAK}minutes."
    ]
    assert form.errors["tax_rate"] == [
        f"Give at most four places after the point, got 17.12345{NO_BREAK}%."
    ]
    form = RateForm({"minutes_per_pull": "1.23", "tax_rate": "17.1234"}, instance=Studio())
    assert not {"minutes_per_pull", "tax_rate"} & set(form.errors)


def test_one_fault_is_one_thing():
    assert words(Page(str(scrap(count="0"))).one("h2").text) == "Put one thing right"


def test_form_without_faults_lists_none():
    assert Page(str(scrap())).all("div", class_="faults") == []


def test_rows_alone_hold_no_fault_list():
    page = Page(scrap(count="0").rows)
    assert page.all("div", class_="faults") == []
    assert page.one("input", name="request_key")
    assert page.one("p", class_="fault").text == f"Give 1 or more, got 0{NO_BREAK}sheets."


def test_everything_that_describes_a_control_is_on_the_page():
    page = Page(str(scrap(donor="", how="", mass="x", count="0")))
    ids = page.ids()
    assert len(ids) == len(set(ids))
    told = [e.attrs["aria-describedby"] for e in page.elements if "aria-describedby" in e.attrs]
    assert len(told) == 4
    assert {one for each in told for one in each.split()} <= set(ids)
    donor = page.one("input", name="donor").attrs
    assert donor["aria-describedby"] == "id_donor_helptext id_donor_error"
    assert donor["aria-invalid"] == "true"
    assert (
        page.one("input", name="count").attrs["aria-describedby"] == "id_count_unit id_count_error"
    )


def test_every_label_names_a_control():
    page = Page(str(ScrapForm()))
    controls = {
        e.attrs.get("id") for e in page.elements if e.tag in {"input", "select", "textarea"}
    }
    labels = page.all("label")
    assert len(labels) == 6
    assert {label.attrs["for"] for label in labels} <= controls
    assert page.one("select", name="mass_unit").attrs["aria-label"] == "Unit of mass as weighed"


def test_choices_stand_in_a_fieldset_with_a_legend():
    page = Page(str(scrap(how="")))
    assert page.one("fieldset").attrs["aria-describedby"] == "id_how_error"
    assert page.one("legend").text == "How measured"
    radios = page.all("input", type="radio")
    assert len(radios) == 2
    assert all("aria-invalid" not in radio.attrs for radio in radios)


def test_field_that_may_stay_empty_says_so():
    page = Page(str(ScrapForm()))
    assert words(page.one("label", for_="id_mass").text) == "Mass as weighed optional"
    assert words(page.one("label", for_="id_donor").text) == "Donor"


def test_typed_markup_is_shown_as_text():
    page = Page(str(scrap(donor="<script>x</script>" * 9, mass="<b>")))
    assert page.all("script") == []
    assert page.all("b") == []


def test_long_text_is_refused_with_both_numbers():
    assert scrap(donor="x" * 61).errors["donor"] == ["Give at most 60 characters; this has 61."]


# --- models and formsets -----------------------------------------------------------------------


@pytest.mark.django_db
def test_model_form_shows_stored_lengths_and_gives_them_back():
    mould = Mould(name="No. 3", width_um=520_000, height_um=391_500)
    page = Page(str(MouldForm(instance=mould)))
    assert page.one("input", name="height_um").attrs["value"] == "391.5"
    assert page.one("select", name="height_um_unit")
    typed = {"name": "No. 3", "width_um": "20.5 in", "height_um": "39", "height_um_unit": "cm"}
    form = MouldForm({**typed, "request_key": KEY}, instance=mould)
    assert form.is_valid(), form.errors
    assert (form.instance.width_um, form.instance.height_um) == (
        to_um(Q("20.5", "in")),
        390_000,
    )


def formset(*rows, **more):
    data = {"form-TOTAL_FORMS": str(len(rows)), "form-INITIAL_FORMS": "0", **more}
    for number, (fibre, share) in enumerate(rows):
        data |= {f"form-{number}-fibre": fibre, f"form-{number}-share": share}
    return Parts(data)


def test_blank_rows_of_a_formset_are_left_out():
    parts = formset(("1", "60"), ("", ""))
    assert parts.is_valid()
    assert [form.cleaned_data.get("share") for form in parts] == [Decimal("0.6"), None]


def test_formset_rows_are_named_labelled_and_can_be_taken_out():
    page = Page(str(Parts()))
    assert [e.attrs["aria-label"] for e in page.all("div", role="group")] == ["Row 1", "Row 2"]
    ticks = page.all("input", type="checkbox")
    assert [tick.attrs["name"] for tick in ticks] == ["form-0-DELETE", "form-1-DELETE"]
    controls = [
        e
        for e in page.elements
        if e.tag in {"input", "select"} and e.attrs.get("type") != "hidden"
    ]
    labels = {label.attrs["for"] for label in page.all("label")}
    assert {control.attrs["id"] for control in controls} == labels


# --- doors -------------------------------------------------------------------------------------

FIRST = {
    "studio_name": "Tallow Weir Papermill",
    "user_name": "vat",
    "password": "couch the felt 9",
    "password_again": "couch the felt 9",
    "request_key": KEY,
}


def test_first_run_takes_a_name_and_a_password_given_twice():
    assert FirstRunForm(FIRST).is_valid()


@pytest.mark.parametrize(
    ("change", "field", "told"),
    [
        ({"password_again": "another"}, "password_again", "not the same as the first"),
        ({"password": "12345678", "password_again": "12345678"}, "password", "too common"),
        ({"password": "abc", "password_again": "abc"}, "password", "too short"),
        (
            {"user_name": "a b!b"},
            "user_name",
            "Give letters, digits and the signs . - _ @ + only. Take out: a space, !.",
        ),
        ({"studio_name": ""}, "studio_name", "Fill this in."),
    ],
)
def test_first_run_refuses(change, field, told):
    form = FirstRunForm({**FIRST, **change})
    assert not form.is_valid()
    assert told in " ".join(form.errors[field])


def test_password_is_not_sent_back_to_the_page():
    form = FirstRunForm({**FIRST, "studio_name": ""})
    assert FIRST["password"] not in str(form)


def test_door_tells_what_is_missing_and_what_does_not_fit_in_house_words():
    form = LogInForm(None, {"username": "", "password": "x"})
    assert form.errors["username"] == ["Fill this in."]
    assert form["username"].label == "User name"
    assert "do not belong together" in form.get_invalid_login_error().messages[0]
