"""Make, sort, send on a phone: the last part, from the commission to the packing list on paper."""

from __future__ import annotations

import re
from typing import Any

import pytest

from orders.models import Commission, Delivery
from studio import people
from tests.browser.screen import overhang
from tests.builders import make_commission, make_finished, make_making, make_studio

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def made(transactional_db: None) -> Any:
    make_studio(name="Reed Vat")
    asked = make_commission(
        ref="C-118", title="Song sheets", good_quantity=60, state=Commission.State.MAKING
    )
    make_finished(asked, ref="R-207", good=58, retree=4)
    return make_making(commission=asked, ref="R-208")


@pytest.fixture
def hand_in_browser(transactional_db: None) -> Any:
    person = people.make_owner("rue", None)
    person.is_superuser = False
    person.save()
    people.make_roles()
    from django.contrib.auth.models import Group

    person.groups.set([Group.objects.get(name="hand")])
    return person


@pytest.mark.parametrize("script", [False, True])
def test_a_hand_sends_what_is_made_and_prints_the_packing_list(
    visit: Any, made: Any, hand_in_browser: Any, script: bool
) -> None:
    page = visit("/commissions/C-118/", width=360, user=hand_in_browser, script=script)
    assert "58 of its 60 good sheets are made" in page.locator("main").inner_text()
    assert overhang(page) == 0
    page.get_by_role("link", name="Send sheets").click()
    assert overhang(page) == 0

    assert page.get_by_label("Good", exact=True).input_value() == "58"
    page.get_by_label("Sent to").fill("Mill Lane 4, Overbridge")
    page.get_by_label("One sheet weighs").first.fill("7.42")
    page.get_by_label("Parcel weighs").first.fill("620 g")
    page.get_by_role("button", name="Work it out").click()
    # 58 sheets of 7.42 g are 430.36 g, and 620 less that 189.64 g.
    page.get_by_text("0.190\u00a0kg").first.wait_for(timeout=5000)
    assert not Delivery.objects.exists()
    page.get_by_role("button", name="Send the sheets").click()

    delivery = Delivery.objects.get()
    assert page.url.endswith(f"/deliveries/{delivery.ref}/")
    text = page.locator("main").inner_text()
    # 7.42 g on 0.06237 m².
    assert "119\u00a0g/m²" in text
    assert "with this parcel 58 of 60 good sheets are sent, 2 follow." in text
    assert "£" not in text
    assert overhang(page) == 0
    assert Commission.objects.get().state == Commission.State.MAKING

    pages, words = printed(page)
    assert pages == 1
    assert "£" not in words


def printed(page: Any) -> tuple[int, str]:
    """Return how many pages the print takes, and what stands on the printed page."""
    pdf = page.pdf(format="A4", prefer_css_page_size=False)
    page.emulate_media(media="print")
    words = page.locator("main").inner_text()
    page.emulate_media(media="screen")
    return len(re.findall(rb"/Type\s*/Page[^s]", pdf)), words


def test_the_owners_price_stays_off_the_printed_list(visit: Any, made: Any) -> None:
    from orders import sheetsinhand
    from tests.builders import day

    making = made.commission.makings.get(ref="R-207")
    rows = [
        sheetsinhand.Sending(making, "good", 58),
        sheetsinhand.Sending(making, "retree", 4),
    ]
    note = sheetsinhand.ParcelNote(sent_on=day(), sheet_mg=7_420, parcel_mg=650_000)
    delivery = sheetsinhand.send(made.commission, rows, note, by=None)
    page = visit(f"/deliveries/{delivery.ref}/", user=people.make_owner("ann", None))
    assert "£" in page.locator("main").inner_text()
    for size in ("A4", "Letter"):
        assert len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=size))) == 1
    _, words = printed(page)
    assert "£" not in words
    assert "Retree" in words
