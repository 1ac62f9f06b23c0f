"""Learned figures on a phone: makings show one, the owner takes it over, and its use says so."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from orders.makings import finish, log
from orders.models import AcceptedFigure, Making, TrialSheet
from studio import people
from studio.roles import HAND
from tests.browser.screen import overhang, reads
from tests.builders import make_fibre, make_furnish, make_lot, make_making, make_sheet, make_user

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def owner(transactional_db: None) -> Any:
    return people.make_owner("rue", None)


@pytest.fixture
def makings(owner: Any) -> list[Making]:
    """Run two makings of flax as their log does: 800 and 760 g issued, 100 sheets of 7 g made."""
    fibre = make_fibre(name="Flax", preparation_yield=Decimal("0.95"))
    lot = make_lot(fibre, moisture="0")
    sheet = make_sheet(make_furnish({fibre: "1"}), name="Text A4")
    return [made_of(sheet, lot, as_is_mg, owner) for as_is_mg in (800_000, 760_000)]


def made_of(sheet: Any, lot: Any, as_is_mg: int, owner: Any) -> Making:
    making = log.start(make_making(sheet), by=owner)
    log.issue(making, lot, as_is_mg=as_is_mg, by=owner)
    for name, change in (("pulls", 100), ("good", 90), ("retree", 4), ("broke", 6)):
        log.tap(making, name, post=1, change=change, by=owner)
    log.weigh_trial(making, TrialSheet(mass_mg=7_000, moisture=Decimal(0)), by=owner)
    log.note_heel(making, "none", by=owner)
    return finish.finish(making, accept_over=True, by=owner)


@pytest.mark.parametrize("script", [False, True])
def test_a_figure_that_makings_show_is_taken_over_and_says_so_where_it_is_used(
    visit: Any, makings: list[Making], owner: Any, script: bool
) -> None:
    fibre = makings[0].sheet.furnish.parts.get().fibre
    page = visit("/makings/", width=360, user=owner, script=script)
    page.get_by_role("link", name="Learned figures").click()
    reads(page, "2 makings finished.")
    assert overhang(page) == 0
    page.get_by_role("link", name="Preparation yield").first.click()

    # 700 g formed of 800 and of 760 g issued at 96 % retention: 91.15 and 95.94 %, mean 93.54 %.
    reads(page, "2 makings say 93.54 %.")
    reads(page, "Mean of 2 makings")
    # Student's t of 2 makings, 12.7062 × 3.3921 % / √2 by hand; more than all is not left.
    reads(page, "63.07 % to 100 %")
    for making in makings:
        page.get_by_role("link", name=making.ref).wait_for()
    assert overhang(page) == 0
    assert not AcceptedFigure.objects.exists()

    page.get_by_role("link", name="Take it over").click()
    page.get_by_role("button", name="Take it over").click()
    reads(page, "Taken over. Everything is reckoned with it from now on.")
    reads(page, "learned from 2 makings")
    fibre.refresh_from_db()
    assert fibre.preparation_yield == Decimal("0.9354")

    page.goto(f"{visit.url}{fibre.get_absolute_url()}")
    reads(page, "93.5 %, learned from 2 makings")
    assert overhang(page) == 0
    planned = make_making(makings[0].sheet)
    page.goto(f"{visit.url}/makings/{planned.ref}/sheet/")
    reads(page, "Learned from 2 makings: left of Flax 93.5 %")
    assert overhang(page) == 0


def test_a_hand_sees_the_figure_and_no_way_to_take_it_over(
    visit: Any, makings: list[Making]
) -> None:
    page = visit("/learned/", width=360, user=make_user(HAND))
    page.get_by_role("link", name="Preparation yield").first.click()
    reads(page, "2 makings say 93.54 %.")
    assert page.get_by_text("Take it over").count() == 0
    assert overhang(page) == 0
    fibre = makings[0].sheet.furnish.parts.get().fibre
    answer = page.goto(f"{visit.url}/learned/yield/fibre-{fibre.pk}/accept/")
    assert answer.status == 403
    visit.complaints[:] = [said for said in visit.complaints if "403" not in said]
    fibre.refresh_from_db()
    assert fibre.preparation_yield == Decimal("0.95")
