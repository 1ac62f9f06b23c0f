"""Cards and packing lists on paper: one page of A4 or letter, and an address in its lines."""

from __future__ import annotations

import re
from typing import Any

import pytest

from orders import sheetsinhand
from orders.models import Commission
from studio import people
from tests.browser.screen import overhang
from tests.builders import (
    KG,
    day,
    make_commission,
    make_finished,
    make_lot,
    make_making,
    make_sheet,
    make_studio,
)
from tests.orders.trails import donor, office, run

pytestmark = pytest.mark.django_db(transaction=True)


def pages(page: Any, size: str) -> int:
    return len(re.findall(rb"/Type\s*/Page[^s]", page.pdf(format=size)))


def of_donors(count: int, name: str) -> Any:
    """Return a finished making of the paper of so many schools."""
    fibre = office()
    lots = [
        make_lot(fibre, donor(f"Nettlebank School, class {n}", may_be_named=True))
        for n in range(count)
    ]
    sheet = make_sheet(width_um=148_000, height_um=210_000, name=name)
    return run([(lot, KG // 4) for lot in lots], making=make_making(sheet))


@pytest.mark.parametrize(
    ("donors", "name", "cards"),
    [
        (1, "Note A5, 140 g/m²", 8),
        (1, "Broadside of old bedding for the poem of the mill at Overbridge", 4),
        (9, "Note A5, 140 g/m²", 4),
        (24, "Note A5, 140 g/m²", 1),
    ],
)
def test_the_cards_of_a_making_fit_one_page(
    visit: Any, transactional_db: None, donors: int, name: str, cards: int
) -> None:
    make_studio(name="Reed Vat")
    making = of_donors(donors, name)
    page = visit(f"/makings/{making.ref}/card/", width=360, user=people.make_owner("ann", None))
    assert overhang(page) == 0
    assert page.locator("li.label").count() == cards
    assert [pages(page, size) for size in ("A4", "Letter")] == [1, 1]


def test_a_card_of_thanks_fits_one_page(visit: Any, transactional_db: None) -> None:
    make_studio(name="Reed Vat")
    fibre, school = office(), donor("Nettlebank School")
    for _ in range(6):
        run([(make_lot(fibre, school), KG)])
    page = visit(f"/sources/{school.pk}/card/", width=360, user=people.make_owner("ann", None))
    assert overhang(page) == 0
    assert [pages(page, size) for size in ("A4", "Letter")] == [1, 1]
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Thanked today").is_visible()


def test_a_packing_list_prints_the_address_in_its_lines_and_no_doubt(
    visit: Any, transactional_db: None
) -> None:
    make_studio(name="Reed Vat")
    asked = make_commission(good_quantity=60, state=Commission.State.MAKING)
    rows = [sheetsinhand.Sending(make_finished(asked, good=60), "good", 60)]
    note = sheetsinhand.ParcelNote(
        sent_on=day(),
        sent_to="Ockle Press\nThe Old Drying Loft\n4 Mill Lane\nOverbridge",
        sheet_mg=6_600,
        parcel_mg=300_000,
        is_right=True,
    )
    delivery = sheetsinhand.send(asked, rows, note, by=None)
    address = f"/deliveries/{delivery.ref}/"
    page = visit(address, width=360, user=people.make_owner("ann", None))
    assert overhang(page) == 0
    assert "lighter than its sheets" in page.locator("main").inner_text()
    for path in (address, f"{address}?prices=1"):
        page.goto(visit.url + path)
        page.emulate_media(media="print")
        assert [pages(page, size) for size in ("A4", "Letter")] == [1, 1]
        text = page.locator("main").inner_text()
        assert note.sent_to in text
        assert "ighter" not in text
