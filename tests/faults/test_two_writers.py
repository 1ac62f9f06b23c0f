"""Many processes at one lot: nothing is refused without cause, lost, or given out twice."""

import pytest

from tests.builders import KG
from tests.faults.place import Place

pytestmark = pytest.mark.faults

PROCESSES, TIMES = 8, 500


def test_eight_processes_move_one_lot_without_loss(place: Place):
    lot = place.run("prepare", as_is_mg=100 * KG, moisture="0.08")["lot"]

    told = place.run_together(PROCESSES, "take", lot=lot, times=TIMES, most_mg=20_000)

    assert sum(one["locked"] for one in told) == 0
    assert sum(one["done"] for one in told) == PROCESSES * TIMES
    assert place.value("SELECT COUNT(*) FROM fibres_movement") == PROCESSES * TIMES + 1
    # 100 kg as is at 8 % moisture is 92 kg oven-dry.
    left = 92 * KG - sum(one["oven_dry_mg"] for one in told)
    assert place.value("SELECT oven_dry_mg FROM fibres_lot") == left
    assert place.unsound() == []


def test_a_thousand_units_go_to_exactly_a_thousand_takers(place: Place):
    unit_mg = 1000
    lot = place.run("prepare", as_is_mg=1000 * unit_mg, moisture="0")["lot"]

    told = place.run_together(
        PROCESSES, "take", lot=lot, times=TIMES, least_mg=unit_mg, most_mg=unit_mg
    )

    assert sum(one["done"] for one in told) == 1000
    assert sum(one["short"] for one in told) == PROCESSES * TIMES - 1000
    assert place.value("SELECT oven_dry_mg FROM fibres_lot") == 0
    assert place.unsound() == []
