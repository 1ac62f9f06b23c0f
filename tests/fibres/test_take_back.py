"""A receipt that is taken back gives its packs back to the order, and their price."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fibres import purchasing, queries, services
from fibres.audit import audit
from fibres.models import Arrival, Lot, Purchase
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import KG, day, make_lot, make_purchase
from tests.fibres.buying import at, received, state_of, two_lines
from tests.fibres.pages import see, send, told

pytestmark = pytest.mark.django_db


def take_back(lot: Lot, *, as_is_mg: int = 0) -> None:
    """Correct the receipt of a lot, to nothing where no mass is given."""
    receipt = lot.movements.get(kind="received", reversed_by=None)
    services.correct(receipt, as_is_mg=as_is_mg, happened_on=day(), why="Not ours", by=None)


def packs_in(purchase: Purchase) -> list[int]:
    return [line.packs_received for line in purchase.lines.all()]


def faults() -> list[str]:
    return [str(fault) for fault in audit().faults]


def test_whole_order_taken_back_is_on_its_way_again():
    purchase = make_purchase(received=3)
    ahead = queries.on_its_way_by_fibre
    assert (state_of(purchase), ahead()) == ("received", {})
    lot = Lot.objects.get()
    take_back(lot)
    assert (state_of(purchase), packs_in(purchase)) == ("ordered", [0])
    # By hand: 15 kg at 8 % is 13.8 kg oven-dry; goods 141.00 and freight 10.00.
    assert ahead() == {lot.fibre_id: 13_800_000}
    assert [one.paid_minor for one in queries.packs_to_come()] == [15_100]
    lot.refresh_from_db()
    assert (lot.oven_dry_mg, lot.paid_minor) == (0, 0)
    assert (audit().arrivals, faults()) == (0, [])
    said = Entry.objects.latest("pk").said
    assert said == f"Corrected received of {lot.ref}, 3 packs of P-001 are to come again: Not ours"


def test_one_of_two_receipts_taken_back_leaves_the_order_part_received():
    purchase = two_lines()
    first, second = received(purchase, 3, 3)
    take_back(second)
    assert (state_of(purchase), packs_in(purchase)) == ("part received", [3, 0])
    assert list(queries.on_its_way_by_fibre()) == [second.fibre_id]
    assert faults() == []
    assert Lot.objects.get(pk=first.pk).oven_dry_mg == first.oven_dry_mg


def test_packs_taken_back_are_received_again_and_no_unit_of_the_price_is_lost():
    purchase = make_purchase()
    lots = [received(purchase, 1)[0] for _ in range(3)]
    # By hand: a pack is 47.00, and the freight of 10.00 ends at 3.33, 6.67 and 10.00.
    assert [lot.paid_minor for lot in lots] == [5033, 5034, 5033]
    take_back(lots[0])
    assert (state_of(purchase), packs_in(purchase)) == ("part received", [2])
    # Those that stand bear the first two thirds, as if the first had never come.
    paid = {lot.ref: lot.paid_minor for lot in Lot.objects.all()}
    assert [paid[lot.ref] for lot in lots] == [0, 5033, 5034]
    assert faults() == []
    received(purchase, 1)
    assert state_of(purchase) == "received"
    assert sum(Lot.objects.values_list("paid_minor", flat=True)) == 15_100
    assert (audit().arrivals, faults()) == (3, [])


def test_price_that_was_put_right_since_keeps_what_was_changed():
    purchase = make_purchase()
    first, second, third = (received(purchase, 1)[0] for _ in range(3))
    Lot.objects.filter(pk=second.pk).update(paid_minor=5034 - 500)
    Lot.objects.filter(pk=third.pk).update(paid_minor=None)
    take_back(first)
    paid = list(Lot.objects.order_by("pk").values_list("paid_minor", flat=True))
    # By hand: the second bears a unit of the freight less; of the third no price is known.
    assert paid == [0, 5033 - 500, None]


def test_what_is_taken_back_of_a_closed_purchase_is_given_up():
    purchase = make_purchase(received=2)
    purchasing.close(purchase, "Sold out", by=None)
    take_back(Lot.objects.get())
    assert (state_of(purchase), packs_in(purchase)) == ("closed", [0])
    assert queries.packs_to_come() == []
    assert faults() == []
    assert "2 packs of P-001 are given up: Not ours" in Entry.objects.latest("pk").said


def test_receipt_put_right_first_can_still_be_taken_back_and_only_once():
    purchase = make_purchase(received=3)
    lot = Lot.objects.get()
    receipt = lot.movements.get()
    take_back(lot, as_is_mg=9 * KG)
    assert (state_of(purchase), packs_in(purchase)) == ("received", [3])
    take_back(lot)
    assert (state_of(purchase), packs_in(purchase)) == ("ordered", [0])
    with pytest.raises(StudioError, match="taken back already"):
        services.correct(receipt, as_is_mg=0, happened_on=day(), why="Again", by=None)
    assert (packs_in(purchase), faults()) == ([0], [])


def test_lot_that_went_out_since_keeps_its_packs_received():
    purchase = make_purchase(received=3)
    lot = Lot.objects.get()
    services.take_out(lot, as_is_mg=KG, kind="issued", happened_on=day(), why="Vat", by=None)
    with pytest.raises(StudioError, match="would hold less than nothing"):
        take_back(lot)
    assert (state_of(purchase), packs_in(purchase), faults()) == ("received", [3], [])


def test_lot_of_no_purchase_is_taken_back_as_before():
    lot = make_lot()
    take_back(lot)
    lot.refresh_from_db()
    assert lot.oven_dry_mg == 0
    assert Entry.objects.latest("pk").said == f"Corrected received of {lot.ref}: Not ours"


def test_audit_finds_packs_that_still_count_though_their_receipt_was_taken_back():
    purchase = make_purchase(received=3)
    take_back(Lot.objects.get())
    line = purchase.lines.get()
    purchase.lines.update(packs_received=3)
    Purchase.objects.update(state=Purchase.State.RECEIVED)
    assert faults() == [
        f"line {line.pk} of {purchase.ref}: has 3 packs received and 0 by its receipts"
    ]


def test_page_of_the_purchase_counts_what_was_taken_back_no_longer(owner_client):
    purchase = make_purchase(received=3)
    lot = Lot.objects.get()
    assert lot.ref in told(see(owner_client, at(purchase)))
    address = f"/movements/{lot.movements.get().pk}/correct/"
    response = send(owner_client, address, mass="0 kg", why="Not ours")
    assert response.status_code == 302
    words = told(see(owner_client, at(purchase)))
    assert "13.80 kg oven-dry is on its way" in words
    assert lot.ref not in words
    # The lot still tells what it was received for.
    assert purchase.ref in told(see(owner_client, lot.get_absolute_url()))


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    packs=st.integers(min_value=1, max_value=7),
    freight=st.integers(min_value=0, max_value=50),
    data=st.data(),
)
def test_over_any_receipts_and_take_backs_the_price_adds_up(packs, freight, data):
    purchase = make_purchase(packs=packs, freight_minor=freight)
    whole = sum(line.goods_minor for line in purchase.lines.all()) + freight
    for _ in range(data.draw(st.integers(min_value=1, max_value=6))):
        line = purchase.lines.get()
        standing = Lot.objects.filter(arrival__line=line, as_is_mg__gt=0)
        if line.packs_to_come and (not standing or data.draw(st.booleans())):
            come = data.draw(st.integers(min_value=1, max_value=line.packs_to_come))
            received(purchase, come)
        else:
            take_back(data.draw(st.sampled_from(list(standing))))
        ahead = [one for one in queries.packs_to_come() if one.purchase == purchase.ref]
        lots = Lot.objects.filter(arrival__line=line)
        paid = sum(lots.values_list("paid_minor", flat=True))
        assert paid + sum(one.paid_minor for one in ahead) == whole
        counted = Arrival.objects.filter(line=line, lot__as_is_mg__gt=0)
        assert sum(counted.values_list("packs", flat=True)) == purchase.lines.get().packs_received
    assert faults() == []
