"""The price of a parcel: kept as it is sent, and shown so whatever prices do later."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from fibres.models import FurnishPart
from orders import parcels, services
from orders.models import Commission, Delivery
from orders.sheetsinhand import ParcelNote, Sending
from studio.models import Studio
from tests.builders import (
    day,
    make_commission,
    make_delivery,
    make_finished,
    make_lot,
    make_studio,
)
from tests.orders.looking import look, said
from tests.studio.pages import words

pytestmark = pytest.mark.django_db
State = Commission.State


@pytest.fixture
def asked(sheet, fibre):
    make_studio(price_by="margin", price_rate=Decimal("0.3"), retree_price_share=Decimal("0.9"))
    make_lot(fibre, paid_minor=10_000)
    return make_commission(sheet, ref="C-101", good_quantity=60, state=State.MAKING)


def page_of(client, delivery):
    return said(look(client, f"/deliveries/{delivery.ref}/"))


def price_on(client, delivery):
    return words(look(client, f"/deliveries/{delivery.ref}/").one("section", id="price").text)


def test_a_parcel_keeps_the_price_that_the_commission_has_when_it_is_sent(asked):
    making = make_finished(asked, good=60, retree=2)
    _, answer = services.cover_of(asked, day())
    cost = services.cost_of(asked, picks=answer.picks if answer else ())
    rows = [Sending(making, "good", 40), Sending(making, "retree", 2)]
    delivery = parcels.send(asked, rows, ParcelNote(sent_on=day()), by=None)
    delivery.refresh_from_db()
    assert delivery.good_minor == cost.price_minor_per_sheet
    assert delivery.total_minor == 40 * delivery.good_minor + 2 * delivery.retree_minor
    kept = delivery.price_working
    assert (kept["currency"], kept["price_by"], kept["quantity"]) == ("GBP", "margin", 60)
    assert (Decimal(kept["price_rate"]), Decimal(kept["retree_share"])) == (
        Decimal("0.3"),
        Decimal("0.9"),
    )
    assert Decimal(kept["cost_minor"]) == cost.total_minor_per_sheet


def test_a_later_change_of_prices_does_not_alter_what_was_sent(asked, fibre, owner_client):
    delivery = make_delivery(asked)
    before = price_on(owner_client, delivery)
    whole = f"£{delivery.total_minor / 100:,.2f}"
    assert whole in before
    assert "As it was reckoned when the parcel was sent" in before
    now = parcels.reckoned(asked, asked.sheet, good=40, retree=2)
    make_lot(fibre, paid_minor=900_000)
    Studio.objects.update(
        currency="USD", hourly_rate_minor=9900, price_rate=Decimal("0.6"),
        retree_price_share=Decimal("0.1"),
    )  # fmt: skip
    Commission.objects.filter(pk=asked.pk).update(good_quantity=900)
    asked.refresh_from_db()
    assert parcels.reckoned(asked, asked.sheet, good=40, retree=2).total_minor != now.total_minor
    assert price_on(owner_client, delivery) == before


def test_an_agreed_price_is_that_of_the_parcel(asked):
    Commission.objects.filter(pk=asked.pk).update(agreed_price_minor=1234)
    asked.refresh_from_db()
    delivery = make_delivery(asked)
    # 40 at 12.34, and 2 at nine tenths of it, 11.106, rounded 11.11.
    assert (delivery.good_minor, delivery.retree_minor) == (1234, 1111)
    assert delivery.total_minor == 40 * 1234 + 2 * 1111


def test_a_parcel_of_before_says_that_it_is_reckoned_now(asked, owner_client):
    delivery = make_delivery(asked)
    Delivery.objects.update(
        good_minor=None, retree_minor=None, total_minor=None, price_working=None
    )
    text = page_of(owner_client, delivery)
    assert "Reckoned now, for no price was kept when the parcel was sent" in text
    price = parcels.reckoned(asked, asked.sheet, good=40, retree=2)
    assert f"£{price.total_minor / 100:,.2f}" in text


def test_where_no_price_can_be_made_the_sheets_go_all_the_same(asked, owner_client):
    FurnishPart.objects.all().delete()
    delivery = make_delivery(asked)
    assert delivery.total_minor is None
    assert "It cannot be reckoned." in page_of(owner_client, delivery)


def test_sheets_of_the_studios_own_are_priced_at_their_number(asked):
    stock = make_finished(sheet=asked.sheet, good=12)
    note = ParcelNote(sent_on=day())
    delivery = parcels.send(None, [Sending(stock, "good", 12)], note, by=None)
    (cost,) = services.costs_of(asked.sheet, [12])
    assert delivery.total_minor == 12 * cost.price_minor_per_sheet
    assert delivery.price_working["quantity"] == 12


def test_prices_come_onto_the_packing_list_only_where_the_owner_asks(asked, owner_client):
    delivery = make_delivery(asked)
    paper = look(owner_client, f"/deliveries/{delivery.ref}/").one("article", class_="paper")
    assert "£" not in paper.text
    page = look(owner_client, f"/deliveries/{delivery.ref}/", prices=1)
    paper = page.one("article", class_="paper").text
    assert f"£{delivery.total_minor / 100:,.2f}" in paper
    # What the studio keeps of the price is not for the client.
    assert "kept as margin" in price_on(owner_client, delivery)
    assert "margin" not in paper


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_gets_no_price_by_the_address_either(request, who, asked):
    delivery = make_delivery(asked)
    client = request.getfixturevalue(who)
    page = look(client, f"/deliveries/{delivery.ref}/", prices=1)
    assert "£" not in page.one("html").text


def test_a_price_is_kept_whole_or_not_at_all(asked):
    delivery = make_delivery(asked)
    delivery.retree_minor = None
    with pytest.raises(ValidationError, match="whole price, or none"):
        delivery.full_clean()
    with pytest.raises(IntegrityError), transaction.atomic():
        Delivery.objects.update(total_minor=None)


def test_a_parcel_taken_back_has_no_price_any_more(asked, owner_client):
    from orders import sheetsinhand

    delivery = make_delivery(asked)
    sheetsinhand.take_back(delivery, happened_on=day(), why="Came back", by=None)
    assert "£" not in page_of(owner_client, delivery)
