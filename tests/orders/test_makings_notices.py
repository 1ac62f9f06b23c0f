"""What a making sheet says first: whose fibre it takes, that it is late or its dryer full."""

from __future__ import annotations

import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres.models import Drying
from orders import services
from orders.makings import log
from orders.makings.notices import beside_words
from orders.makings.sheet import sheet_of
from orders.models import Commission, Making
from tests.builders import (
    KG,
    day,
    make_commission,
    make_dryer,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_sheet,
    make_studio,
)
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db

HEEL = 100_000


@pytest.fixture
def lot():
    """Return 2.185 kg oven-dry, of which 2.075 750 kg can be used."""
    make_studio(trial_pulls=2, heel_mg=HEEL, packing_days=1)
    return make_lot(make_fibre(name="Abaca"), as_is_mg=2_375_000)


@pytest.fixture
def sheet(lot):
    return make_sheet(make_furnish({lot.fibre: "1"}), name="Text A4")


def clashes(making):
    return [one.replace("\u00a0", " ") for one in sheet_of(making, day()).clashes]


def named_sheet(making):
    return sheet_of(Making.objects.get(pk=making.pk), day())


# --- whose fibre it takes ------------------------------------------------------------------------


def test_fibre_that_another_was_promised_is_named_with_its_mass(lot, sheet):
    first = make_commission(sheet, ref="C-1", due=day(-20))
    # By hand: 114 pulls on average take 835.447 g for each of the two; both are covered.
    make_commission(sheet, ref="C-2", good_quantity=148)
    assert services.cover(day()).of("C-2").covered_sheets == 148
    making = make_making(commission=first)
    # C-2 takes 169 pulls, 1238.513 g. The making takes 994.074 g: 157 g more than were held, and
    # 2075.750 - 994.074 = 1081.676 g are left: 156.837 g are missing, 165.092 g oven-dry.
    assert clashes(making) == [
        "It takes 0.165 kg oven-dry of Abaca that C-2 was promised. Plan fewer pulls or a smaller "
        "vat, or buy as much for it."
    ]


def test_what_lies_at_the_vat_is_named_so_too(lot, sheet):
    make_commission(sheet, ref="C-2")
    making = log.start(make_making(sheet), by=None)
    log.issue(making, lot, as_is_mg=2_375_000, by=None)
    # All that C-2 needs: 835.447 g usable are 879.418 g oven-dry.
    assert clashes(making) == [
        "It takes 0.879 kg oven-dry of Abaca that C-2 was promised. Buy as much for it, or put "
        "back what is not in the vat yet."
    ]


def test_a_making_for_the_studio_takes_from_nobody_before_it_is_weighed_out(lot, sheet):
    make_commission(sheet, good_quantity=200)
    assert clashes(make_making(sheet)) == []


def test_enough_for_all_is_nobodys_loss(lot, sheet):
    make_lot(lot.fibre, as_is_mg=10 * KG)
    first = make_commission(sheet, due=day(-20))
    make_commission(sheet)
    assert clashes(make_making(commission=first)) == []


def test_a_making_for_what_was_withdrawn_is_served_last(lot, sheet):
    gone = make_commission(sheet, due=day(-2), priority=1)
    making = make_making(commission=gone)
    services.move(gone, Commission.State.WITHDRAWN, by=None)
    make_commission(sheet, good_quantity=240)
    assert named_sheet(making).missing
    assert clashes(Making.objects.get(pk=making.pk)) == []


# --- days ----------------------------------------------------------------------------------------


def test_a_making_that_is_too_late_says_by_how_many_days(lot, sheet):
    make_dryer()
    commission = make_commission(sheet, ref="C-1", due=day(-9))
    # By hand: 120 pulls are three loads of two days, and a day to pack.
    assert clashes(make_making(commission=commission, planned_on=day(-2))) == []
    (found,) = clashes(make_making(commission=commission, planned_on=day(-4)))
    assert "2 days after C-1 is due. Begin sooner, take a quicker dryer" in found
    Making.objects.all().delete()
    late = make_making(commission=commission, planned_on=day(5))
    assert clashes(late) == []
    commission.due = day(-6)
    commission.save()
    (found,) = clashes(late)
    # Planned for a day that is past, it begins today at the earliest.
    assert "1 day after C-1 is due. Take a quicker dryer, or agree on a later day." in found


