"""The audit holds what came of a purchase against what was ordered, and names the row."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import call_command

from fibres import purchasing
from fibres.audit import arrival_faults, audit, read_arrivals
from fibres.models import Arrival, Lot, Purchase, PurchaseLine
from fibres.sealing import head
from tests.builders import day, make_fibre, make_offer, make_purchase, make_source

pytestmark = pytest.mark.django_db


def said() -> list[str]:
    return [str(fault) for fault in audit().faults]


def one_pack_of_three() -> tuple[Purchase, PurchaseLine, Arrival]:
    purchase = make_purchase(received=1)
    line = purchase.lines.get()
    return purchase, line, line.arrivals.get()


def test_what_the_acts_of_buying_write_has_no_fault():
    make_purchase(is_planned=True)
    make_purchase()
    source = make_source()
    make_purchase(make_offer(source=source), make_offer(source=source), received=3)
    part = make_purchase(received=2)
    purchasing.close(part, "Sold out", by=None)
    never = make_purchase()
    purchasing.close(never, "Sold out", by=None)
    found = audit()
    assert (found.arrivals, found.faults) == (3, [])


def test_lot_of_another_source_or_fibre_is_found():
    purchase, _, arrival = one_pack_of_three()
    name = f"receipt {arrival.pk} of {purchase.ref}: became {arrival.lot.ref}, which is"
    Lot.objects.update(source=make_source())
    assert said() == [f"{name} from another source"]
    Lot.objects.update(source=purchase.source, fibre=make_fibre())
    assert said() == [f"{name} another fibre"]


def test_receipt_without_its_lot_is_found():
    one_pack_of_three()
    (row,) = read_arrivals()
    assert list(arrival_faults(row)) == []
    assert list(arrival_faults(row._replace(lot=None))) == ["became a lot that is not there"]


def test_packs_received_that_are_not_those_of_the_receipts_are_found():
    purchase, line, _ = one_pack_of_three()
    PurchaseLine.objects.update(packs_received=2)
    assert said() == [
        f"line {line.pk} of {purchase.ref}: has 2 packs received and 1 by its receipts"
    ]


def test_more_packs_by_receipts_than_ordered_are_found():
    purchase, line, _ = one_pack_of_three()
    Arrival.objects.update(packs=4)
    name = f"line {line.pk} of {purchase.ref}"
    assert said() == [
        f"{name}: has 1 packs received and 4 by its receipts",
        f"{name}: is of 3 packs, and 4 came by its receipts",
    ]


def test_receipts_whose_price_is_not_that_of_the_packs_are_found_without_naming_it():
    purchase, line, arrival = one_pack_of_three()
    # By hand: a pack is 5 kg at 9.40, 47.00.
    assert arrival.goods_minor == 4700
    Arrival.objects.update(goods_minor=4701)
    assert said() == [
        f"line {line.pk} of {purchase.ref}: has receipts whose prices do not add up to that of "
        "the packs that came"
    ]


@pytest.mark.parametrize(
    ("received", "state"),
    [
        (1, Purchase.State.PLANNED),
        (1, Purchase.State.ORDERED),
        (1, Purchase.State.RECEIVED),
        (3, Purchase.State.PART_RECEIVED),
        (3, Purchase.State.CLOSED),
        (0, Purchase.State.PART_RECEIVED),
        (0, Purchase.State.RECEIVED),
    ],
)
def test_state_that_what_came_belies_is_found(received, state):
    purchase = make_purchase(received=received)
    Purchase.objects.update(state=state, ordered_on=day(20), expected_on=day(5))
    assert said() == [f"purchase {purchase.ref}: is {state}, which its {received} packs belie"]


def test_the_command_tells_of_receipts_once_there_are_some():
    make_purchase(received=1)
    out = StringIO()
    call_command("audit", stdout=out)
    assert out.getvalue() == (
        "1 lot, 1 movement: every balance is the sum of its movements. 1 receipt of what was "
        "ordered: every one is a lot, and no pack is counted twice. "
        f"The last seal is {head().noted}. Note it down: audit --seal proves this state.\n"
    )


@pytest.mark.parametrize("purchases", [1, 12])
def test_receipts_are_read_in_one_query(purchases, django_assert_num_queries):
    for _ in range(purchases):
        make_purchase(received=1)
    with django_assert_num_queries(1):
        assert len(list(read_arrivals())) == purchases
