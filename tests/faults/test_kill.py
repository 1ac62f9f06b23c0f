"""A process that dies in mid-stroke leaves an entry whole or not at all."""

import pytest

from tests.builders import KG
from tests.faults.place import Place

pytestmark = pytest.mark.faults


def test_a_hundred_killed_writers_lose_nothing_that_was_acknowledged(place: Place):
    lot = place.run("prepare", as_is_mg=1000 * KG, moisture="0.08")["lot"]

    told = place.run("kill", lot=lot, rounds=50, writers=2, seed=4)

    assert told["kills"] == 100
    assert told["acknowledged"] >= 100
    assert told["lost"] == 0
    assert told["unsound"] == []
