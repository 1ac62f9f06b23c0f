import pytest

from orders.models import Commission
from studio.models import Entry
from tests.builders import make_studio
from tests.orders.looking import look, queries, said

SHEETS = {
    "sum": "sheets", "mass": "10", "mass_unit": "kg", "moisture": "8", "preparation_yield": "96",
    "size": "A4", "grammage": "120",
}  # fmt: skip


def test_every_sum_shows_usual_figures_from_the_start(viewer_client):
    page = look(viewer_client, "/bench/")
    assert [head.text for head in page.all("h2")] == [
        "Sheets from fibre", "Fibre for sheets", "Dry mass", "Basis weight", "How many more",
        "How this is worked out",
    ]  # fmt: skip
    worked = page.elements.index(page.one("section", class_="explained"))
    sums = [one for one in page.all("table", class_="sum") if page.elements.index(one) < worked]
    assert len(sums) == 4
    assert said(page).count("With usual figures. Put in your own.") == 4


def test_each_sum_can_be_linked_to(viewer_client):
    page = look(viewer_client, "/bench/")
    for name in ("sheets", "takes", "dry", "basis", "more"):
        assert page.one("section", id=name)
        assert page.one("a", href=f"#{name}")


def test_ids_are_unique(viewer_client):
    ids = look(viewer_client, "/bench/").ids()
    assert sorted(ids) == sorted(set(ids))


def test_sheets_from_fibre(viewer_client):
    """The figures of the design's example, as the command gives them: 1205 pulls, 1060 good."""
    page = look(viewer_client, "/bench/", **SHEETS)
    assert "1205" in said(page)
    assert "1060" in said(page)


def test_sheets_from_fibre_cut_from_a_mould(viewer_client):
    cut = {
        "size": "148 x 210 mm", "mould": "520 x 391 mm", "shrinkage_across": "4",
        "shrinkage_along": "2.5", "trim": "5 mm", "trim_unit": "mm",
    }  # fmt: skip
    page = look(viewer_client, "/bench/", **{**SHEETS, **cut})
    # By hand: 489.2 × 371.2 mm holds three A5 side by side and two lying under them.
    cells = [cell.text for cell in page.all("td")]
    assert "5" in cells


def test_fibre_for_sheets(viewer_client):
    asked = {
        **SHEETS, "sum": "takes", "wanted": "400", "mass": "3", "moisture": "8",
        "preparation_yield": "98",
    }  # fmt: skip
    page = look(viewer_client, "/bench/", **asked)
    # H1's second commission: 455 pulls, 3.403 kg oven-dry; 3 kg at 8 % hold 2.760 kg.
    assert "455" in said(page)
    assert "3.40 kg" in said(page)
    assert "Short" in said(page)


@pytest.mark.parametrize(
    ("mass", "word"), [("3.7", "Just covered, left over"), ("9", "Covered, left over")]
)
def test_fibre_for_sheets_with_enough_at_hand(viewer_client, mass, word):
    asked = {
        **SHEETS, "sum": "takes", "wanted": "400", "mass": mass, "preparation_yield": "98",
    }  # fmt: skip
    assert word in [head.text for head in lines(look(viewer_client, "/bench/", **asked))]


def lines(page):
    """Return the row headers of the sums, without the reason under each."""
    found = []
    for place, element in enumerate(page.elements):
        if element.tag == "th":
            small = page.elements[place + 1]
            if small.tag == "small":
                element.text = element.text.removesuffix(small.text)
            found.append(element)
    return found


def test_dry_mass_from_a_sample(viewer_client):
    asked = {
        "sum": "dry", "wet": "100", "wet_unit": "g", "dry": "21.5", "dry_unit": "g",
        "whole": "6.8", "whole_unit": "kg",
    }  # fmt: skip
    page = look(viewer_client, "/bench/", **asked)
    # By hand: (100 − 21.5) / 100 is 78.5 %; 6.8 × 0.215 is 1.462 kg.
    assert "78.5 %" in said(page)
    assert "1.46 kg" in said(page)


def test_a_sample_drier_than_its_dish_is_refused_with_what_was_typed_kept(viewer_client):
    asked = {"sum": "dry", "wet": "100", "wet_unit": "g", "dry": "120", "dry_unit": "g"}
    page = look(viewer_client, "/bench/", **asked)
    assert page.one("input", id="id_dry_dry").attrs["value"] == "120"
    assert page.all("div", class_="faults")


def test_basis_weight_both_ways(viewer_client):
    page = look(viewer_client, "/bench/", sum="basis", weight="20 lb bond", weight_unit="g/m2")
    assert "75.2 g/m²" in said(page)
    page = look(viewer_client, "/bench/", sum="basis", weight="118.4", weight_unit="g/m2")
    assert "80.0 lb" in said(page)


@pytest.mark.parametrize(
    "typed",
    ["", "ten", "-5 kg", "1e400", "NaN", "∞", "5 m", "٣ kg", "9" * 10_000, "5 kg; drop", "\0"],
)
def test_bad_input_keeps_its_text_and_says_what_is_allowed(viewer_client, typed):
    page = look(viewer_client, "/bench/", **{**SHEETS, "mass": typed})
    assert page.one("input", id="id_sheets_mass").attrs["aria-invalid"] == "true"
    assert len(page.all("p", class_="fault")) == 1
    assert "2.5 kg" in page.one("p", class_="fault").text


@pytest.mark.parametrize(
    "changes",
    [
        {"moisture": "100"},
        {"preparation_yield": "0"},
        {"broke": "60", "retree": "50"},
        {"mould": "10 x 10 mm"},
        {"shrinkage_across": "100", "mould": "A3"},
        {"mass_unit": "stone"},
        {"retention": "0"},
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(viewer_client, changes):
    page = look(viewer_client, "/bench/", **{**SHEETS, **changes})
    assert page.all("div", class_="faults")
    assert "Not reckoned yet." in said(page)


def test_an_unknown_sum_shows_the_bench(viewer_client):
    assert look(viewer_client, "/bench/", sum="nothing")


def test_nothing_is_written_and_little_is_read(viewer_client):
    make_studio()
    look(viewer_client, "/bench/", **SHEETS)
    assert not Entry.objects.exists()
    assert not Commission.objects.exists()
    assert queries(viewer_client, "/bench/") <= 5


def test_pounds_and_inches_where_the_studio_measures_in_them(viewer_client):
    make_studio(units="US")
    page = look(viewer_client, "/bench/")
    assert "lb" in said(page)
    assert "in less" in said(page) or "11.69 in" in said(page)
