"""From an empty database to the first answer, on a phone, with and without script."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from fibres.models import Lot, Movement
from orders.models import Commission
from tests.browser.screen import press, reads

pytestmark = pytest.mark.django_db(transaction=True)
PASSWORD = "reed and rag 77"


def next_step(page: Any) -> str:
    """Press the filled button of Today, which leads to the next step; return its words."""
    page.goto(page.url.split("/", 3)[0] + "//" + page.url.split("/", 3)[2] + "/")
    button = page.locator(".acts .do:not(.plain)").first
    words = button.inner_text()
    button.click()
    return words


@pytest.mark.parametrize("script", [False, True])
def test_pages_lead_from_nothing_to_the_first_answer(
    visit: Any, transactional_db: None, script: bool
) -> None:
    page = visit("/", width=360, script=script)
    page.get_by_label("Studio name").fill("Reed Vat")
    page.get_by_label("User name").fill("rue")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("Password again").fill(PASSWORD)
    page.get_by_role("button", name="Open the studio").click()
    page.get_by_role("heading", name="Today", level=1).or_(
        page.locator(".acts .do")
    ).first.wait_for()
    assert "Today" in page.title()

    next_step(page)
    page.get_by_label("Given by").fill("Quarry School")
    page.get_by_label("Class of scrap").select_option(label="White office paper")
    page.get_by_label("Sheets counted").check()
    page.get_by_label("Number").fill("640")
    press(page, "Work it out")
    page.get_by_text("Usable").first.wait_for()
    assert not Lot.objects.exists()
    press(page, "Enter the lot")
    reads(page, "Nothing has been made of it yet.")
    lot = Lot.objects.get()
    reads(page, lot.ref, within="h1")
    # 640 A4 sheets of 80 g/m² are 640 × 0.06237 m² × 80 g, by hand.
    assert lot.as_is_mg == 3_193_344
    assert Movement.objects.get().oven_dry_mg == lot.oven_dry_mg

    next_step(page)
    page.get_by_label("Name").first.fill("School paper")
    page.get_by_label("Fibre").first.select_option(label="White office paper")
    page.get_by_label("Share", exact=True).first.fill("100")
    page.get_by_role("button", name="Keep the furnish").click()
    reads(page, "School paper", within="h1")

    next_step(page)
    page.get_by_label("Name").fill("Note A5")
    page.get_by_label("Dry size").fill("A5")
    page.get_by_label("Grammage").fill("120 gsm")
    page.get_by_label("Furnish").select_option(label="School paper")
    press(page, "Keep the sheet")
    reads(page, "Note A5", within="h1")

    next_step(page)
    page.get_by_label("Or a new client").fill("Plot Garden")
    page.get_by_label("Title").fill("Seed notes")
    page.get_by_label("Sheet", exact=True).select_option(label="Note A5")
    page.get_by_label("Good sheets").fill("200")
    due = timezone.localdate() + timedelta(days=30)
    page.get_by_label("Due").fill(due.isoformat())
    page.get_by_label("Agreed").check()
    press(page, "Enter the commission")

    reads(page, "The store covers all 200")
    reads(page, "Cost of a good sheet")
    assert Commission.objects.get().state == "agreed"


def test_log_scrap_panel_follows_what_is_typed(visit: Any, owner_in_browser: Any) -> None:
    page = visit("/scrap/log/", width=360, user=owner_in_browser)
    page.get_by_label("Class of scrap").select_option(label="White office paper")
    page.get_by_label("Mass as it is", exact=True).press_sequentially("5 lb 4 oz")
    # 5 lb 4 oz are 2.381 kg (453.59237 g a pound).
    page.locator(".live").get_by_text("2.38\u00a0kg").first.wait_for(timeout=5000)
    assert not Lot.objects.exists()


@pytest.fixture
def owner_in_browser(transactional_db: None) -> Any:
    from studio import people

    return people.make_owner("rue", None)
