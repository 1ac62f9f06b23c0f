"""Offers: the list, the form with its price breaks and panel, comparing, and a list taken in."""

from decimal import Decimal

import pytest
from django.urls import reverse

from fibres.models import Offer
from studio.models import Entry
from tests.builders import KG, day, make_fibre, make_offer, make_source, make_studio
from tests.fibres.pages import Sheet, faults, see, send, spaced, told, typed

pytestmark = pytest.mark.django_db
OFFERS = "/sources/offers/"
NEW = f"{OFFERS}new/"
COMPARE = f"{OFFERS}compare/"
IMPORT = "/studio/data/offers/"


@pytest.fixture
def yard():
    make_studio(currency="GBP", units="metric")
    return make_source(name="Greyling Fibres"), make_fibre(name="Cotton linter")


@pytest.fixture
def filled(yard):
    """What a person fills in for an offer with one price break."""
    source, fibre = yard
    return {
        "fibre": str(fibre.pk), "source": str(source.pk), "form": "Dry sheet", "pack_mg": "5",
        "pack_mg_unit": "kg", "moisture": "8", "price_per": "as-is", "minor_per_kg": "9.40",
        "least_packs": "1", "breaks_are": "all units", "breaks-0-from_packs": "4",
        "breaks-0-minor_per_kg": "8.50",
    }  # fmt: skip


def rows_of(page):
    return [row.attrs["href"] for row in page.all("a") if "tbody" in row.inside]


# --- the form ---------------------------------------------------------------------------------


def test_offer_is_entered_with_its_break_and_leads_to_its_source(owner_client, yard, filled):
    response = send(owner_client, NEW, **filled)
    source, fibre = yard
    assert response.url == source.get_absolute_url()
    offer = Offer.objects.get()
    assert (offer.fibre, offer.source, offer.pack_mg) == (fibre, source, 5 * KG)
    assert (offer.moisture, offer.minor_per_kg) == (Decimal("0.08"), 940)
    assert [(step.from_packs, step.minor_per_kg) for step in offer.breaks.all()] == [(4, 850)]
    assert Entry.objects.get().said == "Added offer Cotton linter from Greyling Fibres"
    words = told(see(owner_client, response.url))
    # 9.40 / 0.92 = 10.22
    for part in ("Cotton linter", "Dry sheet", "9.40", "10.22", "from 4: £8.50", "Holds"):
        assert part in words


def test_fibre_and_source_come_with_the_link(owner_client, yard):
    source, fibre = yard
    page = see(owner_client, f"{NEW}?fibre={fibre.pk}&source={source.pk}")
    assert typed(page)["fibre"] == str(fibre.pk)
    assert typed(page)["source"] == str(source.pk)


def test_without_a_supplier_the_page_leads_to_entering_one(owner_client):
    first = "Enter a source first"
    assert first in told(see(owner_client, NEW))
    make_source()
    assert first not in told(see(owner_client, NEW))


def test_only_open_suppliers_and_fibres_are_offered(owner_client, yard):
    make_source(name="The school", kind="donor")
    make_source(name="Old Yard", closed_on=day())
    make_fibre(name="Till rolls", is_refused=True, refusals="Bisphenol.")
    words = told(see(owner_client, NEW))
    assert "Greyling Fibres" in words
    for name in ("The school", "Old Yard", "Till rolls"):
        assert name not in words


