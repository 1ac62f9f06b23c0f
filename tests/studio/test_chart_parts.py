"""Bars and gauges; and every drawing as the page prints it, with its figures as a table."""

from __future__ import annotations

import itertools
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st

from studio.charts import gauge, stacked
from tests.studio.pages import Page
from tests.studio.test_charts import KG, MINUS, abaca

# --- bars ---------------------------------------------------------------------------------------

COST = [
    ("Fibre", Decimal("0.11")),
    ("Hours", Decimal("1.37")),
    ("Broke recovered", Decimal("-0.03")),
    ("Nothing", Decimal(0)),
    ("Rooms", Decimal("0.52")),
]


def test_parts_fill_the_bar_in_proportion() -> None:
    # By hand: 0.11 + 1.37 + 0.52 = 2.00, so 5.5 %, 68.5 % and 26 %.
    bar = stacked(COST)
    assert [(part.label, part.x, part.width) for part in bar.drawn] == [
        ("Fibre", Decimal("0.00"), Decimal("5.50")),
        ("Hours", Decimal("5.50"), Decimal("68.50")),
        ("Rooms", Decimal("74.00"), Decimal("26.00")),
    ]


def test_parts_of_nothing_or_less_stay_in_the_table() -> None:
    bar = stacked(COST)
    assert [(part.label, part.figure, part.share) for part in bar.parts][2:4] == [
        ("Broke recovered", f"{MINUS}0.03", ""),
        ("Nothing", "0.00", ""),
    ]
    # By hand: 2.00 − 0.03 = 1.97.
    assert bar.total == "1.97"
    assert bar.desc.startswith("1.97 in all: fibre 0.11, hours 1.37, ")


def test_a_whole_of_nothing_has_no_parts_to_draw() -> None:
    assert stacked([("Fibre", Decimal(0))]).drawn == ()
    assert stacked([]).total == "0.00"


def test_eight_parts_look_different_and_more_start_again() -> None:
    bar = stacked([(str(number), Decimal(1)) for number in range(9)])
    assert [part.fill for part in bar.parts] == [1, 2, 3, 4, 5, 6, 7, 8, 1]
    assert len({part.code for part in bar.parts}) == 9


@given(st.lists(st.decimals("0.01", 1000, places=2), min_size=1, max_size=12))
def test_the_parts_of_a_bar_end_where_it_ends(values: list[Decimal]) -> None:
    drawn = stacked([("part", value) for value in values]).drawn
    last = drawn[-1]
    assert last.width is not None
    assert last.x + last.width == 100
    for one, other in itertools.pairwise(drawn):
        assert one.width is not None
        assert one.x + one.width == other.x


def test_a_gauge_shows_free_then_promised() -> None:
    # By hand: 14.62 kg on hand of which 10.78 promised: 3.84 / 14.62 of 136 px is 35.7 free;
    # the minimum, 5 kg, stands at 46.5.
    made = gauge(14_620_000, 10_780_000, 5_000_000)
    assert (made.free, made.laid, made.lack) == (Decimal("35.7"), Decimal("100.3"), 0)
    assert made.tick == Decimal("46.5")


def test_a_gauge_shows_what_is_missing() -> None:
    # By hand: 1.49 of 1.90 kg wanted is 106.7 of 136 px; the rest, 29.3, is missing.
    made = gauge(1_490_000, 1_900_000)
    assert (made.free, made.laid, made.lack) == (0, Decimal("106.7"), Decimal("29.3"))
    assert made.lack_from == Decimal("106.7")
    assert made.tick is None


def test_a_gauge_leaves_room_for_a_minimum_above_what_is_held() -> None:
    # By hand: 1 of 2 kg is half of 136 px; the minimum stands at the end, a pixel inside it.
    made = gauge(KG, 0, 2 * KG)
    assert (made.free, made.laid, made.lack, made.tick) == (68, 0, 0, 135)


@pytest.mark.parametrize(
    ("held", "promised", "minimum", "tick"),
    [(0, 0, None, None), (-5, 0, 0, None), (1, 0, 1000, Decimal(135)), (10**9, 0, 1, Decimal(1))],
)
def test_a_gauge_stays_on_its_paper(
    held: int, promised: int, minimum: int | None, tick: Decimal | None
) -> None:
    made = gauge(held, promised, minimum)
    assert 0 <= made.free + made.laid + made.lack <= 136
    assert made.tick == tick


# --- templates ----------------------------------------------------------------------------------


def draw(name: str, **context: Any) -> Page:
    page = Page(render_to_string(f"components/{name}.html", context))
    assert page.misnested == []
    names = {name for element in page.elements for name in element.attrs}
    assert not [name for name in names if name == "style" or name.startswith("on")]
    return page


