"""Where lots lie: asked for wherever a lot is entered, spelled alike, and narrowed by."""

import pytest
from django.urls import reverse

from fibres import places
from fibres.models import Lot
from tests.builders import make_fibre, make_lot, make_purchase, make_source
from tests.fibres.pages import see, send, told

pytestmark = pytest.mark.django_db


def test_bought_lot_is_entered_with_its_place(hand_client):
    send(
        hand_client,
        reverse("lot_receive"),
        fibre=make_fibre().pk,
        source=make_source().pk,
        mass="10",
        moisture="8",
        place="  Shelf   B2 ",
    )
    lot = Lot.objects.get()
    assert lot.place == "Shelf B2"
    assert "Where it lies Shelf B2" in told(see(hand_client, lot.get_absolute_url()))


def test_scrap_is_logged_with_its_place(hand_client):
    scrap = make_fibre(is_scrap=True)
    send(hand_client, reverse("scrap_log"), fibre=scrap.pk, mass="3", place="Loft")
    assert Lot.objects.get().place == "Loft"


def test_what_came_of_a_purchase_lies_at_one_place(hand_client):
    purchase = make_purchase()
    send(hand_client, reverse("purchase_receive", args=[purchase.ref]), place="Tub 4")
    assert Lot.objects.get().place == "Tub 4"


def test_lot_is_put_elsewhere(owner_client):
    lot = make_lot(place="Loft")
    send(owner_client, reverse("lot_edit", args=[lot.ref]), place="Cellar")
    lot.refresh_from_db()
    assert lot.place == "Cellar"


def test_place_is_spelled_as_it_was_first(owner_client):
    make_lot(place="Shelf B2")
    lot = make_lot()
    page = see(owner_client, reverse("lot_edit", args=[lot.ref]))
    offered = [option.attrs["value"] for option in page.all("option")]
    assert "Shelf B2" in offered
    send(owner_client, reverse("lot_edit", args=[lot.ref]), place="shelf b2")
    lot.refresh_from_db()
    assert lot.place == "Shelf B2"
    assert places.known() == ["Shelf B2"]


def test_lots_are_narrowed_by_place(viewer_client):
    here, there = make_lot(place="Shelf B2"), make_lot(place="Tub 4")
    words = told(see(viewer_client, "/lots/?place=Tub+4"))
    assert there.ref in words
    assert here.ref not in words


def test_place_goes_along_in_the_file(hand_client):
    make_lot(place="Shelf B2")
    answer = hand_client.get("/lots/?format=csv")
    rows = b"".join(answer.streaming_content).decode().splitlines()
    assert "Where it lies" in rows[0]
    assert "Shelf B2" in rows[1]


def test_places_where_nothing_lies_any_more_are_not_counted():
    make_lot(place="Tub 4")
    make_lot(place="Tub 4")
    gone = make_lot(place="Loft")
    Lot.objects.filter(pk=gone.pk).update(oven_dry_mg=0)
    assert places.held() == [("Tub 4", 2)]
    assert places.known() == ["Loft", "Tub 4"]
