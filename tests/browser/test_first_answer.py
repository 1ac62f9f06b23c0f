"""From an empty database to the first answer, on a phone, with and without script."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from fibres.models import Furnish, Lot, Movement
from orders.models import Commission
from tests.browser.everypage import violations
from tests.browser.hands import KEY_AT_WORK, Hands
from tests.browser.screen import overhang, press, reads

pytestmark = pytest.mark.django_db(transaction=True)
PASSWORD = "reed and rag 77"
FIVE_MINUTES = 300


@pytest.mark.parametrize("script", [False, True])
def test_first_steps_lead_from_nothing_to_the_first_answer_in_five_minutes(
    visit: Any, transactional_db: None, script: bool
) -> None:
    """Count what a careful person does, and bound the time that the model gives for it.

    Every word above what is pressed is read at the mean rate, every key typed as if its letters
    were random, and each press is thought about first. What is folded up is not opened.
    """
    page = visit("/", width=360, script=script)
    hands = Hands(page)
    hands.type("Studio name", "Reed Vat")
    hands.type("User name", "rue")
    hands.type("Password", PASSWORD)
    hands.type("Password again", PASSWORD)
    hands.press("Open the studio")

    reads(page, "4 steps lead to the first answer.")
    # Today is read wholly, because all steps stand on it; its button is at the top.
    hands.read()
    hands.follow("Log scrap", reading=False)
    reads(page, "First steps, 2 of 5.")
    hands.choose("Class of scrap", "White office paper")
    hands.type("Mass as it is", "3.2")
    hands.press("Enter the lot")

    reads(page, "First steps, 3 of 5. Next:")
    # 3.2 kg as it stands, 5 % of it water: 3.04 kg, by hand.
    reads(page, "3.04 kg oven-dry, as it was received.")
    hands.follow("Write down a furnish")
    reads(page, "New furnish", within="h1")
    hands.press("Keep the furnish")

    reads(page, "First steps, 4 of 5. Next:")
    hands.follow("Enter a sheet")
    reads(page, "New sheet", within="h1")
    hands.type("Name", "Note A5")
    hands.type("Dry size", "A5")
    hands.type("Grammage", "120")
    hands.press("Keep the sheet")

    reads(page, "First steps, 5 of 5. Next:")
    hands.follow("Enter a commission")
    reads(page, "New commission", within="h1")
    hands.type("Client", "Plot Garden")
    hands.type("Title", "Seed notes")
    hands.type("Good sheets", "200")
    due = timezone.localdate() + timedelta(days=30)
    hands.type("Due", f"{due:%d%m%Y}", seen=due.isoformat())
    hands.press("Enter the commission")

    # 200 sheets of 148 × 210 mm at 120 g/m², 6 % of it water, are 200 × 3.506 g = 0.70 kg of
    # fibre; 3.04 kg × 80 % usable make more than three times that: covered by hand, too.
    reads(page, "If it were agreed: the store covers all 200, also at the safe count.")
    hands.read(page.locator(".lede").first)
    assert overhang(page) == 0
    assert page.get_by_role("navigation", name="First steps").count() == 0
    assert (Lot.objects.get().as_is_mg, Commission.objects.get().good_quantity) == (3_200_000, 200)
    assert Movement.objects.get().oven_dry_mg == 3_040_000
    assert Furnish.objects.get().parts.get().share == 1
    assert hands.words > 300, f"words are not counted: {hands}"
    assert hands.seconds() < FIVE_MINUTES, str(hands)
    assert hands.seconds(key=KEY_AT_WORK) < hands.seconds()


def test_counted_scrap_and_a_share_by_hand_lead_there_too(
    visit: Any, transactional_db: None
) -> None:
    """Go the way on the whole pages, from Today to each step."""
    page = visit("/", width=360)
    hands = Hands(page)
    hands.type("Studio name", "Reed Vat")
    hands.type("User name", "rue")
    hands.type("Password", PASSWORD)
    hands.type("Password again", PASSWORD)
    hands.press("Open the studio")
    reads(page, "4 steps lead to the first answer.")

    page.goto(f"{visit.url}/scrap/log/")
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

    page.goto(f"{visit.url}/furnishes/new/")
    page.get_by_label("Name").first.fill("School paper")
    page.get_by_label("Fibre").first.select_option(label="White office paper")
    page.get_by_label("Share", exact=True).first.fill("100")
    page.get_by_role("button", name="Keep the furnish").click()
    reads(page, "School paper", within="h1")

    page.goto(f"{visit.url}/sheets/new/")
    page.get_by_label("Name").fill("Note A5")
    page.get_by_label("Dry size").fill("A5")
    page.get_by_role("textbox", name="Grammage").fill("120 gsm")
    page.get_by_label("Furnish").select_option(label="School paper")
    press(page, "Keep the sheet")
    reads(page, "Note A5", within="h1")

    page.goto(f"{visit.url}/commissions/new/")
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


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_on_the_way(visit: Any, owner_in_browser: Any, theme: str) -> None:
    page = visit("/", width=360, theme=theme, user=owner_in_browser)
    lot = "/lots/OW-0001/"
    found = []
    for address in ("/", "/first-steps/", "/scrap/log/?short=1", "/store/", lot, "/words/"):
        if address == lot:
            page.goto(f"{visit.url}/scrap/log/?short=1")
            page.get_by_label("Class of scrap").select_option(label="White office paper")
            page.get_by_role("textbox", name="Mass as it is").fill("3.2")
            press(page, "Enter the lot")
            reads(page, "First steps, 3 of 5. Next:")
            fibre = Lot.objects.get().fibre_id
            page.goto(f"{visit.url}/furnishes/new/?short=1&fibre={fibre}")
            found += violations(page)
        page.goto(visit.url + address)
        found += [f"{address}: {one}" for one in violations(page)]
        if over := overhang(page):
            found.append(f"{address}: {over} px wider than the window")
    assert found == []


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
