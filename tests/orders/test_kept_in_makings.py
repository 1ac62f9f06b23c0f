"""What a making kept as broke and heel is never more than went into it, whatever is put right."""

from __future__ import annotations

import pytest

from fibres import services, stocktaking
from fibres.models import Lot, MoistureTest, Movement
from orders.makings import log
from orders.makings.finish import balance_of, finish
from orders.models import Making
from studio.errors import RangeError, StudioError
from tests.builders import KG, day, make_lot
from tests.orders.vatdays import broke_fibre, logged, share

pytestmark = pytest.mark.django_db


def kept(*, heel_mg: int = 0, chalk_mg: int = 0) -> Making:
    """Finish a making of 1.84 kg oven-dry that kept 0.35 kg of broke, and perhaps a heel."""
    making = logged(good=10, retree=0)
    fibre = broke_fibre()
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=fibre, by=None)
    if heel_mg:
        weighed = {"as_is_mg": heel_mg, "moisture": share("80"), "fibre": fibre}
        log.note_heel(making, Making.Heel.KEPT, **weighed, by=None)
    if chalk_mg:
        log.dose(making, "Chalk", kind="filler", mass_mg=chalk_mg, by=None)
    return finish(making, by=None)


def put_right(movement: Movement, as_is_mg: int) -> list[Movement]:
    return services.correct(movement, as_is_mg=as_is_mg, happened_on=day(), why="Misread", by=None)


def raise_broke(making: Making, as_is_mg: int) -> list[Movement]:
    return put_right(making.broke_lot.movements.filter(kind="received").get(), as_is_mg)


def held(lot: int) -> int:
    return int(Lot.objects.get(pk=lot).oven_dry_mg)


# --- the lots that were kept ---------------------------------------------------------------------


def test_broke_is_not_put_right_to_more_than_went_into_its_making():
    making = kept()
    # By hand: 1.84 kg oven-dry at 65 % moisture weigh 5.257 kg.
    with pytest.raises(RangeError, match=r"1\.84\skg .*went into its making"):
        raise_broke(making, 5_260_000)
    assert held(making.broke_lot_id) == 350_000
    raise_broke(making, 5_250_000)
    assert held(making.broke_lot_id) == 1_837_500


def test_what_was_added_may_be_in_the_broke_too():
    making = kept(chalk_mg=100_000)
    raise_broke(making, 5_500_000)
    assert held(making.broke_lot_id) == 1_925_000


def test_what_was_added_is_not_taken_out_of_a_finished_making():
    making = kept(chalk_mg=100_000)
    with pytest.raises(StudioError, match="nothing is noted in it any more"):
        log.dose(making, "Chalk", kind="filler", mass_mg=0, by=None)


def test_a_lot_that_no_making_kept_is_put_right_upwards():
    lot = make_lot()
    put_right(lot.movements.get(), 90 * KG)
    assert held(lot.pk) == 82_800_000


def sample(lot: Lot, dry_mg: int, *, has_dried: bool = False) -> MoistureTest:
    """Weigh 100 g of a lot, of which so much is fibre."""
    weighed = {"wet_mg": 100_000, "dry_mg": dry_mg, "tare_mg": 0, "tested_on": day()}
    return services.weigh_moisture(lot, **weighed, has_dried=has_dried, by=None)


def test_a_sample_does_not_show_more_in_the_broke_than_went_into_its_making():
    making = logged(good=10, retree=0)
    log.note_broke(making, as_is_mg=4 * KG, moisture=share("65"), fibre=broke_fibre(), by=None)
    lot = finish(making, by=None).broke_lot
    # By hand: 4 kg as is hold 1.84 kg oven-dry at 54 % moisture, and not at 53.9 %.
    with pytest.raises(RangeError, match=r"1\.84\skg .*went into its making.*weigh the sam") as no:
        sample(lot, 46_100)
    assert no.value.field == "dry"
    assert (held(lot.pk), lot.moisture_tests.count()) == (1_400_000, 0)
    sample(lot, 46_000)
    assert held(lot.pk) == balance_of(Making.objects.get(pk=making.pk)).kept_mg == 1_840_000


