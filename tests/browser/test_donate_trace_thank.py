"""Donate, trace, thank on a phone: from a gift at the door to the words of thanks for it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from fibres.models import Lot, Source
from orders.makings import finish, log
from studio import people
from tests.browser.screen import overhang, press, reads
from tests.builders import make_furnish, make_making, make_sheet, make_studio

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def owner(transactional_db: None) -> Any:
    make_studio(name="Reed Vat")
    return people.make_owner("rue", None)


def made_of(lot: Lot, owner: Any) -> Any:
    """Run a making of A5 notes of a lot, as its log does."""
    sheet = make_sheet(
        make_furnish({lot.fibre: "1"}), name="Seed notes", width_um=148_000, height_um=210_000
    )
    making = make_making(sheet, wanted_good=230)
    log.start(making, by=owner)
    log.issue(making, lot, as_is_mg=2_000_000, by=owner)
    log.tap(making, "good", post=1, change=238, by=owner)
    log.note_heel(making, "none", by=owner)
    return finish.finish(making, accept_over=True, by=owner)


@pytest.mark.parametrize("script", [False, True])
def test_a_gift_is_traced_to_its_sheets_and_thanked_for(
    visit: Any, owner: Any, script: bool
) -> None:
    # Donate, three weeks ago.
    page = visit("/scrap/log/", width=360, user=owner, script=script)
    page.get_by_label("Given by").fill("Nettlebank School")
    page.get_by_label("Class of scrap").select_option(label="White office paper")
    page.get_by_label("Weighed", exact=True).check()
    page.get_by_label("Mass as it is", exact=True).fill("5 kg")
    received = timezone.localdate() - timedelta(days=21)
    page.get_by_label("Received").fill(received.isoformat())
    press(page, "Enter the lot")
    reads(page, "Nothing has been made of it yet.", within="#became")
    lot = Lot.objects.get()
    making = made_of(lot, owner)

    # Trace: from the sheet to the donor, and back to the sheets, in two clicks each.
    page.goto(f"{visit.url}{making.sheet.get_absolute_url()}")
    page.locator("#makings").get_by_role("link", name=making.ref).click()
    reads(page, "100 % recycled", within="#from-where")
    reads(page, "a donor who is not named", within="#from-where")
    assert overhang(page) == 0
    page.locator("#from-where").get_by_role("link", name="Nettlebank School").click()
    month = f"{making.finished_on:%B}"
    became = f"About 240 A5 sheets in the {month} making."
    reads(page, became, within="#became")
    assert overhang(page) == 0
    page.locator("#became").get_by_role("link", name=making.ref).click()
    reads(page, making.ref, within="h1")

    # Thank.
    page.goto(f"{visit.url}/sources/")
    page.get_by_role("link", name="Thanks to give").click()
    reads(page, became)
    assert overhang(page) == 0
    page.get_by_role("button", name="Thanked today").click()
    reads(page, "Nettlebank School was thanked today.")
    assert Source.objects.get(name="Nettlebank School").thanked_on == timezone.localdate()
    assert page.get_by_role("button", name="Thanked today").count() == 0

    # The donor says yes to being named: the card names it from then on.
    source = Source.objects.get(name="Nettlebank School")
    page.goto(f"{visit.url}/sources/{source.pk}/edit/")
    page.get_by_label("May be named in public").check()
    page.get_by_role("button", name="Keep the source").click()
    reads(page, source.name, within="h1")
    page.get_by_role("button", name="Keep the source").wait_for(state="detached")
    page.goto(f"{visit.url}{making.get_absolute_url()}")
    reads(page, "given by Nettlebank School", within="#from-where .note")
