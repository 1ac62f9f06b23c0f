"""Lots that dried, rounded to nothing or are used up: no fibre comes of it, and words say so."""

from decimal import Decimal

import pytest

from fibres import services, stocktaking
from fibres.models import Lot, MoistureTest, Movement
from studio.errors import NotEnoughError, RangeError, StudioError
from tests.builders import KG, day, make_lot, make_user

pytestmark = pytest.mark.django_db


def weigh(lot, percent, **changes):
    """Enter a sample of 100 g with so many grams of water."""
    given = {"tare_mg": 0, "tested_on": day(), "by": None}
    dry_mg = (100 - percent) * 1000
    services.weigh_moisture(lot, wet_mg=100_000, dry_mg=dry_mg, **{**given, **changes})


def put_right(lot, as_is_mg):
    received = lot.movements.filter(kind="received").last()
    services.correct(received, as_is_mg=as_is_mg, happened_on=day(), why="Misread", by=None)


def take(lot, as_is_mg):
    return services.take_out(
        lot, as_is_mg=as_is_mg, kind=Movement.Kind.ISSUED, happened_on=day(), why="x", by=None
    )


def held(lot):
    found = Lot.objects.get(pk=lot.pk)
    moved = sum(lot.movements.values_list("oven_dry_mg", flat=True))
    assert found.oven_dry_mg == found.received_oven_dry_mg == moved
    return found.oven_dry_mg


# --- a receipt put right after a test ------------------------------------------------------------


def test_lot_that_dried_came_with_the_moisture_of_its_receipt():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.5")
    weigh(lot, 10, has_dried=True)
    put_right(lot, 12 * KG)
    # By hand: 12 kg at 50 % is 6 kg oven-dry, however dry it is by now.
    assert held(lot) == 6 * KG
    assert Lot.objects.get(pk=lot.pk).moisture == Decimal("0.1")


def test_test_that_put_the_book_right_holds_for_what_comes_on_top():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.5")
    weigh(lot, 20)
    weigh(lot, 10, has_dried=True)
    put_right(lot, 12 * KG)
    # By hand: 12 kg at 20 % is 9.6 kg oven-dry.
    assert held(lot) == 9_600_000


def test_test_that_put_a_dried_lot_right_is_reckoned_back_to_its_receipt():
    lot = make_lot(as_is_mg=9 * KG, moisture="0.5")
    weigh(lot, 10, has_dried=True)
    weigh(lot, 20)
    # By hand: 4.5 kg oven-dry at 10 % weigh 5 kg; at 20 % they hold 4 kg, which is 4/9 of 9 kg.
    assert held(lot) == 4 * KG
    put_right(lot, 18 * KG)
    assert held(lot) == 8 * KG


def test_receipt_that_would_hold_less_than_nothing_is_refused_in_a_sentence():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.5")
    weigh(lot, 8)
    # By hand: 9.5 kg at 8 % is 8.74 kg, more than the 5 kg that were entered.
    with pytest.raises(RangeError, match=r"0\.500.kg holds no fibre that can be entered here"):
        put_right(lot, KG // 2)
    assert held(lot) == 9_200_000


# --- masses that round to nothing ----------------------------------------------------------------


def test_mass_without_a_milligram_of_fibre_is_not_taken_out():
    lot = make_lot(moisture="0.9")
    with pytest.raises(RangeError, match=r"at 90.% moisture holds no fibre .* larger mass"):
        take(lot, 1)
    assert held(lot) == KG


def test_entry_is_not_corrected_to_a_mass_without_a_milligram_of_fibre():
    lot = make_lot(moisture="0.9")
    taken = take(lot, KG)
    for movement in (taken, lot.movements.first()):
        with pytest.raises(RangeError, match="holds no fibre that can be entered here"):
            services.correct(movement, as_is_mg=1, happened_on=day(), why="x", by=None)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 900_000


def test_emptied_lot_says_that_it_holds_nothing():
    lot = make_lot(as_is_mg=KG)
    take(lot, KG)
    with pytest.raises(NotEnoughError, match=rf"^Lot {lot.ref} holds nothing any more\.$"):
        take(lot, 1000)


# --- moisture tests ------------------------------------------------------------------------------


def test_emptied_lot_has_no_figure_to_put_right():
    lot = make_lot(as_is_mg=KG)
    take(lot, KG)
    with pytest.raises(NotEnoughError, match="holds nothing any more, so no figure"):
        weigh(lot, 10)
    assert Lot.objects.get(pk=lot.pk).moisture == Decimal("0.08")


@pytest.mark.parametrize("has_dried", [True, False])
@pytest.mark.parametrize(("days_ago", "why"), [(31, "The lot came on"), (-2, "has not come yet")])
@pytest.mark.parametrize("percent", [8, 10])
def test_test_is_of_a_day_on_which_the_lot_was_there(has_dried, days_ago, why, percent):
    lot = make_lot(received_on=day(30))
    with pytest.raises(RangeError, match=why):
        weigh(lot, percent, has_dried=has_dried, tested_on=day(days_ago))
    assert not MoistureTest.objects.exists()


@pytest.mark.parametrize("percent", [15, 5])
def test_lot_that_never_came_takes_what_its_test_corrected_back_too(percent):
    lot = make_lot(as_is_mg=10 * KG, moisture="0.1")
    weigh(lot, percent)
    assert lot.movements.count() == 2
    put_right(lot, 0)
    assert held(lot) == 0


def test_line_that_weighed_moisture_wrote_is_not_corrected_by_a_mass():
    lot = make_lot(as_is_mg=10 * KG, moisture="0.1")
    weigh(lot, 15)
    with pytest.raises(StudioError, match="Weigh a sample again"):
        services.correct(lot.movements.last(), as_is_mg=KG, happened_on=day(), why="slip", by=None)
    assert lot.movements.count() == 2


# --- what a count put right already --------------------------------------------------------------


def counted(lot, as_is_mg):
    """Post a count of one lot."""
    by = make_user("owner")
    count = stocktaking.begin(place="", by=by)
    stocktaking.count_lot(count, lot, as_is_mg=as_is_mg, reason="misweighed", by=by)
    stocktaking.post(count, by=by)


def test_what_a_later_count_put_right_already_is_not_corrected_again():
    lot = make_lot(as_is_mg=10 * KG)
    taken = take(lot, 2 * KG)
    counted(lot, 7 * KG)
    later = take(Lot.objects.get(pk=lot.pk), KG)
    with pytest.raises(StudioError, match=r"has been counted since.*Count the lot again"):
        services.correct(taken, as_is_mg=3 * KG, happened_on=day(), why="x", by=None)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 5_520_000
    services.correct(later, as_is_mg=2 * KG, happened_on=day(), why="x", by=None)
    # By hand: 7 kg were counted and 2 kg taken since; 5 kg at 8 % hold 4.6 kg.
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 4_600_000
