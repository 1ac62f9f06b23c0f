"""Counting the store: what is kept of a lot on the scale, and what is refused."""

from decimal import Decimal

import pytest

from fibres import services, stocktaking
from fibres.models import CountLine, Lot, Movement
from studio.errors import RangeError, StudioError
from tests.builders import KG, day, make_lot, make_stocktake, make_studio

pytestmark = pytest.mark.django_db
Reason = CountLine.Reason


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


# --- weighing ------------------------------------------------------------------------------------


def test_weighing_moves_nothing(lot):
    stocktake = make_stocktake(lot)
    movements = Movement.objects.count()
    line = count(stocktake, lot, 9_500_000, reason=Reason.SPILT, note="Torn bag")
    assert fresh(lot).oven_dry_mg == 9_200_000
    assert Movement.objects.count() == movements
    # By hand: 9.5 kg at 8 % is 8.74 kg, and 9.2 kg less that is 0.46 kg.
    assert (line.as_is_mg, line.oven_dry_mg) == (9_500_000, 8_740_000)
    (row,) = stocktaking.rows_of(stocktake)
    assert row.difference_mg == -460_000


def test_what_reads_as_the_book_is_no_difference_and_takes_no_reason():
    # By hand: 6.8 kg at 78 % holds 1.496 kg; at 76.5 % that weighs 6.36596 kg, shown as 6.37 kg.
    lot = make_lot(as_is_mg=6_800_000, moisture="0.78")
    Lot.objects.filter(pk=lot.pk).update(moisture=Decimal("0.765"))
    line = count(make_stocktake(lot), lot, 6_370_000, reason=Reason.MISSING)
    assert (line.oven_dry_mg, line.reason) == (1_496_000, "")


def test_a_sample_of_today_counts_before_the_moisture_of_the_book(lot):
    line = count(
        make_stocktake(lot), lot, 10 * KG, moisture=Decimal("0.1"), reason=Reason.MISWEIGHED
    )
    assert (line.moisture, line.oven_dry_mg) == (Decimal("0.1"), 9_000_000)


def test_a_difference_needs_a_reason(lot):
    stocktake = make_stocktake(lot)
    with pytest.raises(StudioError, match="460\u00a0kg oven-dry less than in the book"):
        count(stocktake, lot, 9_500_000)
    assert stocktake.lines.get().oven_dry_mg is None


@pytest.mark.parametrize(
    ("as_is_mg", "reason"),
    [
        (9_500_000, Reason.FOUND),
        (10_500_000, Reason.MISSING),
        (10_500_000, Reason.SPILT),
        (10_500_000, Reason.NOT_ENTERED),
    ],
)
def test_a_reason_that_says_the_contrary_is_refused(lot, as_is_mg, reason):
    stocktake = make_stocktake(lot)
    with pytest.raises(StudioError, match="which this does not explain"):
        count(stocktake, lot, as_is_mg, reason=reason)


def test_masses_are_told_in_the_units_of_the_studio(lot):
    make_studio(units="US")
    with pytest.raises(StudioError, match="1\u00a0lb\u00a00"):
        count(make_stocktake(lot), lot, 9_500_000)


def test_weighing_again_takes_the_place_of_the_first(lot):
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9 * KG, reason=Reason.MISSING, note="Half a bag")
    count(stocktake, lot, 10 * KG)
    line = stocktake.lines.get()
    assert (line.oven_dry_mg, line.reason, line.note) == (9_200_000, "", "")


def test_a_lot_that_was_used_up_can_be_found_again(lot):
    stocktake = make_stocktake(lot)
    used_up = make_lot()
    moved(used_up, 10 * KG)
    line = stocktaking.add_lot(stocktake, used_up.ref.lower(), by=None)
    assert stocktaking.add_lot(stocktake, used_up.ref, by=None) == line
    count(stocktake, used_up, KG, reason=Reason.FOUND)
    stocktaking.post(stocktake, by=None)
    assert fresh(used_up).oven_dry_mg == 920_000


def test_a_code_that_no_lot_has_is_refused(lot):
    with pytest.raises(StudioError, match="No lot is called ZZ-9999"):
        stocktaking.add_lot(make_stocktake(lot), " ZZ-9999 ", by=None)


def test_a_code_that_is_mistyped_names_the_lot_near_it(lot):
    letters, number = lot.ref.split("-")
    with pytest.raises(StudioError, match=f"on its label; near it: {lot.ref}\\."):
        stocktaking.add_lot(make_stocktake(lot), f"{letters}-{int(number)}", by=None)


# --- water that came or went ---------------------------------------------------------------------


def test_water_that_went_changes_the_moisture_and_no_fibre(lot):
    """A lot weighed on a wet day and again in a heated room: trade.md C21."""
    stocktake = make_stocktake(lot)
    count(stocktake, lot, 9_500_000, reason=Reason.DRIED)
    stocktaking.post(stocktake, by=None)
    found = fresh(lot)
    # By hand: 1 − 9.2 ÷ 9.5 is 3.157895 %.
    assert (found.oven_dry_mg, found.moisture) == (9_200_000, Decimal("0.031579"))
    movement = found.movements.last()
    assert (movement.kind, movement.oven_dry_mg) == (Movement.Kind.COUNTED, 0)
    assert movement.moisture == Decimal("0.031579")
    # It is known no better than the fibre it is reckoned from, which is by the label.
    assert found.moisture_known == Lot.MoistureKnown.LABEL


def test_water_that_was_drawn_raises_the_moisture(lot):
    line = count(make_stocktake(lot), lot, 10_400_000, reason=Reason.DRIED)
    # By hand: 1 − 9.2 ÷ 10.4 is 11.538462 %.
    assert (line.moisture, line.oven_dry_mg) == (Decimal("0.115385"), 9_200_000)


def test_more_cannot_dry_than_there_is_water(lot):
    with pytest.raises(RangeError, match="more than water is missing"):
        count(make_stocktake(lot), lot, 9_100_000, reason=Reason.DRIED)


def test_water_alone_and_a_sample_do_not_go_together(lot):
    with pytest.raises(RangeError, match="Leave the moisture empty"):
        count(make_stocktake(lot), lot, 9_500_000, reason=Reason.DRIED, moisture=Decimal("0.05"))
