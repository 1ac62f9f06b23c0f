"""What comes of an order is a lot with its share of the price; nothing is lost on the way."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fibres import purchasing, queries, services
from fibres.models import Arrival, Lot, Movement, Purchase, PurchaseLine
from fibres.purchasing import Wanted
from studio.errors import RangeError, StudioError
from studio.models import Entry
from tests.builders import (
    KG,
    arrived,
    day,
    make_fibre,
    make_offer,
    make_purchase,
    make_source,
)
from tests.fibres.buying import received, state_of, two_lines

pytestmark = pytest.mark.django_db


# --- received -----------------------------------------------------------------------------------


def test_whole_order_comes_and_every_line_is_a_lot_with_its_share_of_the_price(owner):
    purchase = two_lines()
    lots = purchasing.receive(
        purchase,
        [arrived(line, 3) for line in purchase.lines.all()],
        received_on=day(1),
        by=owner,
    )
    # By hand: 15 kg and 6 kg as sold at 8 %: 13.8 kg and 5.52 kg oven-dry, five to two; of the
    # freight of 10.00 that is 7.14 and 2.86. Goods: 3 × 47.00 and 3 × 10.00.
    assert [lot.received_oven_dry_mg for lot in lots] == [13_800_000, 5_520_000]
    assert [lot.paid_minor for lot in lots] == [14_100 + 714, 3_000 + 286]
    assert {(lot.source_id, lot.received_on) for lot in lots} == {(purchase.source_id, day(1))}
    assert state_of(purchase) == "received"
    assert queries.on_its_way_by_fibre() == {}
    entry = Entry.objects.latest("pk")
    assert (entry.act, entry.by) == ("receive purchase", owner)
    assert {movement.entry for movement in Movement.objects.all()} == {entry}
    assert {arrival.entry for arrival in Arrival.objects.all()} == {entry}


def test_part_comes_and_the_rest_stays_on_its_way():
    purchase = two_lines()
    (lot,) = received(purchase, 2)
    assert state_of(purchase) == "part received"
    assert [line.packs_received for line in purchase.lines.all()] == [2, 0]
    coming = {one.ref: one for one in queries.packs_to_come()}
    first, second = coming[f"{purchase.ref}/1"], coming[f"{purchase.ref}/2"]
    # By hand: one pack of 5 kg and three of 2 kg at 8 %.
    assert (first.packs, first.as_is_mg, first.oven_dry_mg) == (1, 5 * KG, 4_600_000)
    assert (second.packs, second.as_is_mg, second.oven_dry_mg) == (3, 6 * KG, 5_520_000)
    assert first.expected_on == second.expected_on == purchase.expected_on
    assert first.moisture == Decimal("0.08")
    # What came and what is to come bear the whole price: goods 171.00 and freight 10.00.
    assert lot.paid_minor + first.paid_minor + second.paid_minor == 18_100
    received(purchase, 1, 3)
    assert state_of(purchase) == "received"
    assert sum(Lot.objects.values_list("paid_minor", flat=True)) == 18_100


def test_freight_that_cannot_be_parted_evenly_is_parted_whole():
    purchase = make_purchase()
    paid = [received(purchase, 1)[0].paid_minor for _ in range(3)]
    # By hand: a pack is 47.00, and the freight of 10.00 ends at 3.33, 6.67 and 10.00.
    assert paid == [4700 + 333, 4700 + 334, 4700 + 333]


def test_what_came_may_differ_from_its_label():
    purchase = make_purchase()
    (lot,) = received(
        purchase,
        3,
        as_is_mg=15_200_000,
        moisture=Decimal("0.125"),
        moisture_known="weighed",
        is_wet=True,
        remarks="One bale torn",
    )
    # By hand: 15.2 kg × 0.875 = 13.3 kg.
    assert (lot.oven_dry_mg, lot.moisture_known) == (13_300_000, "weighed")
    assert lot.remarks == "One bale torn"


def test_two_moistures_of_one_line_are_two_lots_of_one_act():
    purchase = make_purchase()
    line = purchase.lines.get()
    lots = purchasing.receive(
        purchase,
        [arrived(line, 1), arrived(line, 2, moisture=Decimal("0.12"))],
        received_on=day(),
        by=None,
    )
    assert [lot.moisture for lot in lots] == [Decimal("0.08"), Decimal("0.12")]
    line.refresh_from_db()
    assert line.packs_received == 3
    # By hand: 141.00 and 10.00 in thirds: 47.00 + 3.33, 94.00 + 6.67.
    assert [lot.paid_minor for lot in lots] == [5033, 10_067]


def test_more_packs_than_ordered_are_refused_whole():
    purchase = two_lines()
    received(purchase, 2)
    first, second = purchase.lines.all()
    before = (Lot.objects.count(), Entry.objects.count())
    for come in ([arrived(second, 3), arrived(first, 2)], [arrived(first, 1), arrived(first, 1)]):
        with pytest.raises(RangeError, match=r"Of Kozo, (1 pack|nothing) can still come") as over:
            purchasing.receive(purchase, come, received_on=day(), by=None)
        assert over.value.field == f"packs_{first.pk}"
    assert (Lot.objects.count(), Entry.objects.count()) == before
    assert state_of(purchase) == "part received"


def test_the_database_itself_refuses_more_packs_than_ordered():
    line = make_purchase().lines.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        PurchaseLine.objects.filter(pk=line.pk).update(packs_received=4)


def test_no_pack_of_another_purchase_and_not_none_at_all_can_come():
    purchase, other = make_purchase(), make_purchase()
    line = other.lines.get()
    with pytest.raises(StudioError, match="no part of the purchase any more"):
        purchasing.receive(purchase, [arrived(line, 1)], received_on=day(), by=None)
    with pytest.raises(StudioError, match="at least one line"):
        purchasing.receive(purchase, [], received_on=day(), by=None)
    with pytest.raises(RangeError, match="can still come, got 0"):
        purchasing.receive(other, [arrived(line, 0)], received_on=day(), by=None)
    assert not Lot.objects.exists()


def test_fibre_comes_after_it_is_ordered_and_not_before_its_day():
    purchase = make_purchase()
    come = [arrived(purchase.lines.get(), 1)]
    for odd in (day(21), day(-3)):
        with pytest.raises(RangeError) as refused:
            purchasing.receive(purchase, come, received_on=odd, by=None)
        assert refused.value.field == "received_on"


def test_what_is_planned_received_or_closed_is_not_received():
    planned, whole, closed = make_purchase(is_planned=True), make_purchase(received=3), None
    closed = purchasing.close(make_purchase(), "Sold out", by=None)
    for purchase, fault in (
        (planned, "has not been ordered"),
        (whole, "is to come any more"),
        (closed, "is to come any more"),
    ):
        with pytest.raises(StudioError, match=fault):
            received(purchase, 1)


def test_lots_that_came_are_corrected_as_any_other():
    purchase = make_purchase(received=2)
    lot = Lot.objects.get()
    services.correct(
        lot.movements.get(), as_is_mg=9 * KG, happened_on=day(), why="Misread", by=None
    )
    lot.refresh_from_db()
    # By hand: 9 kg at 8 % is 8.28 kg.
    assert lot.oven_dry_mg == 8_280_000
    assert purchase.lines.get().packs_received == 2
    received(purchase, 1)
    assert state_of(purchase) == "received"


# --- nothing is lost ----------------------------------------------------------------------------

LINES = st.lists(
    st.tuples(
        st.integers(min_value=1, max_value=7),
        st.integers(min_value=1, max_value=10**7),
        st.integers(min_value=0, max_value=900_000),
        st.integers(min_value=0, max_value=10**7),
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(lines=LINES, freight=st.integers(min_value=0, max_value=10**6), data=st.data())
def test_over_any_split_prices_add_up_and_fibre_is_conserved(lines, freight, data):
    fibre = make_fibre()
    wanted = [
        Wanted(fibre, packs, pack_mg * 1000, Decimal(ppm).scaleb(-6), goods)
        for packs, pack_mg, ppm, goods in lines
    ]
    purchase = purchasing.place(
        make_source(), wanted, ordered_on=day(20), freight_minor=freight, by=None
    )
    expected = sum(
        one.oven_dry_mg for one in queries.packs_to_come() if one.purchase == purchase.ref
    )
    whole = sum(line.goods_minor for line in wanted) + freight
    while purchase.is_on_its_way:
        rows = [line for line in purchase.lines.all() if line.packs_to_come]
        line = data.draw(st.sampled_from(rows))
        come = data.draw(st.integers(min_value=1, max_value=line.packs_to_come))
        purchasing.receive(purchase, [arrived(line, come)], received_on=day(), by=None)
        purchase = Purchase.objects.get(pk=purchase.pk)
        lots = Lot.objects.filter(arrival__line__purchase=purchase)
        ahead = [one for one in queries.packs_to_come() if one.purchase == purchase.ref]
        paid = sum(lots.values_list("paid_minor", flat=True))
        assert paid + sum(one.paid_minor for one in ahead) == whole
        held = sum(lots.values_list("oven_dry_mg", flat=True))
        # Each lot and each line is rounded to the milligram once.
        rounded = lots.count() + 2 * len(lines)
        assert abs(held + sum(one.oven_dry_mg for one in ahead) - expected) <= rounded
        moved = Movement.objects.filter(lot__in=lots).values_list("oven_dry_mg", flat=True)
        assert sum(moved) == held
    assert purchase.state == Purchase.State.RECEIVED


# --- readings -----------------------------------------------------------------------------------


def test_what_is_on_its_way_is_read_in_one_query(django_assert_num_queries):
    two_lines(received=1)
    make_purchase(is_planned=True)
    make_purchase(received=3)
    for _ in range(5):
        two = make_purchase()
    with django_assert_num_queries(1):
        found = queries.packs_to_come()
    assert len(found) == 7
    assert found[-1].ref == f"{two.ref}/1"
    with django_assert_num_queries(1):
        assert {one.paid_minor for one in queries.packs_to_come(with_money=False)} == {None}


def test_line_that_came_whole_is_on_its_way_no_longer_and_bore_its_freight():
    purchase = two_lines()
    received(purchase, 3)
    (ahead,) = queries.packs_to_come()
    assert ahead.ref == f"{purchase.ref}/2"
    # By hand: 30.00 and two sevenths of the freight of 10.00, 2.86.
    assert ahead.paid_minor == 3286


def test_what_is_on_its_way_is_added_up_by_fibre():
    fibre = make_fibre()
    make_purchase(make_offer(fibre), packs=2)
    make_purchase(make_offer(fibre, pack_mg=KG), packs=1)
    make_purchase(make_offer(fibre), is_planned=True)
    # By hand: 11 kg at 8 %.
    assert queries.on_its_way_by_fibre() == {fibre.pk: 10_120_000}


# --- the claim ----------------------------------------------------------------------------------


def test_claim_is_reckoned_where_a_weighed_sample_is_wetter_than_agreed():
    purchase = make_purchase()
    wetter, label, drier = (
        received(purchase, 1, moisture=Decimal(moisture), moisture_known=known)[0].arrival
        for moisture, known in (("0.10", "weighed"), ("0.10", "label"), ("0.06", "weighed"))
    )
    claim = purchasing.claim_of(wetter)
    # By hand: 47.00 × (1 − 0.90 ÷ 0.92) = 47.00 × 0.021739 = 1.02.
    assert claim is not None
    assert (claim.claim_minor, claim.agreed, claim.found) == (
        102,
        Decimal("0.08"),
        Decimal("0.10"),
    )
    assert purchasing.claim_of(label) is None
    assert purchasing.claim_of(drier) is None
    assert [purchasing.is_wetter(one) for one in (wetter, label, drier)] == [True, None, False]


def test_claim_sets_the_fibre_that_came_against_the_fibre_that_the_price_is_for():
    purchase = make_purchase()
    heavy, light = (
        received(purchase, 1, as_is_mg=mass, moisture=Decimal("0.10"), moisture_known="weighed")[
            0
        ].arrival
        for mass in (5_200_000, 4_900_000)
    )
    # By hand: a pack of 5 kg at 8 % holds 4.60 kg; 5.2 kg at 10 % hold 4.68 kg, and that is more.
    assert purchasing.is_wetter(heavy)
    assert purchasing.claim_of(heavy) is None
    # By hand: 4.9 kg at 10 % hold 4.41 kg; 47.00 × (1 − 4.41 ÷ 4.60) = 47.00 × 0.041304 = 1.94.
    claim = purchasing.claim_of(light)
    assert claim is not None
    assert claim.claim_minor == 194
    said = [(line.label, line.value) for line in claim.lines("GBP")]
    assert ("Invoiced, as is", "5.00\xa0kg") in said
    assert ("Weighed, as is", "4.90\xa0kg") in said


@pytest.mark.parametrize(("has_dried", "found"), [(False, "0.1"), (True, "0.08")])
def test_water_drawn_in_the_store_is_none_of_the_sources_doing(has_dried, found):
    lot = received(make_purchase(), 3)[0]
    services.weigh_moisture(
        lot,
        wet_mg=100_000,
        dry_mg=90_000,
        tare_mg=0,
        tested_on=day(),
        by=None,
        has_dried=has_dried,
    )
    lot.refresh_from_db()
    assert purchasing.moisture_received(lot) == Decimal(found)
    assert (purchasing.claim_of(lot.arrival) is None) == has_dried


@pytest.mark.parametrize(
    ("agreed", "pack_mg"),
    # The first has more places than a moisture is shown with; at 10.009 g a milligram of fibre
    # is more than the sixth place.
    [("0.08555", 5 * KG), ("0.08", 10_009)],
)
def test_as_wet_as_agreed_is_no_wetter_whatever_was_rounded(agreed, pack_mg):
    purchase = make_purchase(make_offer(moisture=Decimal(agreed), pack_mg=pack_mg), packs=1)
    lot = received(purchase, 1)[0]
    services.weigh_moisture(
        lot,
        wet_mg=100_000,
        dry_mg=99_000,
        tare_mg=0,
        tested_on=day(),
        by=None,
        has_dried=True,
    )
    arrival = Arrival.objects.get()
    assert purchasing.is_wetter(arrival) is False
    assert purchasing.claim_of(arrival) is None


def test_moisture_received_has_the_places_of_the_one_agreed():
    lot = received(make_purchase(make_offer(moisture=Decimal("0.08555")), packs=1), 1)[0]
    Lot.objects.update(moisture=Decimal("0.01"), moisture_known="weighed")
    lot.refresh_from_db()
    assert purchasing.moisture_received(lot) == Decimal("0.08555")


def test_lot_that_never_came_has_no_moisture_to_claim_for():
    lot = received(make_purchase(), 3, moisture_known="weighed")[0]
    services.correct(lot.movements.get(), as_is_mg=0, happened_on=day(), why="Twice", by=None)
    lot.refresh_from_db()
    assert purchasing.claim_of(lot.arrival) is None
