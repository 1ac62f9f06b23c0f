"""Several people log one making: no tap is lost or counted twice, also while it is finished."""

import pytest

from tests.faults.place import Place

pytestmark = pytest.mark.faults

PROCESSES, TIMES = 4, 25
COUNTED = ("pulls", "good", "retree", "broke")


def counted(place: Place) -> dict[str, int]:
    columns = ", ".join(f"SUM({name})" for name in COUNTED)
    (row,) = place.rows(f"SELECT {columns} FROM orders_post")
    return dict(zip(COUNTED, map(int, row), strict=True))


def test_no_tap_of_four_people_is_lost_or_counted_twice(place: Place):
    made = place.run("at_the_vat")

    told = place.run_together(PROCESSES, "tap", making=made["making"], times=TIMES)

    assert counted(place) == {name: sum(one[name] for one in told) for name in COUNTED}
    assert sum(counted(place).values()) == PROCESSES * TIMES
    # Each was sent twice, and its second sending was known for what it was.
    assert sum(one["repeated"] for one in told) == PROCESSES * TIMES
    entries = place.value("SELECT COUNT(*) FROM studio_entry WHERE act = 'tap'")
    assert entries == PROCESSES * TIMES


def test_four_people_finish_it_once_and_every_tap_taken_is_in_the_book(place: Place):
    made = place.run("at_the_vat")

    told = place.run_together(PROCESSES, "tap_and_finish", making=made["making"], times=TIMES)

    assert sum(one["finished"] for one in told) == 1
    taken = {name: sum(one[name] for one in told) for name in COUNTED}
    assert counted(place) == taken
    made_sheets = dict(
        place.rows("SELECT quality, SUM(sheets) FROM orders_sheetmovement GROUP BY quality")
    )
    assert made_sheets == {"good": taken["good"], "retree": taken["retree"]}
    assert place.value("SELECT COUNT(*) FROM fibres_movement WHERE kind = 'issued'") == 1
    assert sum(one["refused"] for one in told) > 0
    assert place.unsound() == []
