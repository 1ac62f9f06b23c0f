"""Offers of one fibre compared on a page: three winners, the reason, and who is left out."""

import io
from datetime import date
from decimal import Decimal

import openpyxl
import pytest

from fibres.models import Source
from tests.builders import (
    KG,
    day,
    make_fibre,
    make_lot,
    make_offer,
    make_source,
    make_studio,
    signed_in,
)
from tests.fibres.pages import Sheet, faults, see, told, typed

pytestmark = pytest.mark.django_db
COMPARE = "/sources/offers/compare/"


@pytest.fixture
def yard():
    make_studio(currency="GBP", units="metric")
    return make_source(name="Greyling Fibres"), make_fibre(name="Cotton linter")


@pytest.fixture
def h4(yard):
    """Offers of scenario H4 of the reference, worked by hand; the linter is used without loss."""
    fibre = make_fibre(name="Linter", preparation_yield=Decimal(1))
    for name, pack, price, moisture, freight, lead in (
        ("X-5", 5, 940, "0.08", 1400, 12),
        ("X-20", 20, 810, "0.12", 0, 12),
        ("Y-10", 10, 860, "0.06", 1950, 5),
        ("Z-4", 4, 995, "0.05", 600, 3),
    ):
        source = make_source(name=name, lead_days=lead, freight_minor=freight)
        make_offer(
            fibre, source, pack_mg=pack * KG, minor_per_kg=price, moisture=Decimal(moisture)
        )
    return fibre


def compare(client, fibre, want="1.119 kg", **more):
    return client.get(COMPARE, {"fibre": fibre.pk, "want": want, **more})


def test_h4_compared_on_the_page(owner_client, h4):
    page = Sheet(compare(owner_client, h4).content.decode())
    words = told(page)
    for part in (
        "4 offers cover 1.12 kg oven-dry of Linter.",
        "Cash £45.80: Z-4 (4.00 kg)",
        "Delivered £9.20 a usable kg: X-20 (20.00 kg)",
        "Before freight £9.15 a dry kg: Y-10 (10.00 kg)",
        "Z-4 (4.00 kg) asks for the least money: 1 pack for £45.80.",
    ):
        assert part in words
    cells = [cell.text for cell in page.all("td")]
    marked = [text for text in cells if text.endswith("least")]
    assert [text.removesuffix("least").strip() for text in marked] == ["45.80", "9.15", "9.20"]


def test_compared_offers_are_taken_along(owner_client, h4):
    text = compare(owner_client, h4, format="csv").getvalue().decode().lstrip("\ufeff")
    heads, *rows = text.splitlines()
    assert "Cash, GBP" in heads
    assert [row.split(",")[0].strip('"') for row in rows] == ["Z-4", "X-5", "Y-10", "X-20"]
    content = compare(owner_client, h4, format="xlsx").content
    assert openpyxl.load_workbook(io.BytesIO(content)).active.max_row == 5


@pytest.mark.parametrize(
    ("asked", "fault"),
    [
        ({"fibre": "", "want": "1 kg"}, "Fibre: Choose one."),
        ({"fibre": "999999", "want": "1 kg"}, "Fibre: Choose one of those offered."),
        ({"want": ""}, "Oven-dry, wanted: Give a mass"),
        ({"want": "0 kg"}, "Oven-dry, wanted: “0 kg” is outside"),
        ({"want": "lots"}, "Oven-dry, wanted: “lots” can't be read as a mass."),
    ],
)
def test_question_that_cannot_be_read_is_answered_with_its_fault(owner_client, h4, asked, fault):
    assert fault in faults(owner_client.get(COMPARE, {"fibre": h4.pk, **asked}))


def test_with_no_offer_the_page_leads_to_entering_one(owner_client):
    page = see(owner_client, COMPARE)
    assert "No offer stands yet." in told(page)
    assert "/sources/offers/new/" in [link.attrs["href"] for link in page.all("a", class_="tall")]


def test_page_without_a_question_asks_it(owner_client, h4):
    page = see(owner_client, f"{COMPARE}?fibre={h4.pk}")
    assert typed(page)["fibre"] == str(h4.pk)
    assert not page.all("table")
    assert "No offer stands yet." not in told(page)


def test_closed_ended_and_out_of_reach_offers_are_not_compared(owner_client, yard):
    fibre = yard[1]
    make_offer(fibre, make_source(name="Near"))
    make_offer(fibre, make_source(name="Shut"), closed_on=day())
    make_offer(fibre, make_source(name="Gone", closed_on=day()))
    make_offer(fibre, make_source(name="Giver", kind="donor"))
    make_offer(fibre, make_source(name="Late"), valid_to=day(1))
    make_offer(fibre, make_source(name="Dear", order_minimum_minor=1), minor_per_kg=0)
    words = told(Sheet(compare(owner_client, fibre).content.decode()))
    assert "One offer covers 1.12 kg oven-dry of Cotton linter." in words
    assert "Late (5.00 kg): It ended before a day on which it could be ordered." in words
    assert "Dear (5.00 kg): No number of packs comes to the least order" in words
    for name in ("Shut", "Gone", "Giver"):
        assert name not in words


def test_season_and_lead_time_give_the_day_it_is_here(owner, yard, time_machine):
    time_machine.move_to(date(2027, 5, 1))
    owner_client = signed_in(owner)
    source = make_source(name="Bark House", lead_days=10, season_from=2, season_to=4)
    fibre = make_fibre(name="White bark kozo")
    make_offer(fibre, source)
    # The season is over on 30 April; 1 February and ten days
    text = compare(owner_client, fibre, format="csv").getvalue().decode()
    assert "2028-02-01,2028-02-11" in text


def test_least_order_raises_the_packs_and_says_so(owner_client, yard):
    source = make_source(name="Bulk House", order_minimum_minor=10_000)
    make_offer(yard[1], source)
    words = told(Sheet(compare(owner_client, yard[1]).content.decode()))
    # A pack is 47.00: three come to 141.00
    assert "Bulk House 3 × 5.00 kg to reach the least order 13.80" in words


def test_each_offer_leads_on_to_planning_an_order_from_its_source(owner_client, h4):
    page = Sheet(compare(owner_client, h4).content.decode())
    links = {link.text: link.attrs["href"] for link in page.all("a") if "Plan" in link.text}
    assert links == {
        f"Plan an order to {source.name}": f"/purchases/new/?source={source.pk}"
        for source in Source.objects.exclude(name="Greyling Fibres")
    }
    answer = owner_client.get(links["Plan an order to Z-4"])
    assert "Plan an order to Z-4" in answer.content.decode()
    text = compare(owner_client, h4, format="csv").getvalue().decode()
    assert "Plan" not in text
    assert "Next" not in text


def test_comparison_of_one_fibre_asks_the_same_however_many_offers(
    owner_client, yard, django_assert_num_queries
):
    fibre = yard[1]
    for more in (1, 19):
        for _ in range(more):
            make_offer(fibre, breaks={4: 850})
        with django_assert_num_queries(10):
            compare(owner_client, fibre)


def test_fibre_and_store_lead_to_the_comparison(owner_client, hand_client, h4):
    make_lot(h4)
    for client, is_led in ((owner_client, True), (hand_client, False)):
        assert (f'href="{COMPARE}"' in client.get("/store/").content.decode()) == is_led
    address = f"{COMPARE}?fibre={h4.pk}"
    fibre_page = h4.get_absolute_url()
    assert address in owner_client.get(fibre_page).content.decode()
    assert COMPARE not in hand_client.get(fibre_page).content.decode()
