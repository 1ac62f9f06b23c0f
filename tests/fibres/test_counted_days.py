"""A posted count closes the days before it, but to whoever may put the store right."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fibres import services, stocktaking
from fibres.models import Lot, Movement, Stocktake
from studio.errors import RangeError
from tests.builders import KG, day, make_lot
from tests.exchange import TURN
from tests.fibres.pages import send

pytestmark = pytest.mark.django_db


def counted(*lots: Lot) -> Stocktake:
    """Count lots of 10 kg today and find them as the book says."""
    stocktake = stocktaking.begin(by=None)
    for lot in lots:
        stocktaking.count_lot(stocktake, lot, as_is_mg=10 * KG, by=None)
    return stocktaking.post(stocktake, by=None)


def take(lot: Lot, days_ago: int, by: object, why: str = "Trial") -> Movement:
    return services.take_out(
        lot, as_is_mg=KG, kind="issued", happened_on=day(days_ago), why=why, by=by
    )


def sample(lot: Lot, days_ago: int, by: object, *, has_dried: bool = False) -> None:
    weighed = {"wet_mg": 100_000, "dry_mg": 90_000, "tare_mg": 0}
    services.weigh_moisture(lot, **weighed, tested_on=day(days_ago), has_dried=has_dried, by=by)


def test_a_hand_takes_nothing_out_before_the_day_of_the_count(hand):
    lot = make_lot()
    counted(lot)
    with pytest.raises(RangeError) as refusal:
        take(lot, 1, hand)
    assert refusal.value.field == "happened_on"
    assert str(refusal.value) == (
        f"Lot {lot.ref} was counted on {day():%d %b %Y}, and that count put the book right for "
        f"every day before it; got {day(1):%d %b %Y}. Give the day of the count or a later one, "
        "or ask whoever may correct the store to enter it."
    )
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 9_200_000
    assert take(lot, 0, hand).why == "Trial"


def test_the_owner_may_and_the_line_says_so(owner):
    lot = make_lot()
    counted(lot)
    assert take(lot, 1, owner).why == f"Trial. Dated before its count of {day():%d %b %Y}"
    assert take(lot, 0, owner).why == "Trial"
    # The command line speaks for the owner.
    assert take(lot, 1, None).why.startswith("Trial. Dated before its count")


def test_a_long_reason_is_cut_and_the_note_is_not(owner):
    lot = make_lot()
    counted(lot)
    why = take(lot, 1, owner, why="because " * 50).why
    assert len(why) == 200
    assert why.endswith(f". Dated before its count of {day():%d %b %Y}")


def test_a_lot_that_was_not_weighed_in_the_count_is_not_closed(hand):
    lot, other = make_lot(), make_lot()
    counted(other)
    assert take(lot, 1, hand).pk


def test_a_count_that_goes_on_or_was_given_up_closes_nothing(hand):
    lot = make_lot()
    stocktake = stocktaking.begin(by=None)
    stocktaking.count_lot(stocktake, lot, as_is_mg=10 * KG, by=None)
    assert take(lot, 1, hand).pk
    stocktaking.give_up(stocktake, by=None)
    assert take(lot, 1, hand).pk


@pytest.mark.parametrize("has_dried", [True, False])
def test_a_sample_of_before_the_count_says_nothing_of_the_lot_any_more(hand, owner, has_dried):
    lot = make_lot()
    counted(lot)
    with pytest.raises(RangeError, match="put the book right for every day before it"):
        sample(lot, 1, hand, has_dried=has_dried)
    assert not lot.moisture_tests.exists()
    sample(lot, 0, hand, has_dried=has_dried)
    sample(lot, 1, owner, has_dried=has_dried)
    assert lot.moisture_tests.count() == 2


def test_of_two_counts_the_last_one_closes(hand, monkeypatch):
    lot = make_lot()
    counted(lot)
    later = day() + timedelta(days=3)
    monkeypatch.setattr(timezone, "localdate", lambda *_: later)
    counted(lot)
    # One day before the second of them is after the first.
    with pytest.raises(RangeError, match=f"was counted on {later:%d %b %Y}"):
        take(lot, 1, hand)
    assert take(lot, 0, hand).happened_on == later


def test_a_clock_that_was_set_back_keeps_nobody_from_counting(hand, monkeypatch):
    lot = make_lot()
    counted(lot)
    earlier = day(2)
    monkeypatch.setattr(timezone, "localdate", lambda *_: earlier)
    stocktake = stocktaking.begin(by=hand)
    stocktaking.count_lot(stocktake, lot, as_is_mg=10 * KG, by=hand)
    stocktaking.post(stocktake, by=hand)
    assert lot.movements.filter(kind="counted").last().happened_on == earlier


def test_the_page_says_it_beside_the_day(hand_client):
    lot = make_lot()
    counted(lot)
    given = {"mass": "1", "kind": "issued", "why": "Trial", "happened_on": f"{day(1)}"}
    answer = send(hand_client, reverse("lot_take", args=[lot.ref]), **given)
    (said,) = answer.context["form"].errors["happened_on"]
    assert said.startswith(f"Lot {lot.ref} was counted on")


def test_looking_for_a_count_takes_no_query_of_its_own(django_assert_num_queries, hand):
    never, once = make_lot(), make_lot()
    counted(once)
    take(never, 0, hand)
    for lot in (never, once):
        # Two of them read the last seal and write the next.
        with django_assert_num_queries(17 + TURN):
            take(lot, 0, hand)
