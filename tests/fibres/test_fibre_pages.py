"""Fibres: the list, the page of one, entering, changing, closing and removing."""

from decimal import Decimal

import pytest
from django.urls import reverse

from fibres.models import Fibre
from studio.models import Entry
from tests.builders import KG, day, make_fibre, make_lot, make_studio
from tests.fibres.pages import faults, see, send, told, typed

pytestmark = pytest.mark.django_db
NEW = "/fibres/new/"
FIBRES = "/fibres/"
ABACA = {
    "name": "Abaca pulp", "code": "ab", "state": "dry sheet", "family": "leaf",
    "source_class": "virgin", "usual_moisture": "8", "preparation_yield": "95",
    "yield_spread": "1.5", "preparation_days": "4", "minimum_mg": "1.5", "keeps_wet_days": "14",
    "sorting_minutes_per_kg": "0",
    "evidence": "My own lots.",
}  # fmt: skip


def test_fibre_is_entered_and_leads_to_its_page(owner_client):
    response = send(owner_client, NEW, **ABACA)
    fibre = Fibre.objects.get()
    assert response.url == fibre.get_absolute_url()
    assert (fibre.code, fibre.minimum_mg, fibre.keeps_wet_days) == ("AB", 1_500_000, 14)
    assert (fibre.usual_moisture, fibre.preparation_yield) == (Decimal("0.08"), Decimal("0.95"))
    words = told(see(owner_client, response.url))
    assert (fibre.yield_spread, fibre.preparation_days) == (Decimal("0.015"), 4)
    for part in ("It varies by 1.5 %, standard deviation", "Preparation takes 4 days"):
        assert part in words
    for part in ("None is on hand.", "8 %", "95 %", "1.50 kg", "14 days", "My own lots."):
        assert part in words
    assert "No lot of it has come yet." in words


def test_empty_choices_say_what_to_do(owner_client):
    words = told(see(owner_client, NEW))
    assert "Choose one Seed hair" in words
    assert "---" not in words


def test_fibre_is_changed_and_its_page_shows_it(owner_client):
    fibre = make_fibre(name="Abaca")
    send(owner_client, reverse("fibre_edit", args=[fibre.pk]), name="Abaca, bleached")
    assert "Abaca, bleached" in told(see(owner_client, fibre.get_absolute_url()))
    assert Entry.objects.get().said == "Changed fibre Abaca, bleached"


def test_form_sent_as_it_stands_changes_nothing(owner_client):
    fibre = make_fibre(
        minimum_mg=1_234_567, keeps_wet_days=9, sorting_minutes_per_kg=Decimal("2.5")
    )
    before = Fibre.objects.values().get()
    send(owner_client, reverse("fibre_edit", args=[fibre.pk]))
    assert Fibre.objects.values().get() == before


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"name": ""}, "Name: Fill this in."),
        ({"name": "Kozo"}, "There is one of this name already."),
        ({"code": "A1"}, "Give one to three letters from A to Z, such as AB."),
        ({"family": ""}, "Family: Choose one."),
        ({"usual_moisture": "100"}, "Give less than 100 %"),
        ({"preparation_yield": "0"}, "Give more than 0 %."),
        ({"preparation_yield": "101"}, "Preparation yield:"),
        ({"yield_spread": "31"}, "How far the yield varies: Give 30 % or less, got 31 %."),
        ({"yield_spread": ""}, "How far the yield varies: Give a share"),
        ({"preparation_days": "1.5"}, "Days of preparation:"),
        ({"preparation_days": "366"}, "Days of preparation: Give 365 or fewer, got 366 days."),
        ({"minimum_mg": "lots"}, "Minimum to keep:"),
        ({"keeps_wet_days": "2.5"}, "Keeps wet for:"),
        ({"is_refused": "on"}, "What to refuse: Say why it is refused"),
    ],
)
def test_bad_fibre_comes_back_with_what_was_typed_and_writes_nothing(owner_client, changes, fault):
    make_fibre(name="Kozo")
    response = send(owner_client, NEW, **{**ABACA, **changes})
    assert fault in faults(response)
    assert "My own lots." in response.content.decode()
    assert Fibre.objects.count() == 1
    assert not Entry.objects.exists()


def test_fibre_sent_twice_is_entered_once(owner_client):
    first = send(owner_client, NEW, **ABACA, request_key="1" * 32)
    again = send(owner_client, NEW, **ABACA, request_key="1" * 32)
    assert first.url == again.url == Fibre.objects.get().get_absolute_url()
    assert "Nothing was written twice." in told(see(owner_client, again.url))


