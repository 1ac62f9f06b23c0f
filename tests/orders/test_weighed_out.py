"""Fibre that lies in the vat is in no store: it covers nothing, and nobody takes it out again."""

from __future__ import annotations

import pytest

from fibres import services
from fibres.models import Lot, Movement, Source
from orders import snapshot
from orders.calc.cover import allocate
from orders.calc.covered import COVERED
from orders.makings import log
from orders.makings.finish import finish, own_source
from orders.makings.lots import drawing_for
from orders.models import Making
from studio.errors import NotEnoughError, RangeError
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
from tests.orders.vatdays import broke_fibre, logged, share

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


def take(lot, as_is_mg):
    return services.take_out(
        lot, as_is_mg=as_is_mg, kind="discarded", happened_on=day(), why="Soured", by=None
    )


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


def test_fibre_weighed_out_for_a_commission_stays_for_its_own_need(lot, sheet):
    at_the_vat(lot, commission=make_commission(sheet))
    assert snapshot.read(day()).lots[0].oven_dry_mg == 9_200_000


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
    with pytest.raises(NotEnoughError, match=r"1\.84\skg oven-dry of .* is weighed out for a mak"):
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
    assert "is weighed out for a making that is not finished" in refused.content.decode()
    assert not Lot.objects.get(pk=lot.pk).is_closed
    log.take_back_issue(making, making.issues.get().pk, by=None)
    owner_client.post(where, {"deed": "close"})
    assert Lot.objects.get(pk=lot.pk).is_closed


# --- what a making kept --------------------------------------------------------------------------


def kept() -> Making:
    """Finish a making of 1.84 kg oven-dry that kept 0.35 kg of broke."""
    making = logged(good=10, retree=0)
    log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=broke_fibre(), by=None)
    return finish(making, by=None)


def raise_broke(making: Making, as_is_mg: int) -> list[Movement]:
    received = making.broke_lot.movements.filter(kind="received").get()
    return services.correct(received, as_is_mg=as_is_mg, happened_on=day(), why="Misread", by=None)


def test_broke_is_not_put_right_to_more_than_went_into_its_making():
    making = kept()
    # By hand: 1.84 kg oven-dry at 65 % moisture weigh 5.257 kg.
    with pytest.raises(RangeError, match=r"1\.84\skg .*went into its making"):
        raise_broke(making, 5_260_000)
    assert Lot.objects.get(pk=making.broke_lot_id).oven_dry_mg == 350_000
    raise_broke(making, 5_250_000)
    assert Lot.objects.get(pk=making.broke_lot_id).oven_dry_mg == 1_837_500


def test_what_was_added_may_be_in_the_broke_too():
    making = kept()
    making.doses.create(name="Chalk", kind="filler", mass_mg=100_000)
    raise_broke(making, 5_500_000)
    assert Lot.objects.get(pk=making.broke_lot_id).oven_dry_mg == 1_925_000


def test_a_lot_that_no_making_kept_is_put_right_upwards(lot):
    services.correct(
        lot.movements.get(), as_is_mg=90 * KG, happened_on=day(), why="Misread", by=None
    )
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 82_800_000


# --- the studio as a source ----------------------------------------------------------------------


def test_closed_sources_of_its_names_do_not_keep_the_studio_from_being_one():
    for name in ("The studio", "The studio itself", "The Studio 2"):
        make_source(name=name, kind=Source.Kind.STUDIO, closed_on=day())
    assert own_source().name == "The studio 3"
    assert own_source().name == "The studio 3"
