import datetime
from pathlib import Path

import django_filters
import pytest
from django import forms
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

import studio
from studio.forms import HouseForm, LogInForm, MassField, RowForm, ShareField
from studio.models import Mould
from studio.working import Line
from tests.studio.pages import Page, words

LINES = [
    Line("As it stands", "3.19\u00a0kg", "640 × 0.0624 m² × 80 g"),
    Line("Oven-dry", "3.00\u00a0kg", kind="line"),
    Line("Good sheets, about", "291", kind="answer"),
]
TEMPLATES = sorted((Path(studio.__file__).parent / "templates").rglob("*.html"))


class Signed:
    is_authenticated = True

    def get_username(self):
        return "vat"


def house(**changes):
    known = {
        "name": "Tallow Weir Papermill",
        "theme": "",
        "role": "owner",
        "sees_money": True,
        "demo": False,
        "user": Signed(),
        "sections": [("/", "Today", False), ("/store/", "Store", True)],
    }
    return {**known, **changes}


class ScrapForm(HouseForm):
    mass = MassField(label="Mass")


class PartForm(RowForm):
    share = ShareField()


Parts = forms.formset_factory(PartForm, extra=1, can_delete=True)


class Filter(django_filters.FilterSet):
    word = django_filters.CharFilter(label="Word")
    how = django_filters.ChoiceFilter(
        label="How", choices=[("a", "Weighed")], widget=forms.RadioSelect
    )
    since = django_filters.DateFilter(label="Since")


def component(name, **context):
    return Page(render_to_string(f"components/{name}.html", context))


def page(name, **context):
    return Page(render_to_string(name, {"house": house(), "csrf_token": "t", **context}))


def test_sum_sets_out_each_line_with_its_reason():
    shown = component("sum", lines=LINES)
    assert [row.attrs.get("class", "") for row in shown.all("tr")] == ["", "line", "answer"]
    assert [cell.text for cell in shown.all("td")] == ["3.19\u00a0kg", "3.00\u00a0kg", "291"]
    assert [small.text for small in shown.all("small")] == ["640 × 0.0624 m² × 80 g"]
    assert all(head.attrs["scope"] == "row" for head in shown.all("th"))


def test_working_folds_the_sum_under_a_summary():
    shown = component("working", lines=LINES)
    assert shown.one("summary").text == "How this is worked out"
    assert len(shown.all("tr")) == 3


def test_facts_leave_out_what_has_no_value_and_keep_a_counted_zero():
    pairs = [("Sheets", 250), ("Broke", 0), ("Remarks", ""), ("Source", "Oast", "/sources/1/")]
    shown = component("facts", pairs=pairs)
    assert [name.text for name in shown.all("dt")] == ["Sheets", "Broke", "Source"]
    assert [value.text for value in shown.all("dd")] == ["250", "0", "Oast"]
    assert shown.one("a").attrs["href"] == "/sources/1/"


def test_figures_set_the_unit_small_and_mark_what_is_short():
    shown = component(
        "figures", figures=[("On hand", "67.43", "kg"), ("Free", "0.41", "kg", "off")]
    )
    assert [unit.text for unit in shown.all("small")] == ["kg", "kg"]
    assert shown.one("dd", class_="off").text == "0.41 kg"


def test_caution_defers_to_data_sheet_local_rules_and_qualified_people():
    told = component("caution", text="Caustic liquor burns.").one("div", class_="caution").text
    assert "Caution." in told
    assert "Caustic liquor burns." in told
    for authority in ("safety data sheet", "Local rules", "licensed or qualified person"):
        assert authority in told


def test_note_opens_with_its_word():
    shown = component("note", word="Three ways out.", text="Order 2 kg.")
    assert shown.one("b").text == "Three ways out."
    assert "caution" not in shown.one("div").attrs["class"]
    assert component("note", word="Hot.", text="x", caution=True).all("div", class_="caution")


def test_empty_state_gives_numbered_first_steps():
    steps = [("/scrap/", "Log the scrap you have", "Weigh one box."), ("", "Then rest", "")]
    shown = component("empty", sentence="Nothing yet.", steps=steps)
    assert shown.one("a").attrs["href"] == "/scrap/"
    assert len(shown.all("li")) == 2
    assert shown.one("svg").attrs["aria-hidden"] == "true"
    assert component("empty", sentence="Nothing yet.").all("ol") == []


def test_filters_are_one_labelled_get_form_without_a_script():
    narrowed = Filter({"word": "lin", "since": "soon"}, queryset=Mould.objects.none())
    shown = component("filters", filter=narrowed, clear="/store/")
    assert shown.one("form").attrs["method"] == "get"
    assert shown.one("input", name="word").attrs["value"] == "lin"
    assert shown.one("button").text == "Show"
    assert shown.one("a", href="/store/").text == "Show all"
    assert words(shown.one("h2").text) == "Put one thing right"
    assert shown.one("input", name="since").attrs["aria-describedby"] in shown.ids()
    assert shown.one("legend").text == "How"