def test_readers_see_the_figures_and_no_form(hand_client, viewer_client):
    fibre = make_fibre(name="Abaca", cautions="Old wet pulp grows mildew.")
    for client in (hand_client, viewer_client):
        page = see(client, fibre.get_absolute_url())
        assert "Old wet pulp grows mildew." in told(page)
        assert "Change it" not in told(page)
        edit = reverse("fibre_edit", args=[fibre.pk])
        assert client.get(edit).status_code == 403
        assert client.post(edit, {**ABACA}).status_code == 403
        assert client.get(NEW).status_code == 403
    fibre.refresh_from_db()
    assert fibre.name == "Abaca"


def test_fibre_page_counts_its_lots(owner_client):
    fibre = make_fibre(name="Abaca")
    make_lot(fibre)
    assert "9.20 kg on hand in 1 lot." in told(see(owner_client, fibre.get_absolute_url()))
    lot = make_lot(fibre)
    words = told(see(owner_client, fibre.get_absolute_url()))
    assert "18.40 kg on hand in 2 lots." in words
    assert lot.ref in words


def test_refused_and_closed_fibres_say_so(owner_client):
    refused = make_fibre(is_refused=True, refusals="It sheds.", is_scrap=True)
    closed = make_fibre(closed_on=day(1))
    assert "Refused at the door. It sheds." in told(see(owner_client, refused.get_absolute_url()))
    assert "Closed. None is on hand." in told(see(owner_client, closed.get_absolute_url()))
    for fibre in (refused, closed):
        assert not see(owner_client, fibre.get_absolute_url()).all("a", class_="do")
    words = told(see(owner_client, FIBRES))
    assert "Refused" in words
    assert "Closed" in words


def test_fibre_leads_to_the_page_that_takes_it_in(owner_client):
    scrap = make_fibre(is_scrap=True, sorting_minutes_per_kg=10)
    bought = make_fibre()
    for fibre, route in ((scrap, "scrap_log"), (bought, "lot_receive")):
        (link,) = see(owner_client, fibre.get_absolute_url()).all("a", class_="do")
        assert link.attrs["href"] == f"{reverse(route)}?fibre={fibre.pk}"
        assert typed(see(owner_client, link.attrs["href"]))["fibre"] == str(fibre.pk)
    assert "10 minutes a kilogram" in told(see(owner_client, scrap.get_absolute_url()))


def test_fibres_are_narrowed_sorted_and_taken_along(owner_client, viewer_client):
    make_fibre(name="Abaca", family="leaf", preparation_yield=Decimal("0.9"))
    make_fibre(
        name="Office", family="waste paper", is_scrap=True, preparation_yield=Decimal("0.8")
    )
    make_fibre(name="Old", family="rag", closed_on=day(1), preparation_yield=Decimal("0.7"))

    def names(query):
        page = see(owner_client, f"{FIBRES}?{query}")
        return [row.attrs["href"] for row in page.all("a") if "tbody" in row.inside]

    by_name = {fibre.name: fibre.get_absolute_url() for fibre in Fibre.objects.all()}
    assert names("family=leaf") == [by_name["Abaca"]]
    assert names("origin=scrap") == [by_name["Office"]]
    assert names("origin=bought") == [by_name["Abaca"], by_name["Old"]]
    assert names("use=open") == [by_name["Abaca"], by_name["Office"]]
    assert names("use=closed") == [by_name["Old"]]
    assert names("words=off") == [by_name["Office"]]
    assert names("sort=preparation_yield")[0] == by_name["Old"]
    text = owner_client.get(f"{FIBRES}?format=csv").getvalue().decode()
    assert "Leaf" in text
    assert "Yield, %" in text
    assert viewer_client.get(f"{FIBRES}?format=csv").status_code == 403


def test_fibre_list_offers_the_usual_fibres_only_where_there_are_none(owner_client, hand_client):
    offered = reverse("fibres_usual")
    assert offered in owner_client.get(FIBRES).content.decode()
    assert offered not in hand_client.get(FIBRES).content.decode()
    make_fibre()
    assert offered not in owner_client.get(FIBRES).content.decode()


def test_fibre_with_a_lot_is_closed_and_opened_but_not_removed(owner_client):
    fibre = make_fibre(name="Abaca")
    make_lot(fibre)
    close = reverse("fibre_close", args=[fibre.pk])
    assert owner_client.post(close, {"deed": "remove"}).status_code == 409
    owner_client.post(close, {"deed": "close"})
    fibre.refresh_from_db()
    assert fibre.is_closed
    owner_client.post(close, {"deed": "open"})
    fibre.refresh_from_db()
    assert not fibre.is_closed


def test_fibre_without_a_history_is_removed(owner_client):
    fibre = make_fibre()
    response = owner_client.post(reverse("fibre_close", args=[fibre.pk]), {"deed": "remove"})
    assert response.url == reverse("fibres")
    assert not Fibre.objects.exists()


def test_us_studio_reads_pounds(owner_client):
    make_studio(units="US")
    fibre = make_fibre(minimum_mg=KG)
    assert "2 lb 3.3 oz" in told(see(owner_client, fibre.get_absolute_url()))
