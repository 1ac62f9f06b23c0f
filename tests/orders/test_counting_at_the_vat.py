"""A lot of which some is at the vat is not counted: what is there would be taken out twice."""

from __future__ import annotations

import pytest

from fibres import stocktaking
from orders.makings import log
from studio.errors import StudioError
from tests.builders import KG, make_furnish, make_lot, make_making, make_sheet
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    return make_lot(as_is_mg=10 * KG)


@pytest.fixture
def making(lot):
    sheet = make_sheet(make_furnish({lot.fibre: "1"}))
    return log.start(make_making(sheet), by=None)


def test_lot_with_fibre_at_the_vat_is_not_weighed(lot, making):
    issue = log.issue(making, lot, as_is_mg=2 * KG, by=None)
    count = stocktaking.begin(place="", by=None)
    with pytest.raises(StudioError, match=r"1\.84\skg oven-dry of .* is weighed out"):
        stocktaking.count_lot(count, lot, as_is_mg=8 * KG, by=None)
    log.take_back_issue(making, issue.pk, by=None)
    assert stocktaking.count_lot(count, lot, as_is_mg=10 * KG, by=None).as_is_mg == 10 * KG


def test_page_of_a_lot_at_the_vat_leads_to_no_scale_and_says_why(hand_client, lot, making):
    count = stocktaking.begin(place="", by=None)
    offered = f"Weigh it for {count.ref}"
    assert offered in said(look(hand_client, lot.get_absolute_url()))
    issue = log.issue(making, lot, as_is_mg=2 * KG, by=None)
    page = said(look(hand_client, lot.get_absolute_url()))
    assert offered not in page
    assert f"It cannot be weighed for {count.ref} yet: some of it is at the vat." in page
    log.take_back_issue(making, issue.pk, by=None)
    page = said(look(hand_client, lot.get_absolute_url()))
    assert offered in page
    assert "cannot be weighed" not in page


def test_what_was_weighed_out_since_keeps_a_count_from_being_posted(lot, making):
    count = stocktaking.begin(place="", by=None)
    stocktaking.count_lot(count, lot, as_is_mg=10 * KG, by=None)
    log.issue(making, lot, as_is_mg=2 * KG, by=None)
    with pytest.raises(StudioError, match="put that back first"):
        stocktaking.post(count, by=None)
    lot.refresh_from_db()
    assert lot.oven_dry_mg == 9_200_000
