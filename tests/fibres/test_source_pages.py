"""Sources: the list, the page of one, entering, changing and closing."""

import pytest
from django.urls import reverse

from fibres.models import Source
from studio.models import Entry
from tests.builders import day, make_lot, make_offer, make_source, make_studio
from tests.fibres.pages import faults, see, send, told, typed

pytestmark = pytest.mark.django_db
NEW = "/sources/new/"
SOURCES = "/sources/"
TIDEWATER = {
    "name": "Tidewater Fibres", "kind": "supplier", "lead_days": "12", "contact": "The yard",
    "remarks": "Small bales.",
}  # fmt: skip


def test_source_is_entered_and_leads_to_its_page(owner_client):
    response = send(owner_client, NEW, **TIDEWATER)
    source = Source.objects.get()
    assert response.url == source.get_absolute_url()
    words = told(see(owner_client, response.url))
    for part in (
        "Nothing has come from it yet.",
        "Supplier",
        "12 days",
        "The yard",
        "Small bales.",
    ):
        assert part in words
    assert "May be named" not in words


def test_source_is_changed_and_closed(owner_client):
    source = make_source(name="Tidewater")
    send(owner_client, reverse("source_edit", args=[source.pk]), lead_days="3")
    source.refresh_from_db()
    assert source.lead_days == 3
    owner_client.post(reverse("source_close", args=[source.pk]), {"deed": "close"})
    page = see(owner_client, source.get_absolute_url())
    assert "Open again" in told(page)
    assert not page.all("a", class_="do")


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"name": ""}, "Name: Fill this in."),
        ({"name": "Mill Lane"}, "There is one of this name already."),
        ({"kind": ""}, "Kind: Choose one."),
        ({"lead_days": "some"}, "Order to delivery:"),
        ({"lead_days": "99999"}, "Order to delivery: Give 730 or fewer, got 99 999 days."),
        ({"thanked_on": "2099-12-31"}, "Thanked on: That day has not come yet."),
        ({"contact": "x" * 201}, "Contact: Give at most 200 characters"),
    ],
)
def test_bad_source_comes_back_with_what_was_typed_and_writes_nothing(
    owner_client, changes, fault
):
    make_source(name="Mill Lane")
    response = send(owner_client, NEW, **{**TIDEWATER, **changes})
    assert fault in faults(response)
    assert "Small bales." in response.content.decode()
    assert Source.objects.count() == 1
    assert not Entry.objects.exists()


def test_donor_is_thanked_for_the_last_gift(owner_client):
    donor = make_source(kind="donor", may_be_named=True, thanked_on=day(9))
    make_lot(source=donor, received_on=day(20))
    words = told(see(owner_client, donor.get_absolute_url()))
    assert "9.20 kg oven-dry came from it in 1 lot. Thanked." in words
    make_lot(source=donor, received_on=day(2))
    words = told(see(owner_client, donor.get_absolute_url()))
    assert "18.40 kg oven-dry came from it in 2 lots. Not thanked for the last of it yet." in words
    assert "May be named Yes" in words
    never = make_source(kind="donor")
    make_lot(source=never)
    assert "Not thanked" in told(see(owner_client, never.get_absolute_url()))
    assert "May be named No" in told(see(owner_client, never.get_absolute_url()))


def test_supplier_is_not_thanked(owner_client):
    supplier = make_source()
    make_lot(source=supplier)
    page = see(owner_client, supplier.get_absolute_url())
    assert "thanked" not in told(page).lower()
    (link,) = page.all("a", class_="do")
    assert typed(see(owner_client, link.attrs["href"]))["source"] == str(supplier.pk)


def test_how_to_reach_a_source_is_not_for_viewers(hand_client, viewer_client):
    source = make_source(contact="The yard", remarks="Knock twice.")
    assert "The yard" in told(see(hand_client, source.get_absolute_url()))
    words = told(see(viewer_client, source.get_absolute_url()))
    assert "The yard" not in words
    assert "Knock twice." not in words


def test_only_the_owner_changes_sources(hand_client, viewer_client):
    source = make_source()
    for client in (hand_client, viewer_client):
        assert "Change it" not in told(see(client, source.get_absolute_url()))
        assert not see(client, SOURCES).all("a", class_="do")
        for address in (NEW, reverse("source_edit", args=[source.pk])):
            assert client.post(address, TIDEWATER).status_code == 403
    assert Source.objects.count() == 1


def test_viewer_cannot_find_a_donor_by_name(viewer_client, hand_client):
    donor = make_source(name="Quarry Hill School", kind="donor")
    make_source(name="Tidewater")
    assert donor.get_absolute_url() in hand_client.get(f"{SOURCES}?words=quarry").content.decode()
    hidden = viewer_client.get(f"{SOURCES}?words=quarry").content.decode()
    assert donor.get_absolute_url() not in hidden
    offered = told(see(viewer_client, "/lots/"))
    assert "Tidewater" in offered
    assert "Quarry Hill School" not in offered
    assert (
        "Quarry Hill School"
        not in viewer_client.get(reverse("source_close", args=[donor.pk])).content.decode()
    )


