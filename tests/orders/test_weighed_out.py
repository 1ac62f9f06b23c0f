"""Fibre that lies in the vat is in no store: it covers nothing, and nobody takes it out again."""

from __future__ import annotations

import pytest

from fibres import services
from fibres.models import Lot, Source
from orders import snapshot
from orders.calc.cover import allocate
from orders.calc.covered import COVERED
from orders.makings import log
from orders.makings.finish import finish, own_source
from orders.makings.lots import drawing_for
from orders.models import Making
from studio.errors import NotEnoughError
from tests.builders import (
    KG,
    day,
    make_commission,
    make_furnish,
    make_lot,
    make_making,
    make_sheet,
    make_source,
)
from tests.fibres.pages import see
from tests.fibres.test_audit import plant
from tests.studio.pages import uncoded

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    return make_lot(as_is_mg=10 * KG)


@pytest.fixture
def sheet(lot):
    return make_sheet(make_furnish({lot.fibre: "1"}))


def at_the_vat(lot, sheet=None, commission=None, *, as_is_mg=2 * KG):
    making = log.start(make_making(sheet, commission), by=None)
    log.issue(making, lot, as_is_mg=as_is_mg, by=None)
    return making


def finish_it(making):
    log.note_heel(making, Making.Heel.NONE, by=None)
    finish(making, by=None)


def take(lot, as_is_mg):
    return services.take_out(
        lot, as_is_mg=as_is_mg, kind="discarded", happened_on=day(), why="Soured", by=None
    )


# --- the page of the lot ------------------------------------------------------------------------


def test_page_of_a_lot_says_what_lies_on_the_shelf_and_what_at_the_vat(lot, sheet, viewer_client):
    page = see(viewer_client, lot.get_absolute_url())
    assert "Weighs now, as is 10.00 kg" in page.told
    assert "at the vat" not in page.told
    making = at_the_vat(lot, sheet)
    page = see(viewer_client, lot.get_absolute_url())
    # By hand: 2 of 10 kg at 8 % were weighed out, 1.84 kg oven-dry; 8 kg lie there still.
    assert "Weighs now, as is" not in page.told
    assert "On the shelf, as is 8.00 kg" in page.told
    assert "At the vat, oven-dry 1.84 kg" in page.told
    assert f"Of it 1.84 kg lies weighed out at the vat for {making.ref} ." in page.told
    finish_it(making)
    page = see(viewer_client, lot.get_absolute_url())
    assert "Weighs now, as is 8.00 kg" in page.told


def test_a_lot_of_which_all_is_at_the_vat_has_nothing_on_the_shelf(lot, sheet, viewer_client):
    first = at_the_vat(lot, sheet, as_is_mg=6 * KG)
    second = at_the_vat(lot, sheet, as_is_mg=4 * KG)
    page = see(viewer_client, lot.get_absolute_url())
    assert "On the shelf, as is 0 kg" in page.told
    assert f"All of it lies weighed out at the vat for {first.ref} and {second.ref} ." in page.told


# --- what promises are covered by ----------------------------------------------------------------


def test_fibre_in_the_vat_for_the_studio_itself_is_not_in_store(lot, sheet):
    at_the_vat(lot, sheet)
    (read,) = snapshot.read(day()).lots
    # By hand: 8 kg at 8 % hold 7.36 kg oven-dry, of which 95 % can be used.
    assert (read.as_is_mg, read.oven_dry_mg, read.usable_mg) == (8 * KG, 7_360_000, 6_992_000)


def test_lot_of_which_all_is_in_the_vat_covers_no_commission(lot, sheet):
    make_commission(sheet)
    assert allocate(snapshot.read(day())).all_covered
    at_the_vat(lot, sheet, as_is_mg=10 * KG)
    shot = snapshot.read(day())
    assert shot.lots == ()
    assert not allocate(shot).all_covered


def test_what_lies_in_the_vat_is_taken_off_its_lot_once(sheet, lot):
    at_the_vat(lot, sheet, as_is_mg=9 * KG)
    other = make_making(sheet, wanted_good=50, pulls=60)
    # 1 kg is left, which is more than 60 pulls take; taken off twice, nothing would be.
    answer = drawing_for(other, day()).answer
    assert answer.state == COVERED
    assert [pick.lot for pick in answer.picks] == [lot.ref]


# --- what is taken out ---------------------------------------------------------------------------