@time_machine.travel("2026-11-25")
def test_a_stepped_chart_is_told_in_words_and_as_a_table() -> None:
    page = draw(
        "chart_stepped", chart=abaca(), id="abaca", title="Abaca in store", caption="Falls short."
    )
    assert page.one("figcaption").text == "Falls short."
    for kind in ("broad", "slim"):
        svg = page.one("svg", class_=kind)
        assert svg.attrs["role"] == "img"
        assert svg.attrs["aria-labelledby"] == f"abaca-{kind}-t abaca-{kind}-d"
        assert page.one("desc", id=f"abaca-{kind}-d").text == abaca().desc
    rows = [e.text for e in page.all("th", scope="row")]
    assert rows == ["Mon 2 Nov", "Mon 9 Nov", "Thu 26 Nov", "Thu 3 Dec", "Thu 3 Dec"]
    figures = [e.text for e in page.all("td", class_="n")]
    assert figures == ["1.82", "1.49", "0.02", f"{MINUS}0.41", f"{MINUS}0.41"]
    assert "details" in page.one("table").inside


def test_every_pattern_is_there_once_and_every_fill_finds_its_own() -> None:
    pages = [
        draw("chart_stepped", chart=abaca(), id="abaca", title="Abaca", desc="Own words."),
        draw("chart_bar", chart=stacked([(str(n), Decimal(1)) for n in range(9)]), id="cost"),
    ]
    for page in pages:
        ids = page.ids()
        assert len(ids) == len(set(ids))
        fills = {e.attrs["fill"] for e in page.elements if "fill" in e.attrs}
        patterns = {f"url(#{e.attrs['id']})" for e in page.all("pattern")}
        assert fills == patterns
        assert fills
    assert pages[0].all("desc")[0].text == "Own words."


def test_a_chart_in_no_need_of_lines_has_none() -> None:
    calm = draw("chart_stepped", chart=abaca(plan=[], dues=[], minimum_mg=None), id="a", title="A")
    assert calm.all("pattern") == []
    assert calm.all("path", class_="c-lack") == []


def test_figures_in_a_drawing_are_written_for_machines_in_every_language(settings: Any) -> None:
    settings.LANGUAGE_CODE = "de"
    page = draw("chart_stepped", chart=abaca(), id="abaca", title="Abaca")
    places = [e.attrs["x"] for e in page.all("text")]
    assert places
    assert not [place for place in places if "," in place]
    bar = draw("chart_bar", chart=stacked(COST), id="cost", title="Cost", unit="£")
    assert next(e.attrs["x"] for e in bar.all("rect") if "x" in e.attrs) == "0.00%"
    svg = draw("gauge", gauge=gauge(3, 2, 1), id="g")
    assert svg.all("rect")[0].attrs["width"] == "45.3"


def test_a_bar_is_told_in_words_and_as_a_table_with_keys() -> None:
    page = draw("chart_bar", chart=stacked(COST), id="cost", title="Cost", unit="£ per sheet")
    assert page.one("svg", class_="bar").attrs["role"] == "img"
    assert page.one("title", id="cost-t").text == "Cost"
    assert page.one("desc", id="cost-d").text == stacked(COST).desc
    names = [e.text.strip() for e in page.all("th", scope="row")]
    assert names == [*[label for label, _ in COST], "In all"]
    assert len(page.all("svg", class_="key")) == 3
    assert [e.text for e in page.all("td", class_="opens")] == [
        "0.11",
        "1.37",
        f"{MINUS}0.03",
        "0.00",
        "0.52",
        "1.97",
    ]


def test_a_bar_can_leave_its_figures_to_a_ledger_below() -> None:
    page = draw("chart_bar", chart=stacked(COST), id="cost", title="Cost", with_table=False)
    assert page.all("table") == []
    assert page.all("figcaption") == []


def test_a_gauge_prints_only_what_there_is() -> None:
    full = draw("gauge", gauge=gauge(1_490_000, 1_900_000, KG), id="g1")
    assert full.one("svg").attrs["aria-hidden"] == "true"
    assert full.one("pattern").attrs["id"] == "g1"
    assert len(full.all("rect", class_="g-lack")) == 1
    free = draw("gauge", gauge=gauge(5, 0), id="g2")
    assert free.all("pattern") == []
    assert free.all("path", class_="g-tick") == []


def test_the_legend_names_all_four_marks() -> None:
    page = draw("gauge_legend")
    assert [e.text for e in page.all("li")] == ["Free", "Promised", "Missing", "Minimum"]