def test_two_makings_in_one_dryer_are_told_of_each_other(lot, sheet):
    make_lot(lot.fibre, as_is_mg=20 * KG)
    loft = make_dryer(
        name="North loft", drying=Drying.LOFT, pulls_per_load=150, days_per_load=Decimal(6)
    )
    first = make_making(sheet, dryer=loft, drying="loft", pulls=120)
    second = make_making(sheet, dryer=loft, drying="loft", pulls=60, planned_on=day(-5))
    third = make_making(sheet, dryer=loft, drying="loft", pulls=60, planned_on=day(-12))
    (found,) = clashes(first)
    assert found.endswith(
        f"it shares the North loft with {second.ref}: 180 pulls together, and it holds 150 at "
        "once. Move one to other days, or to another dryer."
    )
    assert len(clashes(second)) == 1
    assert clashes(third) == []
    Making.objects.filter(pk=first.pk).update(pulls=90)
    assert clashes(Making.objects.get(pk=second.pk)) == []


def test_twenty_makings_in_one_dryer_take_as_many_questions_as_two(
    lot, sheet, django_assert_num_queries
):
    loft = make_dryer(name="North loft", drying=Drying.LOFT, pulls_per_load=150)
    making, _ = (make_making(sheet, dryer=loft, drying="loft", pulls=120) for _ in range(2))
    with CaptureQueriesContext(connection) as asked:
        assert len(named_sheet(making).clashes) == 1
    for _ in range(18):
        make_making(sheet, dryer=loft, drying="loft", pulls=120)
    with django_assert_num_queries(len(asked)):
        assert len(named_sheet(making).clashes) == 1


def test_a_making_that_is_over_has_nothing_in_its_way(lot, sheet):
    making = make_making(commission=make_commission(sheet, due=day(9)))
    assert len(clashes(making)) == 1
    making.state = Making.State.GIVEN_UP
    making.save()
    assert clashes(making) == []


# --- where it is said ----------------------------------------------------------------------------


def test_page_print_and_terminal_say_the_same(lot, sheet, owner_client):
    make_commission(sheet, ref="C-2")
    making = log.start(make_making(sheet), by=None)
    log.issue(making, lot, as_is_mg=2_375_000, by=None)
    words = "It takes 0.879 kg oven-dry of Abaca that C-2 was promised."
    assert words in said(look(owner_client, making.get_absolute_url()))
    assert words in said(look(owner_client, f"{making.get_absolute_url()}sheet/"))
    out = StringIO()
    call_command("making", making.ref, stdout=out)
    assert f"Look first\n  {words}" in out.getvalue().replace("\u00a0", " ")
    out = StringIO()
    call_command("making", making.ref, "--json", stdout=out)
    assert json.loads(out.getvalue())["look_first"] == list(sheet_of(making, day()).clashes)


def test_a_planned_making_says_what_fibre_it_holds(lot, sheet, owner_client):
    own = make_making(sheet)
    page = said(look(owner_client, own.get_absolute_url()))
    assert "It is for the studio’s own stock, so it holds no fibre" in page
    commission = make_commission(sheet, ref="C-1")
    making = make_making(commission=commission)
    page = said(look(owner_client, making.get_absolute_url()))
    # By hand: two trial pulls of 7.328 g and 100 g in the vat.
    assert "held for C-1. Beside that it takes 0.115 kg of usable fibre for trial sheets" in page
    page = said(look(owner_client, commission.get_absolute_url()))
    assert f"{making.ref} takes 0.115 kg of usable fibre beside that" in page
    services.move(commission, Commission.State.WITHDRAWN, by=None)
    page = said(look(owner_client, making.get_absolute_url()))
    assert "Nobody is promised C-1 any more, so this making holds no fibre." in page
    log.start(own, by=None)
    assert "it holds no fibre" not in said(look(owner_client, own.get_absolute_url()))


def test_a_making_that_cannot_be_reckoned_is_left_out_of_the_sentence(lot, sheet):
    making = make_making(sheet, consistency=Decimal("0.05"), thick_consistency=Decimal("0.02"))
    assert beside_words([making]) == []
