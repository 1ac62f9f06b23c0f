"""Counting the store: what is begun, and what posting does to book and lots."""

from decimal import Decimal

import pytest
from django.db import OperationalError

from fibres import ledger, services, stocktaking
from fibres.audit import audit
from fibres.models import CountLine, Lot, Movement, Stocktake
from studio.entries import AlreadyEnteredError, enter
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import KG, day, make_fibre, make_lot, make_stocktake

pytestmark = pytest.mark.django_db
Reason = CountLine.Reason
KEY = "12345678123456781234567812345678"


@pytest.fixture
def lot(db):
    """10 kg as is at 8 %, which is 9.2 kg oven-dry."""
    return make_lot(place="Shelf B2", received_on=day(10))


def count(stocktake, lot, as_is_mg, **told):
    return stocktaking.count_lot(stocktake, lot, as_is_mg=as_is_mg, by=None, **told)


def fresh(lot):
    return Lot.objects.get(pk=lot.pk)


def moved(lot, as_is_mg=KG):
    services.take_out(
        lot, as_is_mg=as_is_mg, kind="issued", happened_on=day(), why="Trial", by=None
    )


# --- beginning -----------------------------------------------------------------------------------


def test_a_place_is_counted_with_the_lots_that_hold_something(lot):
    empty = make_lot(place="Shelf B2")
    moved(empty, 10 * KG)
    make_lot(place="Tub 4")
    stocktake = make_stocktake(lot, place="Shelf B2")
    assert [line.lot for line in stocktake.lines.all()] == [lot]
    assert stocktake.lines.get().book_oven_dry_mg == 9_200_000
    assert stocktake.lines.get().oven_dry_mg is None


def test_everything_is_counted_where_no_place_is_given(lot):
    others = {lot.pk, make_lot(place="Tub 4").pk, make_lot().pk}
    assert {line.lot_id for line in make_stocktake(lot).lines.all()} == others


def test_a_place_without_lots_is_refused(lot):
    with pytest.raises(StudioError, match="No lot with fibre lies there"):
        stocktaking.begin("Loft", by=None)
    assert not Stocktake.objects.exists()


def test_the_same_place_is_not_counted_twice_at_once(lot):
    first = make_stocktake(lot, place="Shelf B2")
    with pytest.raises(StudioError, match=f"{first.ref} counts the same"):
        stocktaking.begin("Shelf B2", by=None)
    stocktaking.give_up(first, by=None)
    assert stocktaking.begin("Shelf B2", by=None).ref != first.ref


# --- posting -------------------------------------------------------------------------------------


def test_posting_brings_the_book_in_line_in_one_entry(lot, owner):
    other, right = make_lot(place="Shelf B2"), make_lot(place="Shelf B2")
    stocktake = make_stocktake(lot, place="Shelf B2")
    count(stocktake, lot, 9_800_000, reason=Reason.SPILT, note="Torn bag")
    count(stocktake, other, 10_200_000, reason=Reason.MISWEIGHED)
    count(stocktake, right, 10 * KG)
    entries = Entry.objects.count()
    stocktaking.post(stocktake, by=owner)

    assert Entry.objects.count() == entries + 1
    counted = Movement.objects.filter(kind=Movement.Kind.COUNTED)
    assert {movement.entry.by for movement in counted} == {owner}
    # By hand at 8 %: 9.8 kg is 9.016 kg, 10.2 kg is 9.384 kg.
    assert [fresh(one).oven_dry_mg for one in (lot, other, right)] == [
        9_016_000, 9_384_000, 9_200_000,
    ]  # fmt: skip
    assert {m.lot_id: m.oven_dry_mg for m in counted} == {
        lot.pk: -184_000, other.pk: 184_000, right.pk: 0,
    }  # fmt: skip
    assert counted.get(lot=lot).why == "Spilt or spoilt. Torn bag"
    assert counted.get(lot=right).why == "As the book says"
    assert {line.movement for line in stocktake.lines.all()} == set(counted)
    stocktake.refresh_from_db()
    assert (stocktake.state, stocktake.posted_on) == (Stocktake.State.POSTED, day())
    assert audit().faults == []


def test_a_sample_weighed_at_the_count_is_how_the_moisture_is_known(lot):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 10 * KG, moisture=Decimal("0.1"), reason=Reason.MISWEIGHED)
    stocktaking.post(stocktake, by=None)
    found = fresh(lot)
    assert (found.moisture, found.moisture_known) == (Decimal("0.1"), "weighed")
    assert found.oven_dry_mg == 9_000_000