def test_offer_of_what_was_closed_since_keeps_it(owner_client, yard):
    source, fibre = yard
    offer = make_offer(fibre, source)
    type(source).objects.update(closed_on=day())
    type(fibre).objects.update(closed_on=day())
    send(owner_client, offer.get_absolute_url(), minor_per_kg="9.00")
    offer.refresh_from_db()
    assert (offer.source, offer.fibre, offer.minor_per_kg) == (source, fibre, 900)


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"fibre": ""}, "Fibre: Choose one."),
        ({"source": ""}, "From: Choose one."),
        ({"pack_mg": "0"}, "Supply pack: “0” is outside what is allowed"),
        ({"moisture": "100"}, "Moisture: Give less than 100 %"),
        ({"minor_per_kg": ""}, "Price a kilogram: Give an amount"),
        ({"least_packs": "0"}, "Fewest packs sold: Give 1 or more, got 0 packs."),
        ({"valid_from": "2027-02-01", "valid_to": "2027-01-01"}, "Holds to: An offer cannot end"),
        ({"breaks-0-from_packs": "1"}, "Row 1, from: Give 2 or more, got 1 packs."),
        ({"breaks-0-minor_per_kg": ""}, "Row 1, price a kilogram: Give an amount"),
        (
            {"breaks-1-from_packs": "4", "breaks-1-minor_per_kg": "8.00"},
            "Two rows begin at the same number of packs.",
        ),
        ({"least_packs": "4"}, "Row 1, from: The first price holds from 4 on. Give 5 or more."),
    ],
)
def test_bad_offer_comes_back_with_what_was_typed(owner_client, filled, changes, fault):
    response = send(owner_client, NEW, **{**filled, **changes})
    assert fault in faults(response)
    assert 'value="Dry sheet"' in response.content.decode()
    assert not Offer.objects.exists()
    assert not Entry.objects.exists()


def test_faults_of_offer_and_breaks_are_named_together(owner_client, filled):
    response = send(
        owner_client, NEW, **{**filled, "moisture": "wet", "breaks-0-from_packs": "some"}
    )
    said = faults(response)
    assert "Put two things right" in said
    assert "Moisture:" in said
    assert "Row 1, from:" in said


def test_breaks_are_changed_and_taken_out(owner_client, yard):
    source, fibre = yard
    offer = make_offer(fibre, source, breaks={4: 850, 10: 800})
    send(
        owner_client,
        offer.get_absolute_url(),
        **{"breaks-0-minor_per_kg": "8.60", "breaks-1-DELETE": "on"},
    )
    assert [(step.from_packs, step.minor_per_kg) for step in offer.breaks.all()] == [(4, 860)]


def test_break_that_another_page_took_out_is_said_once(owner_client, yard):
    source, fibre = yard
    offer = make_offer(fibre, source, breaks={4: 850, 10: 800})
    sent = typed(see(owner_client, offer.get_absolute_url()))
    offer.breaks.all().delete()
    response = owner_client.post(offer.get_absolute_url(), {**sent, "minor_per_kg": "9.00"})
    assert faults(response).count("Somebody changed the price breaks meanwhile") == 1


def test_the_same_page_sent_twice_enters_one_offer(owner_client, filled):
    data = {**typed(see(owner_client, NEW)), **filled}
    first, second = (owner_client.post(NEW, data) for _ in range(2))
    assert first.url == second.url
    assert Offer.objects.count() == 1


# --- the panel --------------------------------------------------------------------------------


def test_panel_shows_the_pack_and_a_kilogram_on_every_basis(owner_client, filled):
    data = {**typed(see(owner_client, NEW)), **filled}
    panel = owner_client.post(NEW, data, headers={"hx-request": "true"})
    words = spaced(panel.content.decode())
    # 5 kg at 9.40; 8.50 from four; 9.40 x 0.90 / 0.92; 9.40 / 0.92 = 10.217; / 0.95 = 10.755
    for part in (
        "Oven-dry in a pack 4.60 kg",
        "£47.00",
        "A pack from 4 packs on £42.50",
        "A kilogram as sold £9.40",
        "A kilogram air-dry, 90 % fibre £9.20",
        "A kilogram oven-dry £10.22",
        "A kilogram usable £10.76",
    ):
        assert part in words
    assert not Offer.objects.exists()


def test_panel_works_without_script_and_of_an_offer_that_stands(owner_client, yard, filled):
    response = send(owner_client, NEW, **filled, work_out="1")
    assert "£47.00" in told(Sheet(response.content.decode()))
    source, fibre = yard
    offer = make_offer(fibre, source, breaks={4: 850})
    assert "A pack from 4 packs on £42.50" in told(see(owner_client, offer.get_absolute_url()))


