"""The value of the store: for the owner, by the studio's way, in a fixed number of queries."""

import pytest

from tests.builders import (
    KG,
    day,
    make_fibre,
    make_lot,
    make_offer,
    make_source,
    make_studio,
)
from tests.orders.looking import heads, look, said, same_queries_for_1_and_20

pytestmark = pytest.mark.django_db
PAGE = "/store/value/"


@pytest.fixture
def abaca():
    return make_fibre(name="Abaca sheet pulp")


def test_an_empty_store_is_worth_nothing(owner_client):
    assert "Nothing is in store." in said(look(owner_client, PAGE))


def test_each_fibre_and_the_whole_have_their_value(owner_client, abaca):
    # By hand: 10 kg for 100.00 and 5 kg for 20.00, without water.
    make_lot(abaca, moisture="0", paid_minor=10_000)
    make_lot(make_fibre(name="Kozo"), as_is_mg=5 * KG, moisture="0", paid_minor=2_000)
    page = look(owner_client, PAGE)
    assert heads(page, "Fibre in the store")[:2] == ["Abaca sheet pulp", "Kozo"]
    text = said(page)
    assert "By the book the fibre in store cost £120.00." in text
    assert "First in, first out" in text
    cells = [cell.text.strip() for cell in page.all("td")]
    assert {"100.00", "20.00", "10.00", "4.00", "120.00"} <= set(cells)


def test_what_it_would_cost_today_stands_beside_it(owner_client, abaca):
    # By hand: 10 kg at 15.00 oven-dry, by the offer; of the two the cheaper.
    make_lot(abaca, moisture="0", paid_minor=10_000)
    for price in (1_500, 1_900):
        make_offer(abaca, make_source(), minor_per_kg=price, price_per="oven-dry")
    make_offer(abaca, make_source(), minor_per_kg=1, price_per="oven-dry", valid_to=day(1))
    cells = [cell.text.strip() for cell in look(owner_client, PAGE).all("td")]
    assert "150.00" in cells


def test_fibre_without_a_price_is_told(owner_client, abaca):
    make_lot(abaca, moisture="0")
    text = said(look(owner_client, PAGE))
    assert "Some of it has no price and is counted as nothing" in text


def test_the_studio_s_way_is_named(owner_client, abaca):
    make_studio(book_cost="average")
    make_lot(abaca, paid_minor=10_000)
    assert "Moving average" in said(look(owner_client, PAGE))


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_sees_no_value(request, who, abaca):
    make_lot(abaca, paid_minor=10_000)
    client = request.getfixturevalue(who)
    assert client.get(PAGE).status_code == 403
    assert "/store/value/" not in client.get("/store/").content.decode()


def test_the_store_leads_the_owner_to_its_value(owner_client, abaca):
    make_lot(abaca, paid_minor=10_000)
    assert look(owner_client, "/store/").one("a", href=PAGE)


def test_it_takes_the_same_queries_for_1_and_20_fibres(owner_client):
    def add():
        fibre = make_fibre()
        make_lot(fibre, paid_minor=10_000)
        make_offer(fibre, make_source())

    same_queries_for_1_and_20(owner_client, PAGE, add)