def test_a_lot_found_at_the_place_lies_there_from_now_on(lot):
    gone, strayed = make_lot(place="Shelf B2"), make_lot(place="Loft")
    stocktake = make_stocktake(lot, place="Shelf B2")
    stocktaking.add_lot(stocktake, strayed.ref, by=None)
    count(stocktake, strayed, 10 * KG)
    count(stocktake, gone, 0, reason=Reason.MISSING)
    stocktaking.post(stocktake, by=None)
    assert fresh(strayed).place == "Shelf B2"
    assert (fresh(gone).place, fresh(gone).oven_dry_mg) == ("Shelf B2", 0)


def test_lots_that_were_not_weighed_stay(lot):
    other = make_lot()
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 0, reason=Reason.MISSING)
    stocktaking.post(stocktake, by=None)
    assert (fresh(lot).oven_dry_mg, fresh(other).oven_dry_mg) == (0, 9_200_000)
    assert other.movements.count() == 1


def test_nothing_weighed_is_nothing_to_post(lot):
    with pytest.raises(StudioError, match="No lot has been weighed yet"):
        stocktaking.post(make_stocktake(lot), by=None)


def test_a_count_is_posted_once(lot):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_800_000, reason=Reason.SPILT)
    stocktaking.post(stocktake, by=None, key=KEY)
    with pytest.raises(AlreadyEnteredError):
        stocktaking.post(stocktake, by=None, key=KEY)
    with pytest.raises(StudioError, match="is posted already"):
        stocktaking.post(stocktake, by=None)
    with pytest.raises(StudioError, match="is posted already"):
        count(stocktake, lot, KG, reason=Reason.SPILT)
    assert Movement.objects.filter(kind="counted").count() == 1


def test_a_fault_on_the_way_leaves_nothing_posted(lot, monkeypatch):
    other = make_lot()
    stocktake = make_stocktake(lot)
    for one in (lot, other):
        count(stocktake, one, 9_800_000, reason=Reason.SPILT)
    entries, posted = Entry.objects.count(), []
    write = ledger.post

    def fail_at_the_second(*args, **kwargs):
        posted.append(args)
        if len(posted) == 2:
            raise OperationalError("The disk is full")
        return write(*args, **kwargs)

    monkeypatch.setattr(ledger, "post", fail_at_the_second)
    with pytest.raises(OperationalError, match="disk is full"):
        stocktaking.post(stocktake, by=None)
    assert len(posted) == 2
    assert not Movement.objects.filter(kind="counted").exists()
    assert not stocktake.lines.exclude(movement=None).exists()
    assert Entry.objects.count() == entries
    assert {fresh(one).oven_dry_mg for one in (lot, other)} == {9_200_000}
    assert Stocktake.objects.get().is_open


def test_giving_up_posts_nothing_and_keeps_what_was_weighed(lot):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 0, reason=Reason.MISSING)
    stocktaking.give_up(stocktake, by=None)
    assert fresh(lot).oven_dry_mg == 9_200_000
    assert stocktake.lines.get().as_is_mg == 0
    with pytest.raises(StudioError, match="is given up already"):
        stocktaking.post(stocktake, by=None)


# --- what changed since it was weighed -----------------------------------------------------------


def test_a_lot_that_moved_since_holds_up_the_whole_count(lot):
    other = make_lot()
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_800_000, reason=Reason.SPILT)
    count(stocktake, other, 9_900_000, reason=Reason.SPILT)
    moved(lot)
    before = Movement.objects.count()
    with pytest.raises(StudioError, match=f"Changed since weighed: {lot.ref}. Weigh again"):
        stocktaking.post(stocktake, by=None)
    assert Movement.objects.count() == before
    assert fresh(other).oven_dry_mg == 9_200_000
    assert [row.is_due for row in stocktaking.rows_of(stocktake)] == [
        row.lot == lot for row in stocktaking.rows_of(stocktake)
    ]

    count(stocktake, lot, 8_800_000, reason=Reason.SPILT)
    stocktaking.post(stocktake, by=None)
    # By hand: 8.8 kg at 8 % is 8.096 kg.
    assert fresh(lot).oven_dry_mg == 8_096_000


def test_a_lot_that_moved_back_to_the_same_balance_is_weighed_again_too(lot):
    """Out of the door 1 kg, and the receipt put right by as much: the scale shows less now."""
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 10 * KG)
    moved(lot)
    receipt = lot.movements.first()
    services.correct(receipt, as_is_mg=11 * KG, happened_on=day(), why="Read wrong", by=None)
    assert fresh(lot).oven_dry_mg == 9_200_000
    with pytest.raises(StudioError, match="Changed since weighed"):
        stocktaking.post(stocktake, by=None)