def test_desk_puts_faults_of_form_and_rows_in_one_list():
    form = ScrapForm({"mass": "x", "request_key": "6f2c2b3e-8a1d-4a8e-9a51-0d2f6f0c7b11"})
    parts = Parts({"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "0", "form-0-share": "y"})
    shown = component("desk", form=form, parts=parts, button="Enter the lot", csrf_token="t")
    assert words(shown.one("h2").text) == "Put two things right"
    assert [link.attrs["href"] for link in shown.all("a")] == ["#id_mass", "#id_form-0-share"]
    assert shown.all("a")[1].text.startswith("Row 1, share: ")
    assert shown.one("button").text == "Enter the lot"
    assert shown.one("input", name="csrfmiddlewaretoken")


def test_desk_with_a_panel_works_with_and_without_script():
    shown = component(
        "desk", form=ScrapForm(), button="Enter", panel="components/sum.html", lines=LINES,
        preview="/preview/", leave="/store/", csrf_token="t",
    )  # fmt: skip
    assert shown.one("form").attrs["hx-post"] == "/preview/"
    assert shown.one("aside").attrs["aria-live"] == "polite"
    assert shown.one("button", name="work_out").text == "Work it out"
    assert len(shown.all("tr")) == 3
    assert shown.one("a").text == "Leave without saving"


def test_row_taken_out_of_a_formset_is_no_fault():
    typed = {"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "1", "form-0-share": "y"}
    kept, taken = Parts(typed), Parts({**typed, "form-0-DELETE": "on"})
    assert component("desk", form=None, parts=kept, csrf_token="t").all("h2")
    assert component("desk", form=None, parts=taken, csrf_token="t").all("h2") == []


def test_faults_of_a_whole_formset_are_listed_once():
    few = forms.formset_factory(PartForm, min_num=2, validate_min=True)
    parts = few({"form-TOTAL_FORMS": "0", "form-INITIAL_FORMS": "0"})
    shown = component("desk", form=None, parts=parts, csrf_token="t")
    assert len(shown.all("li")) == 1


def test_base_shows_house_rooms_and_the_person_signed_in():
    shown = page("404.html")
    assert shown.one("html").attrs == {"lang": "en-GB"}
    assert shown.one("a", class_="maker").text.strip() == "HalfstuffTallow Weir Papermill"
    assert [link.text for link in shown.all("a", aria_current="page")] == ["Store"]
    assert shown.one("main").attrs == {"class": "sheet", "id": "main", "tabindex": "-1"}
    assert "Signed in as vat." in shown.one("footer").text
    sign_out = [form for form in shown.all("form") if form.attrs["method"] == "post"]
    assert len(sign_out) == 1
    assert shown.one("meta", name="htmx-config").attrs["content"] == (
        '{"includeIndicatorStyles":false,"allowEval":false,"historyCacheSize":0}'
    )
    assert shown.one("link", rel="icon").attrs["href"].endswith("favicon.svg")
    assert shown.misnested == []


def test_theme_of_the_studio_is_set_on_the_page():
    assert page("404.html", house=house(theme="dark")).one("html").attrs["data-theme"] == "dark"


def test_visitor_sees_no_rooms_and_no_sign_out():
    shown = page("404.html", house=house(sections=[], user=None, role=""))
    assert shown.all("nav") == []
    assert shown.all("form") == []
    assert "Signed in" not in shown.one("footer").text


def test_demo_says_that_everyone_in_it_is_invented():
    assert "invented" in page("404.html", house=house(demo=True)).one("footer").text
    assert "invented" not in page("404.html").one("footer").text


def test_messages_are_told_politely_under_the_head():
    shown = page("404.html", messages=["Lot <W-0411> is entered."])
    assert words(shown.one("div", role="status").text) == "Lot <W-0411> is entered."
    assert page("404.html").all("div", role="status") == []


def test_title_opens_with_the_number_of_faults():
    form = LogInForm(None, {"username": "", "password": ""})
    assert page("registration/log_in.html", form=form).one("title").text == (
        "2 errors: Sign in · Halfstuff"
    )
    half = LogInForm(None, {"username": "vat", "password": ""})
    assert page("registration/log_in.html", form=half).one("title").text.startswith("1 error: ")
    assert page("registration/log_in.html", form=LogInForm()).one("title").text == (
        "Sign in · Halfstuff"
    )


def test_log_in_keeps_the_page_that_was_asked_for():
    shown = page("registration/log_in.html", form=LogInForm(), next="/store/?a=1")
    assert shown.one("input", name="next").attrs["value"] == "/store/?a=1"


def test_locked_out_says_how_long_to_wait():
    wait = datetime.timedelta(minutes=15)
    shown = page("studio/locked_out.html", failure_limit=5, cooloff_timedelta=wait)
    told = shown.one("p", class_="lede").text
    assert "wrong five times" in told
    assert "Wait 15 minutes," in told


@pytest.mark.parametrize("name", ["500.html", "400.html"])
def test_page_of_last_resort_needs_no_context(name):
    shown = Page(render_to_string(name))
    assert shown.one("h1").text
    assert shown.one("link", rel="stylesheet").attrs["href"].endswith("studio/halfstuff.css")
    assert shown.misnested == []


@pytest.mark.parametrize("signed", [True, False])
def test_refused_page_says_what_to_do(signed):
    shown = page("403.html", house=house() if signed else house(user=None))
    assert shown.one("div", class_="acts").text == ("Back to Today" if signed else "Sign in")


def test_page_out_of_date_says_that_nothing_was_written():
    assert "Nothing was written." in page("403_csrf.html").one("p", class_="lede").text


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_template_has_nothing_inline(path):
    source = path.read_text(encoding="utf-8")
    shown = Page(source)
    for element in shown.elements:
        assert not [name for name in element.attrs if name == "style" or name.startswith("on")]
        assert element.tag != "style"
        # A file of the program's own is not inline.
        assert element.tag != "script" or ("src" in element.attrs and not element.text.strip())


@pytest.mark.parametrize(
    "path",
    [path for path in TEMPLATES if path.parent.name == "components"],
    ids=lambda path: path.stem,
)
def test_component_opens_with_what_it_takes(path):
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("{#")
    assert "nput" in first


def test_markup_handed_to_a_component_is_escaped_unless_it_is_safe():
    pairs = [("Lot", "<i>"), ("Code", SafeString("<b>C-118</b>"))]
    shown = component("facts", pairs=pairs)
    assert shown.all("i") == []
    assert shown.one("b").text == "C-118"
