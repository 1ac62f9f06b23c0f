"""Columns in parts and bars either way, and how a page prints them."""

from __future__ import annotations

from decimal import Decimal

from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st

from studio.charts import columns, swings
from tests.studio.pages import Page

NAMES = ("The sheet", "Set-up", "Left over")


def money(*figures: str) -> list[Decimal]:
    return [Decimal(figure) for figure in figures]


LADDER = [("10", money("1", "2", "1")), ("100", money("1", "0.5", "0.5"))]


def test_parts_stand_on_one_another_in_proportion() -> None:
    # By hand: 4.00 takes the 180 from the foot at 206 up to 26; 1.00 is 45.
    first = columns(LADDER, NAMES).broad.boxes[:3]
    assert [(box.y, box.height) for box in first] == [
        (Decimal("161.0"), Decimal("45.0")),
        (Decimal("71.0"), Decimal("90.0")),
        (Decimal("26.0"), Decimal("45.0")),
    ]


def test_the_figure_over_a_column_is_the_sum_of_its_parts() -> None:
    chart = columns(LADDER, NAMES)
    assert [text.words for text in chart.broad.texts] == ["4.00", "10", "2.00", "100"]
    assert chart.desc == "From the foot up: The sheet, Set-up, Left over. 10: 4.00; 100: 2.00."


def test_a_part_below_nothing_is_drawn_as_nothing() -> None:
    boxes = columns([("10", money("2", "-1"))], ("One", "Two")).slim.boxes
    assert [box.height for box in boxes] == [Decimal("180.0"), Decimal("0.0")]


def test_figures_that_would_run_into_one_another_are_left_to_the_table() -> None:
    many = [(str(number), money("123456.78")) for number in range(12)]
    assert not any(text.kind == "c-w" for text in columns(many, ("One",)).slim.texts)
    assert columns([], ()).broad.boxes == ()


def test_bars_reach_from_the_low_to_the_high_figure() -> None:
    # By hand: 4 to 8 over 72 to 688, so 5 is at 226 and 7 at 534.
    chart = swings(
        [("Minutes", Decimal(4), Decimal(8)), ("Culls", Decimal(7), Decimal(5))], Decimal(6)
    )
    assert [(box.x, box.width) for box in chart.broad.boxes] == [
        (Decimal("72.0"), Decimal("616.0")),
        (Decimal("226.0"), Decimal("308.0")),
    ]
    assert chart.desc == "6.00 in the middle; Minutes 4.00 to 8.00; Culls 5.00 to 7.00."


def test_bars_that_reach_nowhere_still_show() -> None:
    chart = swings([("Nothing", Decimal(1), Decimal(1))], Decimal(1))
    assert [box.width for box in chart.broad.boxes] == [1]


def test_six_bars_are_drawn_and_the_rest_left_to_the_table() -> None:
    rows = [(str(number), Decimal(1), Decimal(2)) for number in range(9)]
    assert len(swings(rows, Decimal(1)).slim.boxes) == 6


def test_words_wider_than_the_paper_are_cut() -> None:
    (text, *_) = swings(
        [("Price of " + "fibre " * 20, Decimal(1), Decimal(2))], Decimal(1)
    ).slim.texts
    assert text.words.endswith("…")
    assert text.right <= 340


@given(
    parts=st.lists(
        st.lists(st.decimals("-100", "10000", places=2), min_size=2, max_size=2),
        min_size=1,
        max_size=8,
    )
)
def test_nothing_is_drawn_off_the_paper(parts: list[list[Decimal]]) -> None:
    rows = [(str(number), part) for number, part in enumerate(parts)]
    for drawing in columns(rows, ("One", "Two")).drawings:
        for box in drawing.boxes:
            assert box.x >= 0
            assert box.x + box.width <= drawing.width
            assert box.y >= 0
            assert box.y + box.height <= drawing.height
    bars = [(str(number), *part) for number, part in enumerate(parts)]
    for drawing in swings(bars, parts[0][0]).drawings:
        for box in drawing.boxes:
            assert 0 <= box.x <= drawing.width
            assert box.x + box.width <= drawing.width


def test_the_page_names_and_describes_each_drawing_and_repeats_no_id() -> None:
    html = render_to_string(
        "components/chart_columns.html",
        {"chart": columns(LADDER, NAMES), "id": "ladder", "title": "Price at several numbers"},
    )
    page = Page(html)
    pictures = [svg for svg in page.all("svg") if svg.attrs.get("role") == "img"]
    assert len(pictures) == 2
    assert [one.text for one in page.all("title")] == ["Price at several numbers"] * 2
    assert all("From the foot up" in one.text for one in page.all("desc"))
    ids = page.ids()
    assert sorted(ids) == sorted(set(ids))
    assert "style=" not in html
    for picture in pictures:
        assert set(picture.attrs["aria-labelledby"].split()) <= set(ids)
    for name in NAMES:
        assert name in page.one("ul").text
