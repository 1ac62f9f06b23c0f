"""The chain of seals stays whole under many writers, and finds every edit of the file."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

import pytest

from tests.faults.conftest import SERVER
from tests.faults.place import Place, postgresql_database

pytestmark = pytest.mark.faults

PROCESSES, TIMES = 4, 15
EDITS = 105


def test_two_lots_moved_in_opposite_order_wait_for_each_other_and_keep_one_chain(place: Place):
    lots = place.run("two_lots")

    told = place.run_together(PROCESSES, "move_both", lots=lots, times=TIMES)

    assert sum(one["locked"] for one in told) == 0
    assert sum(one["done"] for one in told) == PROCESSES * TIMES
    # Two receipts; two lines of each act; of each fifth an issue, its contrary and the right one.
    movements = 2 + PROCESSES * TIMES * 2 + PROCESSES * TIMES // 5 * 3
    last = place.run("last_seal")
    assert (last["sealed"], last["faults"]) == (movements, [])
    assert place.unsound() == []


def test_a_hundred_edits_of_the_file_are_found_each_at_its_row(tmp_path: Path):
    found = Place(tmp_path).run("edit_offline", times=EDITS, seed=6)

    missed = [
        one for one in found if one["first"].split(" of ")[0] != f"movement {one['expected']}"
    ]
    assert missed == []
    assert set(Counter(one["kind"] for one in found).values()) == {7}


def test_a_studio_has_the_same_seals_after_the_way_to_another_database(
    place: Place, tmp_path: Path
):
    here, file = Place(tmp_path / "here"), str(tmp_path / "studio.zip")
    here.folder.mkdir()
    sealed = here.run("fill_and_take_out", path=file)

    assert place.run("bring_in", path=file) == sealed
    assert sealed["faults"] == []
    assert sealed["sealed"] > 30


@pytest.mark.skipif(not os.environ.get(SERVER), reason=f"{SERVER} names no PostgreSQL server")
def test_a_studio_has_the_same_seals_after_the_way_back(tmp_path: Path):
    here, file = Place(tmp_path / "here"), str(tmp_path / "studio.zip")
    here.folder.mkdir()
    with postgresql_database(os.environ[SERVER]) as url:
        sealed = Place(tmp_path, url).run("fill_and_take_out", path=file)

    assert here.run("bring_in", path=file) == sealed
    assert sealed["faults"] == []