def test_broke_that_dried_since_keeps_its_fibre_however_dry_it_is():
    lot = kept().broke_lot
    sample(lot, 95_000, has_dried=True)
    assert held(lot.pk) == 350_000


# --- what was weighed out ------------------------------------------------------------------------


def test_an_issue_is_not_put_right_to_less_than_its_making_kept():
    making = kept(heel_mg=KG)
    issued = making.issues.get().movement
    # By hand: 0.35 kg of broke and 0.2 kg of heel; at 8 % moisture 0.55 kg weigh 0.5978 kg.
    with pytest.raises(RangeError) as refusal:
        put_right(issued, 597_000)
    assert refusal.value.field == "mass"
    assert str(refusal.value).replace("\u00a0", " ") == (
        f"{making.ref} kept broke or heel that holds 0.550 kg oven-dry of what was weighed out "
        "here, and 0.549 kg would be less. Correct the lots that it kept first, or give a larger "
        "mass here."
    )
    put_right(issued, 598_000)
    assert balance_of(making).issued_mg == 550_160


def test_an_issue_put_right_once_is_bounded_when_it_is_put_right_again():
    making = kept()
    _, right = put_right(making.issues.get().movement, KG)
    with pytest.raises(RangeError, match=r"holds 0\.350\skg oven-dry of what was weighed out"):
        put_right(right, 380_000)
    put_right(right, 3 * KG)
    assert balance_of(making).issued_mg == 2_760_000


def test_an_issue_that_never_was_is_taken_back_once_nothing_is_kept_of_it():
    making = kept()
    issued = making.issues.get().movement
    with pytest.raises(RangeError, match="Correct the lots that it kept first"):
        put_right(issued, 0)
    raise_broke(making, 0)
    put_right(issued, 0)
    found = balance_of(Making.objects.get(pk=making.pk))
    assert (found.issued_mg, found.kept_mg) == (0, 0)


def test_what_was_added_and_weighed_out_besides_leaves_an_issue_free():
    making = logged(good=10, retree=0)
    log.issue(making, making.issues.get().lot, as_is_mg=KG, by=None)
    log.note_broke(making, as_is_mg=2 * KG, moisture=share("50"), fibre=broke_fibre(), by=None)
    log.dose(making, "Chalk", kind="filler", mass_mg=100_000, by=None)
    first, second = finish(making, by=None).issues.all()
    # By hand: 1 kg is kept; 0.92 kg by the second issue and 0.1 kg of chalk hold it.
    put_right(first.movement, 0)
    with pytest.raises(RangeError, match=r"holds 0\.900\skg oven-dry"):
        put_right(second.movement, 970_000)
    put_right(second.movement, 979_000)
    assert balance_of(making).issued_mg == 900_680


def test_of_a_making_that_kept_nothing_any_issue_is_put_right():
    making = finish(logged(good=1, retree=0), by=None)
    put_right(making.issues.get().movement, 0)
    assert balance_of(making).issued_mg == 0


def test_fibre_issued_to_no_making_is_put_right_as_before():
    making = kept()
    lot = making.issues.get().lot
    taken = services.take_out(
        lot, as_is_mg=KG, kind="issued", happened_on=day(), why="Trial", by=None
    )
    put_right(taken, 0)
    assert held(lot.pk) == 7_360_000


# --- a count in between --------------------------------------------------------------------------


def test_a_sample_after_a_count_leaves_what_the_count_found_out_of_the_making():
    """By hand: 0.35 kg came and 1.05 kg were found; at half the fibre 0.175 kg had come."""
    making = kept()
    lot = making.broke_lot
    stocktake = stocktaking.begin(by=None)
    stocktaking.count_lot(stocktake, lot, as_is_mg=4 * KG, reason="found", by=None)
    stocktaking.post(stocktake, by=None)
    sample(lot, 17_500)
    assert held(lot.pk) == 700_000
    assert balance_of(Making.objects.get(pk=making.pk)).kept_mg == 175_000
    sample(lot, 1_000)
    sample(lot, 35_000)
    assert held(lot.pk) == 1_400_000
    assert balance_of(Making.objects.get(pk=making.pk)).kept_mg == 350_000