def test_what_is_weighed_out_is_not_taken_out_again(lot, sheet):
    at_the_vat(lot, sheet)
    with pytest.raises(NotEnoughError, match=r"1\.84\skg oven-dry of .* is weighed out for M-"):
        take(lot, 9 * KG)
    assert take(lot, 8 * KG).oven_dry_mg == -7_360_000
    with pytest.raises(NotEnoughError, match="Finish the making or put that back first"):
        take(lot, KG)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 1_840_000


def test_lot_of_which_some_is_weighed_out_is_not_closed(lot, sheet, owner_client):
    making = at_the_vat(lot, sheet)
    where = f"{lot.get_absolute_url()}close/"
    refused = owner_client.post(where, {"deed": "close"})
    assert refused.status_code == 409
    assert f"is weighed out for {making.ref}, which is not finished" in uncoded(
        refused.content.decode()
    )
    assert not Lot.objects.get(pk=lot.pk).is_closed
    log.take_back_issue(making, making.issues.get().pk, by=None)
    owner_client.post(where, {"deed": "close"})
    assert Lot.objects.get(pk=lot.pk).is_closed


# --- what is put right of a lot ------------------------------------------------------------------


def put_right(movement, as_is_mg):
    return services.correct(movement, as_is_mg=as_is_mg, happened_on=day(), why="Misread", by=None)


def test_receipt_is_not_put_right_to_less_than_is_weighed_out(lot, sheet):
    making = at_the_vat(lot, sheet)
    with pytest.raises(NotEnoughError) as refusal:
        put_right(lot.movements.get(), 1_999_000)
    assert refusal.value.field == "mass"
    # By hand: 1.999 kg at 8 % hold 1.839 kg oven-dry, and 2 kg hold 1.84 kg.
    assert str(refusal.value).replace("\u00a0", " ") == (
        f"1.84 kg oven-dry of {lot.ref} is weighed out for {making.ref}, which is not finished. "
        "The lot would hold no more than 1.84 kg. Put back in the log of the making what was not "
        "there, then put this right, or give another mass here."
    )
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 9_200_000
    put_right(lot.movements.get(), 2 * KG)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 1_840_000
    finish(log.note_heel(making, Making.Heel.NONE, by=None), by=None)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 0


def test_what_two_makings_weighed_out_is_named_for_both(lot, sheet):
    refs = sorted(at_the_vat(lot, sheet).ref for _ in range(2))
    with pytest.raises(NotEnoughError, match=f"out for {refs[0]} and {refs[1]}, which are not"):
        put_right(lot.movements.get(), 3 * KG)


def test_what_left_a_lot_is_not_put_right_to_leave_less_than_is_weighed_out(lot, sheet):
    gone = take(lot, KG)
    at_the_vat(lot, sheet)
    with pytest.raises(NotEnoughError, match="Put back in the log of the making"):
        put_right(gone, 8_001_000)
    put_right(gone, 8 * KG)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 1_840_000


def test_a_lot_that_has_too_little_already_may_be_put_right_upwards(lot, sheet):
    at_the_vat(lot, sheet)
    plant("UPDATE fibres_lot SET oven_dry_mg = 1000000 WHERE id = %s", lot.pk)
    put_right(lot.movements.get(), 10_500_000)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 1_460_000


def test_a_sample_does_not_show_less_than_is_weighed_out(lot, sheet):
    making = at_the_vat(lot, sheet, as_is_mg=9 * KG)

    def sample(dry_mg):
        given = {"wet_mg": 100_000, "dry_mg": dry_mg, "tare_mg": 0, "tested_on": day()}
        return services.weigh_moisture(lot, **given, by=None)

    # By hand: 9 kg at 8 % are 8.28 kg oven-dry, and so are 10 kg at 17.2 %.
    with pytest.raises(NotEnoughError, match=rf"for {making.ref}, .* enter that water came") as no:
        sample(82_700)
    assert no.value.field == "dry"
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 9_200_000
    assert not lot.moisture_tests.exists()
    sample(82_800)
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 8_280_000


# --- the studio as a source ----------------------------------------------------------------------


def test_closed_sources_of_its_names_do_not_keep_the_studio_from_being_one():
    for name in ("The studio", "The studio itself", "The Studio 2"):
        make_source(name=name, kind=Source.Kind.STUDIO, closed_on=day())
    assert own_source().name == "The studio 3"
    assert own_source().name == "The studio 3"
