"""Purchases on the page: the list, one of them, planning and ordering; with and without money."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres.models import Lot, Offer, Purchase
from studio.models import Entry
from tests.builders import (
    KG,
    day,
    make_fibre,
    make_lot,
    make_offer,
    make_purchase,
    make_source,
    make_studio,
)
from tests.fibres.buying import at, kozo, wetter
from tests.fibres.pages import faults, see, send, told

pytestmark = pytest.mark.django_db
PURCHASES, NEW = "/purchases/", "/purchases/new/"


# --- planning -----------------------------------------------------------------------------------


def test_order_is_planned_from_what_a_source_offers(owner_client):
    offer = kozo()
    make_offer(source=make_source(name="Closed Mill", closed_on=day(1)))
    choose = see(owner_client, NEW)
    assert "Closed Mill" not in told(choose)
    (link,) = [row for row in choose.all("a") if row.text == "Tidewater"]
    page = see(owner_client, link.attrs["href"])
    assert "A pack is 5.00 kg at 8 % moisture; £9.40 a kg as sold; from 4 packs £9.00." in told(
        page
    )
    response = send(
        owner_client,
        link.attrs["href"],
        **{f"offer_{offer.pk}": "4", "order_by": str(day(-9))},
    )
    purchase = Purchase.objects.get()
    assert response.url == at(purchase)
    assert (purchase.freight_minor, purchase.lines.get().goods_minor) == (3500, 18_000)
    words = told(see(owner_client, response.url))
    # By hand: 4 packs of 5 kg at 8 % hold 18.4 kg; 180.00 and 35.00 are 215.00.
    assert "18.40 kg oven-dry is planned and not ordered yet. Order it by" in words
    assert "In all £215.00" in words


def test_panel_works_out_goods_freight_and_what_is_missing_of_the_minimum(owner_client):
    offer = kozo()
    offer.source.order_minimum_minor = 20_000
    offer.source.save()
    address = f"{NEW}?source={offer.source_id}"
    (form,) = see(owner_client, address).all("form", class_="desk")
    assert form.attrs["hx-post"] == address
    response = send(owner_client, address, **{f"offer_{offer.pk}": "4", "work_out": "1"})
    assert not Purchase.objects.exists()
    words = told(type(see(owner_client, address))(response.content.decode()))
    assert "Kozo 4 packs, 20.00 kg as sold £180.00" in words
    assert "Freight as usual £35.00" in words
    # By hand: 215.00 for 18.4 kg are 11.68 a kilogram.
    assert "A kilogram oven-dry costs with freight £11.68" in words
    assert "takes orders of £200.00 or more: £20.00 is missing" in words


@pytest.mark.parametrize(
    ("packs", "changes", "fault"),
    [
        ("", {}, "Give the packs that are wanted of at least one fibre."),
        ("1.5", {}, "whole number"),
        ("10000", {}, "9999 or fewer"),
        ("1", {"least_packs": 3}, "Kozo is sold by 3 packs or more, got 1."),
        ("1", {"valid_to": day(1)}, "The offer of Kozo does not hold on"),
    ],
)
def test_faulty_plan_comes_back_and_writes_nothing(owner_client, packs, changes, fault):
    offer = kozo(**changes)
    response = send(
        owner_client,
        f"{NEW}?source={offer.source_id}",
        **{f"offer_{offer.pk}": packs, "remarks": "Ask for the long fibre"},
    )
    assert fault in faults(response)
    assert "Ask for the long fibre" in response.content.decode()
    assert not Purchase.objects.exists()
    assert not Entry.objects.exists()


@pytest.mark.parametrize("source", ["", "x", "99999999999", "²", "404"])
def test_source_that_offers_nothing_is_asked_for_again(owner_client, source):
    make_source()
    assert "Choose the source." in told(see(owner_client, f"{NEW}?source={source}"))
    assert owner_client.post(f"{NEW}?source={source}").status_code == 200
    assert not Purchase.objects.exists()


def test_plan_is_changed_and_one_changed_meanwhile_is_not(owner_client):
    offer = kozo()
    purchase = make_purchase(offer, is_planned=True)
    address = at(purchase, "edit")
    page = see(owner_client, address)
    assert [row.attrs["value"] for row in page.all("input", name=f"offer_{offer.pk}")] == ["3"]
    response = send(owner_client, address, **{f"offer_{offer.pk}": "5", "freight": "12.50"})
    assert response.url == at(purchase)
    purchase.refresh_from_db()
    assert (purchase.lines.get().packs, purchase.freight_minor) == (5, 1250)
    stale = send(owner_client, address, version="0" * 32)
    assert "Somebody changed this purchase meanwhile." in faults(stale)


def test_changed_plan_keeps_an_offer_that_ended_on_the_page(owner_client):
    purchase = make_purchase(kozo(), is_planned=True)
    Offer.objects.update(closed_on=day())
    assert "Kozo, Dry bark" in told(see(owner_client, at(purchase, "edit")))


def test_line_of_a_closed_offer_stays_as_it_was_planned_and_is_not_priced_afresh(owner_client):
    offer = kozo()
    linter = make_offer(make_fibre(name="Linter"), offer.source)
    purchase = make_purchase(offer, linter, is_planned=True)
    Offer.objects.update(minor_per_kg=2000)
    Offer.objects.filter(pk=offer.pk).update(closed_on=day())
    address = at(purchase, "edit")
    assert "the offer is closed" in told(see(owner_client, address))
    assert send(owner_client, address).url == at(purchase)
    # By hand: 3 packs of 5 kg, at the 9.40 of the plan and at the 20.00 of today.
    lines = {line.offer: line.goods_minor for line in purchase.lines.all()}
    assert lines == {offer: 14_100, linter: 30_000}
    response = send(owner_client, address, **{f"offer_{offer.pk}": "4"})
    assert "The offer of Kozo is closed" in faults(response)
    assert send(owner_client, address, **{f"offer_{offer.pk}": ""}).url == at(purchase)
    assert [line.offer for line in purchase.lines.all()] == [linter]


# --- ordering, putting off, closing -------------------------------------------------------------


def test_planned_order_is_marked_as_ordered(owner_client):
    purchase = make_purchase(kozo(), is_planned=True)
    response = send(owner_client, at(purchase, "order"), freight="20")
    purchase.refresh_from_db()
    assert (purchase.state, purchase.freight_minor) == ("ordered", 2000)
    assert purchase.expected_on == day(-12)
    words = told(see(owner_client, response.url))
    assert "13.80 kg oven-dry is on its way, expected on" in words
    assert owner_client.get(at(purchase, "order")).url == at(purchase)


def test_day_before_the_order_is_a_fault_of_its_field(owner_client):
    purchase = make_purchase(is_planned=True)
    response = send(owner_client, at(purchase, "order"), expected_on=str(day(3)))
    assert "Expected: It cannot come before it is ordered" in faults(response)
    purchase.refresh_from_db()
    assert purchase.state == "planned"


def test_late_purchase_says_so_in_words_and_is_put_off(owner_client):
    purchase = make_purchase(expected_on=day(3))
    assert "3 days late" in told(see(owner_client, PURCHASES))
    assert "on its way, 3 days late: it was expected on" in told(see(owner_client, at(purchase)))
    address = at(purchase, "expect")
    assert "That day has passed." in faults(send(owner_client, address, expected_on=str(day(1))))
    send(owner_client, address, expected_on=str(day(-4)))
    assert "late" not in told(see(owner_client, at(purchase)))


def test_rest_is_given_up_with_its_reason(owner_client):
    purchase = make_purchase(received=1)
    assert "Why: Fill this in." in faults(send(owner_client, at(purchase, "close")))
    send(owner_client, at(purchase, "close"), why="Sold out")
    words = told(see(owner_client, at(purchase)))
    # By hand: two packs of 5 kg at 8 % hold 9.2 kg.
    assert "Closed. 9.20 kg oven-dry of it was given up." in words
    assert "Closed: Sold out" in words
    assert not see(owner_client, at(purchase)).all("a", class_="do")
    # By hand: three packs of 5 kg at 8 % were ordered; what was given up is to come no longer.
    assert "3 5.00 8 % 13.80 1" in words
    assert "3 5.00 8 % 13.80 1 9.20" not in words


# --- who sees and does what ---------------------------------------------------------------------


def test_money_is_for_the_owner_alone_on_page_list_and_file(
    owner_client, hand_client, viewer_client
):
    purchase = make_purchase(kozo(), freight_minor=1234)
    wetter(purchase)
    prices = ("141.00", "12.34", "47.00", "2.04", "£")
    assert all(price in told(see(owner_client, at(purchase))) for price in prices)
    assert "141" in owner_client.get(f"{PURCHASES}?format=csv").getvalue().decode()
    for client in (hand_client, viewer_client):
        for address in (at(purchase), PURCHASES):
            html = client.get(address).content.decode()
            assert not [price for price in prices if price in html]
    text = hand_client.get(f"{PURCHASES}?format=csv").getvalue().decode()
    assert "Tidewater" in text
    assert "141" not in text
    assert "12.34" not in hand_client.get(at(purchase, "receive")).content.decode()
    assert not [entry for entry in Entry.objects.all() if "£" in entry.said]


def test_each_is_offered_what_they_may_do(owner_client, hand_client, viewer_client):
    purchase = make_purchase()

    def offered(client):
        page = see(client, at(purchase))
        return {
            row.attrs["href"].split("/")[-2]
            for row in page.all("a")
            if purchase.ref in row.attrs["href"]
        }

    assert offered(owner_client) == {"receive", "expect", "close"}
    assert offered(hand_client) == {"receive"}
    assert offered(viewer_client) == set()
    assert "Plan an order" not in told(see(hand_client, PURCHASES))
    assert hand_client.get(NEW).status_code == 403
    assert viewer_client.post(at(purchase, "receive")).status_code == 403


# --- the list, and the pages that lead here -----------------------------------------------------


def test_purchases_are_narrowed_by_state_source_and_fibre(owner_client):
    offer = kozo()
    ordered = make_purchase(offer)
    planned = make_purchase(is_planned=True)

    def found(query):
        page = see(owner_client, f"{PURCHASES}?{query}")
        return [row.text for row in page.all("a") if "tbody" in row.inside]

    assert found("") == [planned.ref, ordered.ref]
    assert found("state=planned") == [planned.ref]
    assert found(f"source={offer.source_id}") == [ordered.ref]
    assert found(f"fibre={offer.fibre_id}") == [ordered.ref]
    assert found(f"words={ordered.ref.lower()}") == [ordered.ref]
    # A fibre in two lines does not count the goods of its purchase twice.
    make_purchase(offer, offer)
    words = told(see(owner_client, f"{PURCHASES}?fibre={offer.fibre_id}"))
    assert "282.00" in words


def test_us_studio_reads_pounds(owner_client):
    make_studio(units="US")
    purchase = make_purchase()
    assert "Pounds, oven-dry" in told(see(owner_client, PURCHASES))
    assert "Pounds, oven-dry" in told(see(owner_client, at(purchase)))
    assert "11 lb 0.4 oz a pack" in told(see(owner_client, at(purchase, "receive")))


def test_source_and_lot_name_their_purchases(owner_client):
    offer = kozo()
    purchase = make_purchase(offer, received=1)
    source = see(owner_client, offer.source.get_absolute_url())
    assert purchase.ref in told(source)
    assert f"{NEW}?source={offer.source_id}" in [row.attrs["href"] for row in source.all("a")]
    lot = see(owner_client, Lot.objects.get().get_absolute_url())
    assert f"Ordered as {purchase.ref}" in told(lot)
    assert "Ordered as" not in told(see(owner_client, make_lot().get_absolute_url()))


def test_store_shows_what_is_on_its_way_and_says_it_of_what_is_low(owner_client):
    offer = kozo()
    make_purchase(offer)
    # Nothing has come yet, and the store is no empty one.
    words = told(see(owner_client, "/store/"))
    assert "Nothing is on hand." in words
    # By hand: three packs of 5 kg at 8 % hold 13.8 kg; a fibre without a minimum is not low.
    assert "All fibre 0 0 0 13.80" in words
    assert "13.80 kg of Kozo is on its way." not in words
    offer.fibre.minimum_mg = KG
    offer.fibre.save()
    assert "Kozo is below its minimum. 13.80 kg of Kozo is on its way." in told(
        see(owner_client, "/store/")
    )
    linter = make_offer(make_fibre(name="Linter", minimum_mg=KG))
    make_purchase(linter)
    assert "More Kozo and Linter is on its way." in told(see(owner_client, "/store/"))


@pytest.mark.parametrize("act", ["list", "page", "receive", "store", "source"])
def test_query_count_does_not_grow_with_the_rows(act, owner_client):
    def pages(count):
        source = make_source()
        offers = [make_offer(make_fibre(), source) for _ in range(count)]
        purchase = make_purchase(*offers, received=1)
        for offer in offers:
            make_purchase(offer)
        addresses = {
            "list": PURCHASES,
            "page": at(purchase),
            "receive": at(purchase, "receive"),
            "store": "/store/",
            "source": source.get_absolute_url(),
        }
        owner_client.get(addresses[act])
        with CaptureQueriesContext(connection) as queries:
            assert owner_client.get(addresses[act]).status_code == 200
        return len(queries)

    assert pages(1) == pages(12)
