"""What is said of a lot is changed, and a lot is closed; what it holds is touched by neither."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from fibres import services
from fibres.forms.lots import LotForm
from fibres.models import Lot, Movement
from studio.models import Entry
from tests.builders import KG, day, make_lot
from tests.fibres.pages import faults, see, send, told, typed

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot(db):
    return make_lot(paid_minor=9200)


def at(route, lot):
    return reverse(route, args=[lot.ref])


def fresh(lot):
    return Lot.objects.get(pk=lot.pk)


def test_what_is_said_of_a_lot_is_changed_and_its_cost_follows(owner_client, lot):
    response = send(
        owner_client,
        at("lot_edit", lot),
        form="Dry bark",
        paid_minor="46",
        preparation_yield="80",
        keep_until=day(-10).isoformat(),
        is_confidential="on",
        remarks="Top of the bale is dusty.",
    )
    assert response.url == lot.get_absolute_url()
    found = fresh(lot)
    assert (found.form, found.paid_minor, found.preparation_yield) == (
        "Dry bark", 4600, Decimal("0.8"),
    )  # fmt: skip
    assert (found.keep_until, found.is_confidential) == (day(-10), True)
    words = told(see(owner_client, lot.get_absolute_url()))
    # By hand: £46 for 9.2 kg oven-dry is £5 a kilogram; 80 % of 9.2 kg is 7.36 kg.
    for part in (
        "£5.00 per kg", "£46.00", "7.36 kg", "80 %, of this lot", "Dry bark", "Private papers.",
        "Top of the bale is dusty.", "Use it by",
    ):  # fmt: skip
        assert part in words
    entry = Entry.objects.last()
    # What was changed is named; what it was is money, and not for everybody.
    assert (entry.act, entry.said) == (
        "changed lot",
        f"Changed lot {lot.ref}: form it came in, paid, preparation yield of this lot, keep "
        "until, it may show private papers, remarks",
    )


def test_price_yield_and_day_can_be_taken_away_again(owner_client):
    lot = make_lot(paid_minor=9200, preparation_yield=Decimal("0.5"))
    send(owner_client, at("lot_edit", lot), paid_minor="", preparation_yield="", keep_until="")
    found = fresh(lot)
    assert (found.paid_minor, found.preparation_yield, found.keep_until) == (None, None, None)


def test_page_sent_as_it_stands_changes_nothing(owner_client):
    lot = make_lot(paid_minor=9201, preparation_yield=Decimal("0.333333"), form="Wet pulp")
    before = Lot.objects.filter(pk=lot.pk).values().get()
    assert send(owner_client, at("lot_edit", lot)).status_code == 302
    assert Lot.objects.filter(pk=lot.pk).values().get() == before


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"paid_minor": "lots"}, "Paid: Give the amount"),
        ({"preparation_yield": "0"}, "Preparation yield of this lot: Give more than 0 %."),
        ({"form": "x" * 61}, "Form it came in: Give at most 60 characters"),
        ({"keep_until": (day(30) - timedelta(days=1)).isoformat()}, "Keep until: The lot came"),
    ],
)
def test_bad_change_comes_back_and_writes_nothing(owner_client, lot, changes, fault):
    before, entries = Lot.objects.filter(pk=lot.pk).values().get(), Entry.objects.count()
    response = send(owner_client, at("lot_edit", lot), **{"remarks": "Kept as typed", **changes})
    assert fault in faults(response)
    assert "Kept as typed" in response.content.decode()
    assert Lot.objects.filter(pk=lot.pk).values().get() == before
    assert Entry.objects.count() == entries


def test_change_leaves_a_balance_alone_that_moved_meanwhile(owner_client, lot):
    stale = Lot.objects.get(pk=lot.pk)
    data = typed(see(owner_client, at("lot_edit", lot)))
    services.take_out(
        lot, as_is_mg=KG, kind=Movement.Kind.ISSUED, happened_on=day(), why="x", by=None
    )
    form = LotForm({**data, "remarks": "Dusty"}, instance=stale, system="metric", currency="GBP")
    assert form.is_valid(), form.errors
    form.save()
    assert (fresh(lot).oven_dry_mg, fresh(lot).remarks) == (8_280_000, "Dusty")


def test_lot_page_leads_the_owner_to_both(owner_client, hand_client, viewer_client, lot):
    found = {link.attrs["href"] for link in see(owner_client, lot.get_absolute_url()).all("a")}
    assert {at("lot_edit", lot), at("lot_close", lot)} <= found
    for client in (hand_client, viewer_client):
        assert "Change what is said of it" not in told(see(client, lot.get_absolute_url()))
        for route in ("lot_edit", "lot_close"):
            assert client.get(at(route, lot)).status_code == 403
            assert client.post(at(route, lot), {"remarks": "x"}).status_code == 403


def test_lot_is_closed_and_read_and_opened_and_never_removed(owner_client, viewer_client, lot):
    words = told(see(owner_client, at("lot_close", lot)))
    assert "A lot is never removed: its movements are the trail of its fibre." in words
    assert "The fibre in it still counts" in words
    assert "Remove the lot" not in words
    refused = owner_client.post(at("lot_close", lot), {"deed": "remove"})
    assert refused.status_code == 409
    owner_client.post(at("lot_close", lot), {"deed": "close"})
    assert fresh(lot).is_closed
    assert "Closed" in told(see(viewer_client, lot.get_absolute_url()))
    assert lot.ref in told(see(viewer_client, "/lots/"))
    assert "Open again" in told(see(owner_client, lot.get_absolute_url()))
    owner_client.post(at("lot_close", lot), {"deed": "open"})
    assert not fresh(lot).is_closed
