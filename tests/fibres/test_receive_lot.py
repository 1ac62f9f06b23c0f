"""Entering a bought lot, with the sum that takes off its water and prices what is left."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from fibres.models import Lot, Movement
from tests.builders import day, make_fibre, make_source, make_studio
from tests.fibres.pages import Sheet, faults, see, send, told, typed, written

pytestmark = pytest.mark.django_db
RECEIVE = "/lots/receive/"


@pytest.fixture
def bought(db):
    """What is sent for 10 kg of abaca from a supplier."""
    fibre = make_fibre(name="Abaca", code="AB", keeps_wet_days=21)
    source = make_source(name="Tidewater")
    return {"fibre": fibre.pk, "source": source.pk, "mass": "10", "moisture": "8"}


def test_bought_lot_is_entered_with_its_first_movement(owner_client, bought):
    response = send(
        owner_client, RECEIVE, **bought, paid="92", form="Dry sheet", preparation_yield="90",
        moisture_known="weighed", remarks="Two bales.",
    )  # fmt: skip
    lot = Lot.objects.get()
    assert response.url == lot.get_absolute_url()
    assert (lot.as_is_mg, lot.oven_dry_mg, lot.paid_minor) == (10_000_000, 9_200_000, 9200)
    assert (lot.moisture_known, lot.preparation_yield) == ("weighed", Decimal("0.9"))
    assert (lot.form, lot.remarks, lot.measured) == ("Dry sheet", "Two bales.", "weighed")
    movement = Movement.objects.get()
    assert (movement.kind, movement.oven_dry_mg) == ("received", 9_200_000)
    assert "Lot AB-0001 is in store: 9.20 kg oven-dry." in told(see(owner_client, response.url))


def test_wet_lot_keeps_for_the_days_of_its_fibre(owner_client, bought):
    send(owner_client, RECEIVE, **bought, is_wet="on")
    assert Lot.objects.get().keep_until == day() + timedelta(days=21)


def test_hand_enters_a_lot_without_a_price(hand_client, bought):
    assert "paid" not in typed(see(hand_client, RECEIVE))
    send(hand_client, RECEIVE, **bought, paid="92")
    assert Lot.objects.get().paid_minor is None


def test_viewer_may_not_enter_a_lot(viewer_client, bought):
    assert viewer_client.post(RECEIVE, bought).status_code == 403
    assert not Lot.objects.exists()


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"fibre": ""}, "Fibre: Choose one."),
        ({"source": ""}, "From: Choose one."),
        ({"mass": "ten"}, "Mass as it is:"),
        ({"mass": "10 m"}, "Mass as it is:"),
        ({"moisture": "100"}, "Moisture: Give less than 100 %: the rest is fibre."),
        ({"moisture": "108"}, "Moisture:"),
        ({"mass": "1 mg", "moisture": "99.9"}, "holds no fibre"),
        ({"moisture_known": "felt"}, "Known from: Choose one of those offered."),
        ({"paid": "lots"}, "Paid: Give the amount as a plain amount"),
        ({"preparation_yield": "0"}, "Preparation yield of this lot: Give more than 0 %."),
        ({"received_on": "2099-12-31"}, "Received: That day has not come yet."),
        ({"form": "x" * 61}, "Form: Give at most 60 characters"),
        ({"request_key": ""}, "This page was sent without its key."),
    ],
)
def test_bad_input_comes_back_with_what_was_typed_and_writes_nothing(
    owner_client, bought, changes, fault
):
    before = written()
    response = send(owner_client, RECEIVE, **{**bought, "remarks": "Kept as typed", **changes})
    assert fault in faults(response)
    assert "Kept as typed" in response.content.decode()
    assert written() == before


def test_page_sent_twice_writes_one_lot(owner_client, bought):
    first = send(owner_client, RECEIVE, **bought, request_key="1" * 32)
    count = written()
    again = send(owner_client, RECEIVE, **bought, request_key="1" * 32)
    assert first.url == again.url
    assert written() == count
    assert "Nothing was written twice." in told(see(owner_client, again.url))


def work_out(client, **sent):
    response = send(client, RECEIVE, **sent, work_out="1")
    return Sheet(response.content.decode()).told


def test_panel_shows_the_price_of_a_dry_and_of_a_usable_kilogram_to_the_owner(
    owner_client, hand_client, bought
):
    words = work_out(owner_client, **bought, paid="92")
    # By hand: 9.2 kg oven-dry, 8.74 kg usable; 92 ÷ 9.2 = 10.00 and 92 ÷ 8.74 = 10.53.
    for line in (
        "Less moisture 8 %, label −0.800 kg",
        "Oven-dry 9.20 kg",
        "Less lost in preparation 5 %, usual for this fibre −0.460 kg",
        "Usable fibre 8.74 kg",
        "A kilogram oven-dry costs £10.00",
        "A kilogram usable costs £10.53",
    ):
        assert line in words
    assert "costs" not in work_out(hand_client, **bought, paid="92")
    assert not Lot.objects.exists()


def test_panel_takes_the_yield_of_the_lot_itself(owner_client, bought):
    words = work_out(owner_client, **bought, preparation_yield="50")
    assert "Less lost in preparation 50 %, of this lot −4.60 kg" in words
    assert "costs" not in words


def test_us_studio_reads_pounds(owner_client, bought):
    make_studio(units="US")
    # By hand: 10 lb × 0.92 × 0.95 is 8.74 lb, and 0.74 lb is 11.84 oz.
    assert "Usable fibre 8 lb 11.8 oz" in work_out(owner_client, **bought)


def test_closed_and_refused_are_not_offered(owner_client, bought):
    closed = make_fibre(closed_on=day(1))
    refused = make_fibre(is_refused=True, refusals="No.")
    gone = make_source(closed_on=day(1))
    before = written()
    for changes in ({"fibre": closed.pk}, {"fibre": refused.pk}, {"source": gone.pk}):
        assert "Choose one of those offered." in faults(
            send(owner_client, RECEIVE, **{**bought, **changes})
        )
    assert written() == before


def test_page_starts_from_the_fibre_and_source_that_led_here(owner_client, bought):
    page = see(owner_client, f"{RECEIVE}?fibre={bought['fibre']}&source={bought['source']}")
    found = typed(page)
    assert (found["fibre"], found["source"]) == (str(bought["fibre"]), str(bought["source"]))


def test_page_leads_on_from_an_empty_store(owner_client):
    links = [link.attrs["href"] for link in see(owner_client, RECEIVE).all("a", class_="do")]
    assert links == [reverse("fibres"), reverse("sources")]
