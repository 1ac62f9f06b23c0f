"""Drawings: lines where the figures are, words that hide nothing, the same figures as a table."""

from __future__ import annotations

import datetime
import itertools
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.charts import Scale, Stepped, stepped, ticks
from studio.charts.labels import Board, Text, line_boxes
from studio.charts.stepped import Drawing

NB = "\u00a0"
MINUS = "\u2212"
KG = 1_000_000
D = datetime.date
TODAY = D(2026, 11, 25)


def abaca(**changes: Any) -> Stepped:
    """Draw a fibre that falls under its minimum and then short."""
    told: dict[str, Any] = {
        "points": [(D(2026, 11, 2), 1_820_000), (D(2026, 11, 9), 1_490_000)],
        "plan": [(D(2026, 11, 26), 20_000), (D(2026, 12, 3), -410_000)],
        "today": TODAY,
        "minimum_mg": KG,
        "dues": [(D(2026, 12, 3), "C-118", True)],
        **changes,
    }
    return stepped(told.pop("points"), told.pop("plan"), told.pop("today"), **told)


def said(drawing: Drawing, kind: str = "") -> list[str]:
    return [text.words for text in drawing.texts if text.kind == kind or not kind]


def paths(drawing: Drawing, kind: str) -> list[str]:
    return [stroke.d for stroke in (*drawing.under, *drawing.over) if stroke.kind == kind]


# --- scales -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "count", "expected"),
    [
        # By hand: the step is the first of 1, 2, 5 with noughts that is not under span / count.
        ("0", "14.62", 3, "0 5 10 15"),
        ("0", "20", 2, "0 10 20"),
        ("0", "1.5", 3, "0 0.5 1 1.5"),
        ("-0.41", "1.82", 3, "0 1 2"),
        ("-3", "4", 3, "0 5"),
        ("0", "0.0003", 3, "0 0.0001 0.0002 0.0003"),
        ("0", "4300", 3, "0 2000 4000 6000"),
        ("0", "0", 3, "0 0.5 1"),
        ("-2", "-2", 1, "-2 -1"),
    ],
)
def test_ticks_are_round_and_reach_the_top(low: str, high: str, count: int, expected: str) -> None:
    assert ticks(Decimal(low), Decimal(high), count) == [Decimal(t) for t in expected.split()]


@given(st.decimals(-1000, 1000, places=3), st.decimals(0, 5000, places=3), st.integers(1, 6))
def test_ticks_lie_in_the_range_but_for_the_top_one(
    low: Decimal, span: Decimal, count: int
) -> None:
    made = ticks(low, low + span, count)
    assert low <= made[0]
    assert made[-1] >= low + span
    assert len(made) <= count + 2
    assert len({b - a for a, b in itertools.pairwise(made)}) <= 1


def test_a_scale_sets_figures_to_a_tenth() -> None:
    # By hand: 14.62 of 20 is 0.731 of the way from 216 up to 52, so 216 − 0.731 × 164 = 96.1.
    up = Scale(Decimal(0), Decimal(20), 216, 52)
    assert [up(Decimal(0)), up(Decimal(20)), up(Decimal("14.62"))] == [216, 52, Decimal("96.1")]


# --- the stepped balance ------------------------------------------------------------------------


def test_the_line_stands_where_the_figures_are() -> None:
    # By hand, broad: from Monday 2 Nov (day 0) to the 7 days after 3 Dec (31 days; a ninth of
    # them is 3, so the least, 4, is taken): 35 days on 698 px from 46. Upwards the ticks end at
    # 2; below there is a twentieth of 2.41 under −0.41: from −0.5305 to 2 on 164 px from 216.
    drawing = abaca().broad
    held, plan = paths(drawing, "c-held")[0], paths(drawing, "c-plan")[0]
    assert held == "M46.0 63.7H185.6V85.1H504.7"
    assert plan == "M504.7 85.1H524.6V180.3H664.2V208.2H744.0"