def test_sources_are_narrowed_sorted_and_taken_along(owner_client, viewer_client):
    supplier = make_source(name="Tidewater")
    donor = make_source(name="Mill Lane", kind="donor")
    closed = make_source(name="Old Yard", closed_on=day(1))
    make_lot(source=donor)

    def found(query):
        page = see(owner_client, f"{SOURCES}?{query}")
        return [row.attrs["href"] for row in page.all("a") if "tbody" in row.inside]

    urls = {source: source.get_absolute_url() for source in (supplier, donor, closed)}
    assert found("kind=donor") == [urls[donor]]
    assert found("use=closed") == [urls[closed]]
    assert found("use=open") == [urls[donor], urls[supplier]]
    assert found("words=tide") == [urls[supplier]]
    assert found("sort=-given")[0] == urls[donor]
    text = owner_client.get(f"{SOURCES}?format=csv").getvalue().decode()
    assert "Came from it, kg oven-dry" in text
    assert "Donor" in text
    assert viewer_client.get(f"{SOURCES}?format=csv").status_code == 403


# --- terms and offers -------------------------------------------------------------------------

TERMS = {
    "freight_minor": "14.00", "order_minimum_minor": "60", "free_freight_from_minor": "250",
    "season_from": "11", "season_to": "4",
}  # fmt: skip


def test_terms_of_a_supplier_stand_on_its_page(owner_client):
    make_studio(currency="GBP")
    response = send(owner_client, NEW, **TIDEWATER, **TERMS)
    source = Source.objects.get()
    assert (source.freight_minor, source.order_minimum_minor) == (1400, 6000)
    assert source.free_freight_from_minor == 25_000
    assert source.season == ("11-01", "04-30")
    words = told(see(owner_client, response.url))
    for part in (
        "Order to delivery 12 days",
        "Takes orders November to April",
        "Freight of an order £14.00",
        "Least order, goods alone £60.00",
        "Freight is free from £250.00",
    ):
        assert part in words


@pytest.mark.parametrize(
    ("season", "words"),
    [((None, None), "All year"), ((3, 3), "March"), ((2, 4), "February to April")],
)
def test_season_in_words(owner_client, season, words):
    source = make_source(season_from=season[0], season_to=season[1])
    page = told(see(owner_client, source.get_absolute_url()))
    assert f"Takes orders {words} Freight" in page


def test_terms_that_are_left_empty_cost_nothing(owner_client):
    empty = dict.fromkeys(["lead_days", *TERMS], "")
    send(owner_client, NEW, **{**TIDEWATER, **empty})
    source = Source.objects.get()
    assert (source.lead_days, source.freight_minor, source.order_minimum_minor) == (0, 0, 0)
    assert (source.free_freight_from_minor, source.season) == (None, None)


@pytest.mark.parametrize("kind", ["donor", "studio"])
def test_terms_are_left_to_suppliers(owner_client, kind):
    send(owner_client, NEW, **{**TIDEWATER, **TERMS, "kind": kind, "freight_minor": "dear"})
    source = Source.objects.get()
    assert (source.freight_minor, source.order_minimum_minor, source.season) == (0, 0, None)
    words = told(see(owner_client, source.get_absolute_url()))
    for part in ("Terms", "Offers", "Enter an offer"):
        assert part not in words


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"season_to": ""}, "Takes orders to the end of: Give both months"),
        ({"season_from": ""}, "Takes orders from the start of: Give both months"),
        ({"season_from": "13"}, "Takes orders from the start of: Choose one of those offered."),
        ({"freight_minor": "dear"}, "Freight of an order: Give the amount"),
        ({"order_minimum_minor": "-1"}, "Least order: Give the amount"),
        ({"free_freight_from_minor": "x"}, "Freight is free from: Give the amount"),
    ],
)
def test_bad_terms_are_named(owner_client, changes, fault):
    response = send(owner_client, NEW, **{**TIDEWATER, **TERMS, **changes})
    assert fault in faults(response)
    assert "Put one thing right" in faults(response)
    assert not Source.objects.exists()


def test_what_a_source_asks_for_is_not_for_hands(hand_client):
    make_studio(currency="GBP")
    source = make_source(lead_days=1, freight_minor=1499, order_minimum_minor=777)
    make_offer(source=source, minor_per_kg=1234, breaks={4: 1111})
    words = told(see(hand_client, source.get_absolute_url()))
    assert "Order to delivery 1 day" in words
    for amount in ("14.99", "7.77", "12.34", "11.11", "£", "Enter an offer", "Compare"):
        assert amount not in words


def test_source_leads_to_a_new_offer_and_lists_its_own(owner_client):
    source = make_source()
    offer = make_offer(source=source)
    closed = make_offer(source=source, closed_on=day())
    make_offer()
    page = see(owner_client, source.get_absolute_url())
    shown = [link.attrs["href"] for link in page.all("a") if "tbody" in link.inside]
    assert shown == [offer.get_absolute_url()]
    assert closed.get_absolute_url() not in shown
    new = next(link.attrs["href"] for link in page.all("a") if link.text == "Enter an offer")
    assert typed(see(owner_client, new))["source"] == str(source.pk)


@pytest.mark.parametrize("count", [1, 20])
def test_page_asks_the_same_of_the_database_however_many_offers(
    owner_client, count, django_assert_num_queries
):
    source = make_source()
    for _ in range(count):
        make_offer(source=source, breaks={4: 900})
        make_lot(source=source)
    with django_assert_num_queries(16):
        owner_client.get(source.get_absolute_url())
