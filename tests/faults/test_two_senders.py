"""Many processes send the same sheets at once: no sheet leaves twice, no client gets too many."""

import pytest

from tests.faults.place import Place

pytestmark = pytest.mark.faults

PROCESSES, TIMES = 4, 25
SENT = "SELECT -SUM(sheets) FROM orders_sheetmovement WHERE kind = 'sent'"
IN_HAND = "SELECT SUM(sheets) FROM orders_sheetmovement"


@pytest.mark.parametrize(("good", "wanted"), [(100, 1000), (1000, 100)])
def test_sheets_leave_once_whoever_sends_them(place: Place, good: int, wanted: int):
    made = place.run("lay_out", good=good, wanted=wanted)

    told = place.run_together(PROCESSES, "send_sheets", **made, times=TIMES)

    # More is tried than lies there, or than the client takes; the last try may be too many by
    # one or two.
    assert sum(one["locked"] for one in told) == 0
    assert sum(one["refused"] for one in told) > 0
    sent = sum(one["sent"] for one in told)
    assert sent == place.value(SENT) == place.value(IN_HAND) * -1 + good
    assert min(good, wanted) - 2 <= sent <= min(good, wanted)
    state = place.value("SELECT state FROM orders_commission")
    assert state == ("sent" if sent >= wanted else "agreed")
    assert place.unsound() == []
