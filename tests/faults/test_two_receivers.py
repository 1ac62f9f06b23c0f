"""Many processes receive the same order at once: no pack comes twice, no price is lost."""

import pytest

from tests.faults.place import Place

pytestmark = pytest.mark.faults

PROCESSES, TIMES = 4, 40
PACKS, FREIGHT = 100, 12_345


def test_packs_of_one_line_come_once_whoever_receives_them(place: Place):
    made = place.run("order", packs=PACKS, freight_minor=FREIGHT)

    told = place.run_together(PROCESSES, "receive_packs", purchase=made["purchase"], times=TIMES)

    # More is tried than was ordered; whatever is left over at the end was too much by one.
    came = place.value("SELECT packs_received FROM fibres_purchaseline")
    assert came == sum(one["packs"] for one in told) == PACKS
    assert sum(one["refused"] for one in told) > 0
    assert place.value("SELECT SUM(packs) FROM fibres_arrival") == PACKS
    assert place.value("SELECT state FROM fibres_purchase") == "received"
    paid = place.value("SELECT SUM(paid_minor) FROM fibres_lot")
    assert paid == made["goods_minor"] + FREIGHT
    # A pack of 5 kg at 8 % moisture is 4.6 kg oven-dry.
    assert place.value("SELECT SUM(oven_dry_mg) FROM fibres_lot") == PACKS * 4_600_000
    assert place.unsound() == []
