from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from fibres import ledger
from fibres.models import Lot, Movement
from studio.entries import enter
from studio.errors import NotEnoughError, RangeError, StudioError
from tests.builders import KG, day, make_lot

pytestmark = pytest.mark.django_db
Kind = Movement.Kind


@pytest.fixture
def lot():
    # 10 kg as is at 8 % moisture: 9.2 kg oven-dry.
    return make_lot()


@pytest.fixture
def entry():
    return enter("test", "Tested", page="/", key=None, by=None)


def left(lot):
    return Lot.objects.get(pk=lot.pk).oven_dry_mg


def test_movement_moves_the_balance_with_it(lot, entry):
    movement = ledger.post(lot, Kind.ISSUED, -KG, happened_on=day(), entry=entry)
    assert left(lot) == lot.oven_dry_mg == 8_200_000
    assert movement.moisture == Decimal("0.08")
    assert list(lot.movements.values_list("oven_dry_mg", flat=True)) == [9_200_000, -KG]


def test_last_milligram_can_go_and_not_one_more(lot, entry):
    ledger.post(lot, Kind.ISSUED, -9_200_000, happened_on=day(), entry=entry)
    assert left(lot) == 0
    with pytest.raises(NotEnoughError, match=r"holds nothing any more\."):
        ledger.post(lot, Kind.ISSUED, -1, happened_on=day(), entry=entry)
    assert left(lot) == 0


def test_refusal_names_what_is_there_and_what_is_asked_for(lot, entry):
    with pytest.raises(
        NotEnoughError, match=r"holds 9\.20.kg oven-dry and 12\.00.kg is asked for"
    ) as refusal:
        ledger.post(lot, Kind.ISSUED, -12 * KG, happened_on=day(), entry=entry)
    assert refusal.value.field == "mass"
    assert refusal.value.value == 12 * KG
    assert left(lot) == 9_200_000
    assert lot.movements.count() == 1


def test_balance_is_read_under_the_lock_not_from_the_row_in_hand(lot, entry):
    stale = Lot.objects.get(pk=lot.pk)
    ledger.post(lot, Kind.ISSUED, -9 * KG, happened_on=day(), entry=entry)
    with pytest.raises(NotEnoughError):
        ledger.post(stale, Kind.ISSUED, -KG, happened_on=day(), entry=entry)


@pytest.mark.parametrize(
    ("kind", "mass"), [(Kind.ISSUED, KG), (Kind.DISCARDED, KG), (Kind.RECEIVED, -KG),
                       (Kind.RETURNED, -KG), (Kind.ISSUED, 0), (Kind.RECEIVED, 0)],
)  # fmt: skip
def test_movement_against_the_way_of_its_kind_is_refused(lot, entry, kind, mass):
    with pytest.raises(ValidationError, match="issued and discarded out"):
        ledger.post(lot, kind, mass, happened_on=day(), entry=entry)
    assert left(lot) == 9_200_000


def test_the_database_itself_keeps_a_lot_from_going_below_nothing(lot):
    with pytest.raises(IntegrityError, match="lot_never_below_zero"), transaction.atomic():
        Lot.objects.filter(pk=lot.pk).update(oven_dry_mg=-1)


def test_tomorrow_is_allowed_for_who_works_across_midnight(lot, entry):
    assert ledger.post(lot, Kind.ISSUED, -1, happened_on=day(-1), entry=entry).pk


@pytest.mark.parametrize(("days_ago", "why"), [(-2, "has not come yet"), (31, "The lot came on")])
def test_day_that_cannot_be_is_refused(lot, entry, days_ago, why):
    with pytest.raises(RangeError, match=why) as refusal:
        ledger.post(lot, Kind.ISSUED, -1, happened_on=day(days_ago), entry=entry)
    assert refusal.value.field == "happened_on"
    assert left(lot) == 9_200_000


def test_long_reason_is_cut_to_the_column(lot, entry):
    movement = ledger.post(
        lot, Kind.ISSUED, -1, happened_on=day(), entry=entry, why="because " * 50
    )
    assert len(movement.why) == 200


def test_reversal_is_a_contrary_movement_that_names_the_first(lot, entry):
    first = ledger.post(lot, Kind.ISSUED, -KG, happened_on=day(), entry=entry, as_is_mg=-1_086_957)
    back = ledger.reverse(first, happened_on=day(), why="wrong lot", entry=entry)
    assert (back.kind, back.oven_dry_mg, back.as_is_mg) == (Kind.CORRECTED, KG, 1_086_957)
    assert back.reverses == first
    assert left(lot) == 9_200_000


def test_movement_is_taken_back_once(lot, entry):
    first = ledger.post(lot, Kind.ISSUED, -KG, happened_on=day(), entry=entry)
    ledger.reverse(first, happened_on=day(), why="wrong lot", entry=entry)
    with pytest.raises(StudioError, match="taken back already"):
        ledger.reverse(first, happened_on=day(), why="again", entry=entry)


def test_reversal_is_not_taken_back(lot, entry):
    first = ledger.post(lot, Kind.ISSUED, -KG, happened_on=day(), entry=entry)
    back = ledger.reverse(first, happened_on=day(), why="wrong lot", entry=entry)
    with pytest.raises(StudioError, match="takes another one back already"):
        ledger.reverse(back, happened_on=day(), why="again", entry=entry)


def test_only_a_correction_reverses(lot, entry):
    first = ledger.post(lot, Kind.ISSUED, -KG, happened_on=day(), entry=entry)
    with pytest.raises(ValidationError, match="Only a correction takes back"):
        ledger.post(lot, Kind.RETURNED, KG, happened_on=day(), entry=entry, reverses=first)


def test_reversal_that_would_empty_the_lot_too_far_is_refused(lot, entry):
    received = lot.movements.get()
    ledger.post(lot, Kind.ISSUED, -KG, happened_on=day(), entry=entry)
    with pytest.raises(NotEnoughError):
        ledger.reverse(received, happened_on=day(), why="never came", entry=entry)
