"""The three everyday uses without a pointer, and the way past the band on every page."""

from __future__ import annotations

from typing import Any

import pytest

from fibres.models import Lot
from tests.browser.everypage import make_demo
from tests.browser.keys import Keys
from tests.browser.screen import reads

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def today(visit: Any, transactional_db: None) -> Any:
    return visit("/", user=make_demo())


def test_the_first_stop_leads_past_the_band(today: Any):
    keys = Keys(today)
    keys.follow("Skip to the page")

    assert today.evaluate("document.activeElement.id") == "main"
    keys.to("Does stock cover it?")


def test_does_stock_cover_it(today: Any):
    keys = Keys(today)
    keys.follow("C-003")
    reads(today, "Sheets for an edition", within="h1")
    # The demo is the worked case H1 of the design: 0.360 kg of abaca are missing.
    reads(today, "0.360 kg oven-dry of Abaca pulp sheet is missing")


def test_what_does_it_cost(today: Any):
    keys = Keys(today)
    keys.follow("What does it cost?")
    reads(today, "C-001", within="h1")
    # C-001 of the worked case costs 4.74 a good sheet.
    reads(today, "It costs £4.74 a good sheet")


def test_log_scrap(today: Any):
    known = set(Lot.objects.values_list("ref", flat=True))
    keys = Keys(today)
    keys.follow("Log scrap")
    keys.to("Given by")
    today.keyboard.type("Quarry School")
    keys.choose("Class of scrap", "White office")
    keys.pick("Weighed", "Sheets counted")
    keys.fill("Number", "640")
    keys.follow("Enter the lot")
    reads(today, "Nothing has been made of it yet.")

    (lot,) = Lot.objects.exclude(ref__in=known)
    # 640 A4 sheets of 80 g/m² are 640 × 0.06237 m² × 80 g, by hand.
    assert lot.as_is_mg == 3_193_344
