"""The page on which what came is entered, and the claim where it came wetter."""

from decimal import Decimal

import pytest

from fibres.models import Lot
from studio.models import Entry
from tests.builders import (
    KG,
    day,
    make_fibre,
    make_offer,
    make_purchase,
)
from tests.fibres.buying import at, kozo, wetter
from tests.fibres.pages import faults, see, send, told

pytestmark = pytest.mark.django_db


# --- receiving ----------------------------------------------------------------------------------


def test_hand_receives_by_the_label_and_the_rest_stays_to_come(hand_client, hand):
    offer = kozo()
    purchase = make_purchase(offer, make_offer(make_fibre(name="Linter"), offer.source))
    first, second = purchase.lines.all()
    page = see(hand_client, at(purchase, "receive"))
    assert "3 packs to come, 13.80 kg oven-dry at the 8 % agreed" in told(page)
    response = send(
        hand_client,
        at(purchase, "receive"),
        **{f"packs_{first.pk}": "2", f"packs_{second.pk}": ""},
    )
    assert response.url == at(purchase)
    lot = Lot.objects.get()
    assert (lot.as_is_mg, lot.moisture, lot.moisture_known) == (10 * KG, Decimal("0.08"), "label")
    assert (lot.fibre, lot.form, lot.source) == (offer.fibre, "Dry bark", offer.source)
    assert Entry.objects.latest("pk").by == hand
    words = told(see(hand_client, at(purchase)))
    assert f"{lot.ref} Kozo" in words
    assert "is on its way, expected on" in words


def test_receipt_as_weighed_is_what_the_lot_says(owner_client):
    purchase = make_purchase(kozo())
    (line,) = purchase.lines.all()
    send(
        owner_client,
        at(purchase, "receive"),
        **{
            f"mass_{line.pk}": "15.2",
            f"moisture_{line.pk}": "12.5",
            f"known_{line.pk}": "weighed",
            f"wet_{line.pk}": "on",
        },
    )
    lot = Lot.objects.get()
    assert (lot.as_is_mg, lot.moisture, lot.moisture_known) == (
        15_200_000,
        Decimal("0.125"),
        "weighed",
    )
    assert "All of it came" in told(see(owner_client, at(purchase)))


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"packs": "4"}, "Of Kozo, at most 3 can still come."),
        ({"packs": ""}, "Give the packs that came, of at least one line."),
        ({"moisture": ""}, "Give the moisture of Kozo"),
        ({"moisture": "100"}, "Give less than 100 %"),
        ({"received_on": "2099-01-01"}, "That day has not come yet."),
        ({"received_on": str(day(30))}, "was ordered on"),
    ],
)
def test_faulty_receipt_comes_back_and_writes_nothing(hand_client, changes, fault):
    purchase = make_purchase(kozo())
    pk = purchase.lines.get().pk
    sent = {
        name if name == "received_on" else f"{name}_{pk}": text for name, text in changes.items()
    }
    response = send(hand_client, at(purchase, "receive"), remarks="One torn", **sent)
    assert fault in faults(response)
    assert "One torn" in response.content.decode()
    assert not Lot.objects.exists()


def test_panel_of_a_receipt_sets_out_the_fibre_that_came(hand_client):
    purchase = make_purchase(kozo())
    pk = purchase.lines.get().pk
    address = at(purchase, "receive")
    response = send(hand_client, address, **{f"moisture_{pk}": "12", "work_out": "1"})
    words = told(type(see(hand_client, address))(response.content.decode()))
    # By hand: 15 kg at 12 % hold 13.2 kg.
    assert "Kozo 15.00 kg as is at 12 %; 8 % was agreed 13.20 kg" in words
    assert not Lot.objects.exists()


def test_page_sent_twice_is_entered_once(owner_client):
    purchase = make_purchase()
    key = "7" * 32
    address, line = at(purchase, "receive"), purchase.lines.get()
    first = send(owner_client, address, request_key=key, **{f"packs_{line.pk}": "1"})
    again = send(owner_client, address, request_key=key, **{f"packs_{line.pk}": "1"})
    assert first.url == again.url == at(purchase)
    assert Lot.objects.count() == 1


def test_what_is_not_on_its_way_leads_back_to_its_page(owner_client):
    planned, whole = make_purchase(is_planned=True), make_purchase(received=3)
    for purchase, act in ((planned, "receive"), (planned, "expect"), (whole, "close")):
        assert owner_client.get(at(purchase, act)).url == at(purchase)
        sent = owner_client.post(at(purchase, act), {"request_key": "5" * 32, "why": "So"})
        assert sent.status_code == 200
    assert owner_client.get("/purchases/P-999/").status_code == 404


# --- the claim ----------------------------------------------------------------------------------


def test_claim_is_set_out_with_its_working_where_it_came_wetter(owner_client):
    purchase = make_purchase(kozo())
    (lot,) = wetter(purchase)
    words = told(see(owner_client, at(purchase)))
    # By hand: a pack is 47.00; 47.00 × (1 − 0.88 ÷ 0.92) = 47.00 × 0.043478 = 2.04.
    assert f"{lot.ref} Kozo: £2.04" in words
    assert "12 % weighed, wetter" in words
    # By hand: 5 × 0.92 ÷ 0.90 = 5.11 kg; 5 × 0.88 ÷ 0.90 = 4.89 kg.
    assert "as agreed 5.11 kg" in words
    assert "as found 4.89 kg" in words


def test_nothing_is_claimed_by_the_label(owner_client):
    purchase = make_purchase(kozo(), received=1)
    words = told(see(owner_client, at(purchase)))
    assert "8 % on the label" in words
    assert "claim" not in words.lower()
