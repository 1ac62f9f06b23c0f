"""Turns in the dryer: by hand, and against a dryer that is looked at day by day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.dates import Capacity
from orders.calc.dryerturns import Load, Place, Turn, crowded, earliest, latest
from studio.errors import RangeError

FIRST = date(2027, 3, 1)


def on(number):
    """Return a day of March 2027."""
    return FIRST + timedelta(days=number - 1)


def loft(*, a_load=50, days="2", packing=0, name="Loft"):
    return Place(name, Capacity(a_load, Decimal(days), packing_days=packing))


def turn(ref, *, due, pulls=50, ready=1, priority=5, drying="loft", **more):
    return Turn(ref, priority, on(due), pulls, drying, ready=on(ready), **more)


def told(slots):
    """Return first pull and finish as days of March, and who is in the way."""
    return {
        ref: ((slot.first_pull - FIRST).days + 1, (slot.finished_on - FIRST).days + 1, slot.beside)
        for ref, slot in slots.items()
    }


# --- as soon as can be ---------------------------------------------------------------------------


def test_two_commissions_in_one_loft_do_not_dry_on_the_same_days():
    """By hand: 300 sheets, 50 a load, 2 days each, are 12 days; the next two loads come after."""
    found = earliest(
        [turn("B", due=30, pulls=100), turn("A", due=20, pulls=300)], {"loft": [loft()]}
    )
    assert told(found) == {"A": (1, 13, ""), "B": (13, 17, "A")}


def test_one_due_on_the_same_day_goes_by_rank():
    found = earliest([turn("A", due=20), turn("B", due=20, priority=1)], {"loft": [loft()]})
    assert told(found) == {"B": (1, 3, ""), "A": (3, 5, "B")}


def test_nobody_waits_for_one_whose_fibre_comes_later():
    found = earliest([turn("A", due=9, ready=2), turn("B", due=20, pulls=100)], {"loft": [loft()]})
    # B is in from the 1st to the 5th; A is due first, but its fibre was not there.
    assert told(found) == {"B": (1, 5, ""), "A": (5, 7, "B")}


def test_an_empty_dryer_is_not_waited_for():
    found = earliest([turn("A", due=9), turn("B", due=20, ready=6)], {"loft": [loft()]})
    assert told(found) == {"A": (1, 3, ""), "B": (6, 8, "")}


def test_other_ways_of_drying_are_not_in_the_way():
    found = earliest(
        [turn("A", due=9), turn("B", due=9, drying="restraint")],
        {"loft": [loft()], "restraint": [loft(name="Boards")]},
    )
    assert told(found) == {"A": (1, 3, ""), "B": (1, 3, "")}
    assert found["B"].dryer == "Boards"


def test_of_two_lofts_each_takes_one():
    found = earliest(
        [turn("A", due=9), turn("B", due=9), turn("C", due=9)],
        {"loft": [loft(), loft(name="Barn", days="3")]},
    )
    assert told(found) == {"A": (1, 3, ""), "B": (1, 4, ""), "C": (3, 5, "A")}


def test_cure_and_packing_do_not_keep_the_dryer():
    found = earliest(
        [turn("A", due=9, cure_days=7), turn("B", due=20)], {"loft": [loft(packing=1)]}
    )
    # Two days in the loft, seven to cure, one to pack; the loft is empty on the third day.
    assert told(found) == {"A": (1, 11, ""), "B": (3, 6, "A")}


def test_without_a_dryer_the_usual_days_are_counted():
    found = earliest([turn("A", due=9, usual_days=5)], {})
    assert (told(found), found["A"].days) == ({"A": (1, 6, "")}, None)


# --- as late as can be ---------------------------------------------------------------------------


def test_without_a_dryer_the_usual_days_are_counted_back():
    """By hand: five days before the 9th is the 4th."""
    found = latest([turn("A", due=9, usual_days=5)], {})
    assert (told(found), found["A"].days, found["A"].making_days) == ({"A": (4, 9, "")}, None, 5)


def test_room_is_made_for_the_one_that_is_due_later():
    """By hand: B is in from the 28th, so A has to be out by then: 12 days before is the 16th."""
    found = latest([turn("A", due=29, pulls=300), turn("B", due=30)], {"loft": [loft()]})
    assert told(found) == {"A": (16, 29, "B"), "B": (28, 30, "")}


def test_where_there_is_time_between_them_nobody_begins_earlier():
    found = latest([turn("A", due=20, pulls=300), turn("B", due=30)], {"loft": [loft()]})
    assert told(found) == {"A": (8, 20, ""), "B": (28, 30, "")}


def test_of_two_lofts_each_lets_one_begin_as_late_as_can_be():
    """By hand: two days in the loft or three in the barn; the third makes room in the loft."""
    found = latest(
        [turn("A", due=30), turn("B", due=30), turn("C", due=30)],
        {"loft": [loft(), loft(name="Barn", days="3")]},
    )
    # C is counted first, from the 28th in the loft; B from the 27th in the barn.
    assert told(found) == {"C": (28, 30, ""), "B": (27, 30, ""), "A": (26, 30, "C")}
    assert found["B"].dryer == "Barn"


def test_one_that_is_late_hurries_nobody_who_is_due_after_it():
    found = latest([turn("A", due=-40, priority=9), turn("B", due=30)], {"loft": [loft()]})
    assert told(found)["B"] == (28, 30, "")


def test_a_day_before_all_days_is_not_counted_back_from():
    found = latest([Turn("A", 5, date(1, 1, 2), 300, "loft", usual_days=9)], {"loft": [loft()]})
    assert found["A"].first_pull == date.min


def test_nothing_to_form_is_refused():
    with pytest.raises(RangeError, match="1 pull or more"):
        latest([turn("A", due=9, pulls=0)], {"loft": [loft()]})


# --- any studio ----------------------------------------------------------------------------------

STUDIOS = st.lists(
    st.tuples(st.integers(1, 30), st.integers(1, 200), st.integers(1, 12), st.integers(1, 3)),
    min_size=1,
    max_size=8,
)


def turns_of(told_of):
    return [
        turn(f"C{number}", due=due, pulls=pulls, ready=ready, priority=priority)
        for number, (due, pulls, ready, priority) in enumerate(told_of)
    ]


@given(STUDIOS)
def test_it_is_a_dryer_looked_at_day_by_day(told_of):
    turns, expected, empty_on, now = turns_of(told_of), {}, 1, 1
    while len(expected) < len(turns):
        if now >= empty_on:
            there = [one for one in turns if one.ref not in expected and one.ready <= on(now)]
            if there:
                goes_in = min(there, key=lambda one: (one.due, one.priority, one.ref))
                empty_on = now + 2 * -(-goes_in.pulls // 50)
                expected[goes_in.ref] = (now, empty_on)
        now += 1
    found = told(earliest(turns, {"loft": [loft()]}))
    assert {ref: days[:2] for ref, days in found.items()} == expected


@given(STUDIOS)
def test_latest_days_leave_time_for_all(told_of):
    turns = turns_of(told_of)
    found = latest(turns, {"loft": [loft()]})
    in_order = sorted(found.values(), key=lambda slot: slot.first_pull)
    ends = [slot.first_pull + timedelta(days=slot.days.days_to_dry) for slot in in_order]
    assert all(end <= slot.turn.due for end, slot in zip(ends, in_order, strict=True))
    assert all(end <= after.first_pull for end, after in zip(ends, in_order[1:], strict=False))


@given(STUDIOS)
def test_whoever_begins_by_the_latest_days_is_done_in_time(told_of):
    """If all have their fibre by their latest days, turn after turn all are ready when due."""
    turns = turns_of(told_of)
    by = latest(turns, {"loft": [loft()]})
    ready = [replace(one, ready=by[one.ref].first_pull) for one in turns]
    found = earliest(ready, {"loft": [loft()]})
    assert all(slot.finished_on <= slot.turn.due for slot in found.values())


# --- beside each other ---------------------------------------------------------------------------


def test_what_does_not_fit_in_together_is_named():
    own = Load("A", on(1), on(7), 100)
    others = [Load("C", on(6), on(9), 40), Load("B", on(2), on(4), 30), Load("D", on(7), on(9), 9)]
    # 100, 40 and 30 are 170; D goes in when A is dry.
    assert [load.ref for load in crowded(own, others, pulls_per_load=169)] == ["B", "C"]
    assert crowded(own, others, pulls_per_load=170) == ()


def test_a_making_takes_up_no_more_than_the_dryer_holds():
    own, other = Load("A", on(1), on(13), 300), Load("B", on(13), on(15), 300)
    assert crowded(own, [other], pulls_per_load=50) == ()
    assert crowded(own, [Load("B", on(12), on(14), 1)], pulls_per_load=50)