def test_a_movement_of_an_entry_begun_before_the_weighing_is_seen_by_the_balance(lot):
    """Two at once: the entry of the one is older, its movement younger than the weighing."""
    stocktake = make_stocktake(lot)
    older = enter("take out", "Issued 1 kg", page="/", key=None, by=None)
    count(stocktake, lot, 10 * KG)
    ledger.post(lot, Movement.Kind.ISSUED, -920_000, happened_on=day(), entry=older)
    with pytest.raises(StudioError, match="Changed since weighed"):
        stocktaking.post(stocktake, by=None)


def test_a_lot_whose_moisture_was_tested_since_is_weighed_again(lot):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 10 * KG)
    services.weigh_moisture(
        lot, wet_mg=100, dry_mg=90, tare_mg=0, tested_on=day(), has_dried=True, by=None
    )
    with pytest.raises(StudioError, match="Changed since weighed"):
        stocktaking.post(stocktake, by=None)


def test_two_counts_of_a_lot_do_not_post_the_same_loss_twice(lot):
    everything, place = make_stocktake(lot), make_stocktake(lot, place="Shelf B2")
    for stocktake in (everything, place):
        count(stocktake, lot, 9_800_000, reason=Reason.SPILT)
    stocktaking.post(place, by=None)
    with pytest.raises(StudioError, match="Changed since weighed"):
        stocktaking.post(everything, by=None)
    assert fresh(lot).oven_dry_mg == 9_016_000


# --- who may post --------------------------------------------------------------------------------


def test_more_than_a_twentieth_off_the_book_is_posted_by_the_owner(lot, hand, owner):
    # By hand: 5 % of 9.2 kg is 0.46 kg, which is 9.5 kg as is.
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_499_000, reason=Reason.MISSING)
    with pytest.raises(StudioError, match=f"More than 5 % off the book: {lot.ref}"):
        stocktaking.post(stocktake, by=hand)
    stocktaking.post(stocktake, by=owner)
    assert fresh(lot).oven_dry_mg < 8_740_000


def test_a_twentieth_off_the_book_is_posted_by_a_hand(lot, hand):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_500_000, reason=Reason.MISSING)
    stocktaking.post(stocktake, by=hand)
    assert fresh(lot).oven_dry_mg == 8_740_000


# --- afterwards ----------------------------------------------------------------------------------


def test_a_line_of_a_count_is_put_right_by_another_count_only(lot):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_800_000, reason=Reason.SPILT)
    stocktaking.post(stocktake, by=None)
    with pytest.raises(StudioError, match="Weigh the lot again in another count"):
        services.correct(lot.movements.last(), as_is_mg=0, happened_on=day(), why="Wrong", by=None)
    again = stocktaking.begin(by=None)
    count(again, lot, 10 * KG, reason=Reason.MISWEIGHED)
    stocktaking.post(again, by=None)
    assert fresh(lot).oven_dry_mg == 9_200_000


def test_what_differs_is_added_up_by_reason(lot):
    others = [make_lot(make_fibre(code="KZ")) for _ in range(2)]
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_800_000, reason=Reason.SPILT)
    count(stocktake, others[0], 9_900_000, reason=Reason.SPILT)
    count(stocktake, others[1], 10_500_000, reason=Reason.DRIED)
    found = stocktaking.found_by_reason(stocktaking.rows_of(stocktake))
    # By hand at 8 %: 0.2 kg and 0.1 kg as is are 0.184 kg and 0.092 kg.
    assert [(one.reason, one.lots, one.difference_mg) for one in found] == [
        ("It dried or drew water", 1, 0),
        ("Spilt or spoilt", 2, -276_000),
    ]


@pytest.mark.parametrize("lots", [1, 20])
def test_a_count_is_read_in_as_many_queries_however_long_it_is(
    django_assert_num_queries, lot, lots
):
    rest = [make_lot(lot.fibre) for _ in range(lots - 1)]
    stocktake = make_stocktake(lot)
    for one in [lot, *rest]:
        count(stocktake, one, 10 * KG)
    with django_assert_num_queries(4):
        rows = stocktaking.rows_of(stocktake)
        assert len({(row.lot.fibre.name, row.mark, row.is_due) for row in rows}) == 1