def test_both_drawings_have_the_marks_of_the_look() -> None:
    for drawing, width in zip(abaca().drawings, (760, 340), strict=True):
        kinds = [stroke.kind for stroke in drawing.over]
        assert kinds == ["c-axis", "c-min", "c-held", "c-plan", "c-axis", "c-due"]
        assert {stroke.kind for stroke in drawing.under} == {"c-chain"}
        assert (drawing.width, drawing.height) == (width, 250)
        assert [sheet.is_short for sheet in drawing.sheets] == [True]


def test_the_words_on_the_drawing_tell_what_matters() -> None:
    drawing = abaca().broad
    assert said(drawing, "c-o") == ["C-118, short", f"{MINUS}0.41"]
    assert said(drawing, "c-w") == ["1.49"]
    assert set(said(drawing, "c-t")) >= {"kg", "Today", "Minimum 1", "0", "1", "2", "2 Nov"}


def test_what_lies_under_the_minimum_is_lined_from_the_day_it_does() -> None:
    assert abaca().broad.lack.count("Z") == 2
    enough = abaca(plan=[(D(2026, 12, 1), 5 * KG)], dues=[])
    assert enough.broad.lack == ""
    # Under the minimum already today, with nothing planned.
    low = abaca(plan=[], minimum_mg=2 * KG)
    assert low.broad.lack.count("Z") == 1


def test_without_a_minimum_what_lies_under_nothing_is_lined() -> None:
    drawing = abaca(minimum_mg=None).broad
    assert drawing.lack.count("Z") == 1
    assert paths(drawing, "c-min") == []
    assert not [text for text in said(drawing) if text.startswith("Minimum")]


def test_two_plans_on_one_day_leave_no_area_between_them() -> None:
    twice = [(D(2026, 11, 26), 20_000), (D(2026, 11, 26), 10_000)]
    assert abaca(plan=twice, dues=[]).broad.lack.count("Z") == 1


def test_a_wet_lot_shows_how_long_it_keeps() -> None:
    chart = abaca(dues=[], minimum_mg=None, keep_until=D(2026, 12, 3))
    assert "Keep until 3 Dec" in said(chart.broad, "c-w")
    assert "Keep until 3 Dec" in said(chart.slim, "c-w")
    assert [sheet.is_short for sheet in chart.broad.sheets] == [False]


def test_what_is_held_after_today_and_planned_before_it_is_brought_to_today() -> None:
    late = stepped([(D(2026, 12, 24), KG)], [(D(2026, 11, 1), 2 * KG)], TODAY)
    assert [(row.day, row.figure, row.words) for row in late.rows] == [
        (TODAY, "0.00", "In store"),
        (TODAY, "2.00", "Planned"),
    ]


def test_a_store_that_was_always_empty_can_be_drawn() -> None:
    empty = stepped([], [], TODAY)
    assert said(empty.broad, "c-w") == ["0.00"]
    assert empty.broad.lack == ""


def test_pounds_and_grams_can_be_drawn() -> None:
    # NIST SP 811 (2008), B.8: 1 lb = 4.535 924 E-01 kg; so 10 lb are 4 535 924 mg.
    pounds = stepped([(TODAY, 4_535_924)], [], TODAY, unit="lb", minimum_mg=4_535_924)
    assert "10.00" in said(pounds.broad)
    assert "Minimum 10" in said(pounds.broad)
    assert "lb" in said(pounds.broad)
    assert "7.04" in said(stepped([(TODAY, 7_040)], [], TODAY, unit="g").broad)


def test_a_due_day_before_the_drawing_is_told_by_the_table_alone() -> None:
    chart = abaca(dues=[(D(2026, 10, 1), "C-090", True)], keep_until=D(2026, 10, 2))
    assert chart.broad.sheets == ()
    assert [(row.figure, row.words) for row in chart.rows[:2]] == [
        ("0.00", "C-090 due, falls short"),
        ("0.00", "Keep until"),
    ]