def test_panel_passes_over_breaks_that_cannot_be_read(owner_client, filled):
    data = {**typed(see(owner_client, NEW)), **filled, "breaks-0-from_packs": "x"}
    panel = owner_client.post(NEW, data, headers={"hx-request": "true"})
    assert "£47.00" in panel.content.decode()
    twice = {**data, "breaks-0-from_packs": "4", "breaks-1-from_packs": "4"}
    panel = owner_client.post(
        NEW, {**twice, "breaks-1-minor_per_kg": "8.00"}, headers={"hx-request": "true"}
    )
    assert panel.status_code == 200


# --- the list ---------------------------------------------------------------------------------


def test_offers_are_narrowed_by_fibre_source_and_day(owner_client, yard):
    source, fibre = yard
    now = make_offer(fibre, source, valid_from=day(), valid_to=day())
    later = make_offer(fibre, valid_from=day(-1))
    ended = make_offer(source=source, valid_to=day(1))
    closed = make_offer(closed_on=day())

    def found(query):
        return set(rows_of(see(owner_client, f"{OFFERS}?{query}")))

    urls = {offer: offer.get_absolute_url() for offer in (now, later, ended, closed)}
    assert found(f"fibre={fibre.pk}") == {urls[now], urls[later]}
    assert found(f"source={source.pk}") == {urls[now], urls[ended]}
    assert found("stands=now") == {urls[now]}
    assert found("stands=later") == {urls[later]}
    assert found("stands=ended") == {urls[ended], urls[closed]}
    words = told(see(owner_client, OFFERS))
    for word in ("Holds", "To come", "Ended", "Closed"):
        assert word in words


def test_offers_are_taken_along_with_prices_by_the_owner_only(owner_client, hand_client, yard):
    source, fibre = yard
    make_offer(fibre, source, breaks={4: 850}, breaks_are="incremental", price_per="oven-dry")
    text = owner_client.get(f"{OFFERS}?format=csv").getvalue().decode()
    heads, row = text.lstrip("\ufeff").splitlines()
    assert "Price, GBP/kg" in heads
    assert "from 4: £8.50; step by step" in row
    assert "oven-dry" in row
    assert "4.6" in row
    text = hand_client.get(f"{OFFERS}?format=csv").getvalue().decode()
    for word in ("Price", "9.4", "8.5", "Breaks"):
        assert word not in text
    assert "Cotton linter" in text


def test_hand_and_viewer_see_offers_without_a_price(hand_client, viewer_client, yard):
    source, fibre = yard
    offer = make_offer(fibre, source, breaks={4: 850})
    for client in (hand_client, viewer_client):
        page = see(client, OFFERS)
        assert "9.40" not in told(page)
        assert "8.50" not in told(page)
        assert rows_of(page) == [source.get_absolute_url()]
        for word in ("Enter an offer", "Compare"):
            assert word not in told(page)
        for address in (offer.get_absolute_url(), NEW, COMPARE, IMPORT):
            assert client.get(address).status_code == 403


@pytest.mark.parametrize("count", [1, 20])
def test_list_asks_the_same_of_the_database_however_long(
    owner_client, yard, count, django_assert_num_queries
):
    for _ in range(count):
        make_offer(breaks={4: 850})
    with django_assert_num_queries(10):
        owner_client.get(OFFERS)


def test_offer_is_closed_opened_and_removed(owner_client, yard):
    offer = make_offer()
    address = reverse("offer_close", args=[offer.pk])
    owner_client.post(address, {"deed": "close"})
    offer.refresh_from_db()
    assert offer.is_closed
    assert "Open it again" in told(see(owner_client, offer.get_absolute_url()))
    owner_client.post(address, {"deed": "open"})
    assert owner_client.post(address, {"deed": "remove"}).url == OFFERS
    assert not Offer.objects.exists()