def test_commissions_due_on_one_day_share_a_sheet() -> None:
    day = D(2026, 12, 3)
    chart = abaca(dues=[(day, "C-121", False), (day, "C-118", True)], keep_until=day)
    assert len(chart.broad.sheets) == 1
    assert said(chart.broad, "c-o")[0] == "C-118, C-121, short, Keep until 3 Dec"


def test_words_over_neighbouring_due_days_stand_on_their_own_side() -> None:
    dues = [(D(2026, 12, 3), "C-118", False), (D(2026, 12, 4), "C-119", False)]
    for drawing in abaca(dues=dues, plan=[(D(2027, 1, 30), KG)]).drawings:
        first, second = (
            next(text for text in drawing.texts if text.words == ref) for ref in ("C-118", "C-119")
        )
        assert (first.anchor, second.anchor) == ("end", "start")


def test_a_due_day_between_two_close_ones_has_no_room_for_words() -> None:
    dues = [(D(2026, 12, day), f"C-{day}", False) for day in (3, 4, 5)]
    assert [text for text in said(abaca(dues=dues).slim, "c-w") if text.startswith("C-")] == [
        "C-3",
        "C-5",
    ]


def test_dates_carry_their_year_on_a_long_drawing() -> None:
    long = stepped([(D(2026, 1, 5), KG)], [(D(2027, 6, 1), KG)], TODAY)
    assert said(long.broad)[0:1] == ["kg"]
    assert "5 Jan 2026" in said(long.broad)
    assert len(paths(long.broad, "c-chain")) <= 10


def test_the_last_date_is_not_cut_off() -> None:
    # By hand: from Monday 9 Nov, 24 days to 3 Dec and 4 more end on 7 Dec, a Monday.
    chart = stepped([(D(2026, 11, 12), KG)], [], TODAY, keep_until=D(2026, 12, 3))
    last = next(text for text in chart.broad.texts if text.words == "7 Dec")
    assert (last.x, last.anchor) == (Decimal(760), "end")


def test_the_description_says_what_the_drawing_shows() -> None:
    assert abaca(keep_until=D(2026, 12, 9)).desc == (
        f"From 1.82{NB}kg on 2 Nov to 1.49{NB}kg today. "
        f"Planned to be {MINUS}0.41{NB}kg from 3 Dec. "
        f"The minimum is 1.00{NB}kg, and it falls below that on 26 Nov. "
        "C-118 is due on 3 Dec, and the store falls short of it. To be used by 9 Dec."
    )
    calm = abaca(plan=[], dues=[(D(2026, 12, 3), "C-118", False)])
    assert "falls" not in calm.desc
    assert "Planned" not in calm.desc


def labels(drawing: Drawing) -> list[str]:
    return [text.words for text in drawing.texts if text.words.startswith("C-")]


def test_a_label_for_which_there_is_no_room_is_left_out_and_its_line_stays() -> None:
    # By hand: from Monday 2 Nov to 5 days after 17 Dec are 50 days. On 698 px four of them are
    # 56 px, in which 5 letters of 8 px stand between two sheets; on 284 px they are 23 px, and
    # only what is left of the first sheet is free: 40 px from the last would end at 351 of 340.
    dues = [(D(2026, 12, day), f"C-1{day:02}", False) for day in (1, 5, 9, 13, 17)]
    chart = abaca(dues=dues, plan=[], minimum_mg=None)
    assert labels(chart.broad) == ["C-101", "C-105", "C-109", "C-113", "C-117"]
    assert labels(chart.slim) == ["C-101"]
    # Line, sheet and table tell of those without a label too.
    assert len(chart.slim.sheets) == len(paths(chart.slim, "c-due")) == 5
    assert [row.words for row in chart.rows[-5:]] == [f"{ref} due" for _, ref, _ in dues]


def test_what_falls_short_has_its_label_however_close_others_lie() -> None:
    dues = [(D(2026, 12, day), f"C-1{day:02}", day in (3, 4, 5)) for day in (2, 3, 4, 5, 6)]
    for drawing in abaca(dues=dues, plan=[], minimum_mg=None).drawings:
        assert said(drawing, "c-o") == ["C-103, short", "C-104, short", "C-105, short"]
        short = [text for text in drawing.texts if text.kind == "c-o"]
        # On the slim drawing a day is so narrow that only the first two are free of each other.
        free = short if drawing.kind == "broad" else short[:2]
        assert not any(overlap(*two) for two in itertools.combinations(free, 2))


def test_many_that_fall_short_on_one_day_are_counted_where_they_do_not_fit() -> None:
    dues = [(D(2026, 12, 3), f"C-10{number}", True) for number in range(9)]
    chart = abaca(dues=dues, plan=[], minimum_mg=None)
    assert said(chart.slim, "c-o") == ["C-100 + 8, short"]
    assert "C-108 is due on 3 Dec" in chart.desc


def test_no_label_lies_over_the_unit_of_the_axis() -> None:
    start = D(2026, 11, 23)
    for words in ("C-1", "C-118", "C-1184-2"):
        for is_short in (True, False):
            dues = [(start, words, is_short), (D(2026, 11, 24), "C-9", False)]
            for drawing in abaca(points=[(start, KG)], dues=dues).drawings:
                unit = next(text for text in drawing.texts if text.words == "kg")
                others = [text for text in drawing.texts if text is not unit]
                assert not any(overlap(unit, other) for other in others)


dates = st.dates(D(2026, 9, 1), D(2027, 4, 1))
masses = st.integers(-30 * KG, 60 * KG)
stories = st.fixed_dictionaries(
    {
        "points": st.lists(st.tuples(dates, masses), max_size=12),
        "plan": st.lists(st.tuples(dates, masses), max_size=8),
        "minimum_mg": st.none() | st.integers(0, 20 * KG),
        "dues": st.lists(st.tuples(dates, st.sampled_from(["C-9", "C-1184"]), st.booleans())),
        "keep_until": st.none() | dates,
    }
)


@settings(max_examples=60, deadline=None)
@given(stories)
def test_no_words_are_cut_off_and_those_that_may_stay_out_hide_none(story: Any) -> None:
    for drawing in abaca(**story).drawings:
        for text in drawing.texts:
            assert text.left >= 0
            assert text.right <= drawing.width
            assert 0 < text.y <= drawing.height
        bold = [text for text in drawing.texts if text.kind != "c-t"]
        for one, other in itertools.combinations(bold, 2):
            # What falls short is never left out, however many days of it lie close.
            both_short = one.words.endswith("short") and other.words.endswith("short")
            assert both_short or not overlap(one, other), (one, other)


def overlap(one: Text, other: Text) -> bool:
    a, b = one.box, other.box
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_words_go_where_no_line_is_before_they_go_over_one() -> None:
    board = Board(100, lines=line_boxes("M0 20H60V80"))
    board.write(
        "c-t", "kozo", [(Decimal(0), Decimal(24), "start"), (Decimal(0), Decimal(60), "start")]
    )
    assert board.texts[0].y == 60


def test_words_that_must_be_there_go_over_others_when_there_is_no_other_place() -> None:
    board = Board(100, texts=[Text("c-t", Decimal(0), Decimal(20), "start", "abaca")])
    here = [(Decimal(2), Decimal(20), "start")]
    board.write("c-w", "kozo", here, may_be_left_out=True)
    assert [text.words for text in board.texts] == ["abaca"]
    board.write("c-w", "kozo", here)
    assert [text.words for text in board.texts] == ["abaca", "kozo"]
    board.write("c-w", "flax", [])
    assert len(board.texts) == 2


def test_a_path_covers_its_level_and_upright_lines() -> None:
    half = Decimal("1.5")
    assert line_boxes("M10 20H30V5H20") == [
        (10, 20 - half, 30, 20 + half),
        (30 - half, 5, 30 + half, 20),
        (20, 5 - half, 30, 5 + half),
    ]
