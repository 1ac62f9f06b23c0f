"""The store: how each fibre stands, the lots that hold something, and the first steps."""

from datetime import date
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fibres import queries, reference, services
from fibres.models import Fibre, Movement
from fibres.standing import finding, standings
from fibres.views import StorePage
from studio.models import Entry
from tests.builders import KG, day, make_fibre, make_lot, make_source, make_studio
from tests.fibres.pages import see, send, told

pytestmark = pytest.mark.django_db
STORE = "/store/"


def standing_of(*fibres, promised=None, short_from=None, coming=None):
    return standings(queries.fibres_in_store(), promised or {}, short_from or {}, coming or {})


def test_empty_store_shows_three_first_steps_to_the_owner(owner_client):
    page = see(owner_client, STORE)
    steps = [link.attrs["href"] for link in page.all("a", class_="tall")]
    assert steps == [reverse("fibres_usual"), reverse("scrap_log"), reverse("lot_receive")]
    assert "Nothing is in store yet." in told(page)


def test_empty_store_offers_a_fibre_of_ones_own_once_there_are_some(owner_client):
    make_fibre()
    page = see(owner_client, STORE)
    steps = [link.attrs["href"] for link in page.all("a", class_="tall")]
    assert steps == [reverse("scrap_log"), reverse("lot_receive"), reverse("fibre_new")]


def test_empty_store_offers_a_viewer_nothing_to_enter(viewer_client):
    page = see(viewer_client, STORE)
    assert not page.all("a", class_="tall")
    assert not page.all("a", class_="do")


def test_usual_fibres_are_taken_over_once(owner_client):
    send(owner_client, reverse("fibres_usual"))
    count = Fibre.objects.count()
    assert count == len(reference.read_fibres())
    assert owner_client.get(reverse("fibres_usual")).url == reverse("fibres")
    assert Entry.objects.filter(act="take over fibres").count() == 1


def test_usual_fibres_sent_twice_are_entered_once(owner_client):
    first = send(owner_client, reverse("fibres_usual"), request_key="1" * 32)
    again = owner_client.post(reverse("fibres_usual"), {"request_key": "1" * 32})
    assert first.url == again.url == reverse("fibres")
    assert Entry.objects.count() == 1


def test_store_shows_fibres_with_totals_and_held_lots_oldest_first(owner_client):
    abaca, linter = make_fibre(name="Abaca"), make_fibre(name="Linter")
    # By hand: 10 kg at 8 % holds 9.2 kg oven-dry, 5 kg holds 4.6 kg; together 13.8 kg.
    late = make_lot(abaca, received_on=day(3))
    early = make_lot(linter, as_is_mg=5 * KG, received_on=day(9))
    page = see(owner_client, STORE)
    words = told(page)
    assert "13.80 kg on hand, and all of it is free." in words
    assert "All fibre 13.80 0 13.80" in words
    assert words.index(early.ref) < words.index(late.ref)


def test_used_up_lot_is_left_out_of_the_store_and_kept_among_all_lots(owner_client, owner):
    lot = make_lot(make_fibre(name="Abaca"))
    services.take_out(
        lot, as_is_mg=10 * KG, kind=Movement.Kind.ISSUED, happened_on=day(), why="Cards", by=owner
    )
    assert lot.ref not in told(see(owner_client, STORE))
    assert "Nothing is on hand." in told(see(owner_client, STORE))
    assert lot.ref in told(see(owner_client, reverse("lots")))


def test_money_is_for_the_owner_alone(owner_client, hand_client, viewer_client):
    make_lot(paid_minor=9200)
    # By hand: 92.00 for 9.2 kg oven-dry is 10.00 a kilogram.
    assert "10.00" in told(see(owner_client, STORE))
    for client in (hand_client, viewer_client):
        words = told(see(client, STORE))
        assert "Paid" not in words
        assert "£" not in words
        # The as-is mass, in the table and where it is worked out.
        assert words.count("10.00") == words.count("10.00 kg") + 1 == 2


def test_viewer_cannot_enter_anything_from_the_store(viewer_client):
    make_lot()
    assert not see(viewer_client, STORE).all("a", class_="do")


def test_us_studio_reads_pounds(owner_client):
    make_studio(units="US")
    make_lot(as_is_mg=1_000_000)
    assert "Pounds, oven-dry" in told(see(owner_client, STORE))


@pytest.mark.parametrize("address", [STORE, "/lots/", "/fibres/", "/sources/"])
def test_query_count_is_the_same_for_one_and_for_twenty_rows(address, owner_client):
    make_lot(make_fibre(name="Abaca 0"), make_source(name="Tidewater 0"))
    owner_client.get(address)
    with CaptureQueriesContext(
        connection,
    ) as few:
        owner_client.get(address)
    for number in range(1, 21):
        make_lot(make_fibre(name=f"Abaca {number}"), make_source(name=f"Tidewater {number}"))
    with CaptureQueriesContext(connection) as many:
        owner_client.get(address)
    assert len(many) == len(few)


def test_the_store_by_itself_knows_of_no_promise():
    page = StorePage()
    assert page.promised_mg() == {}
    assert page.short_from() == {}


def test_fibre_free_below_its_minimum_is_marked():
    fibre = make_fibre(name="Abaca", minimum_mg=9 * KG)
    make_lot(fibre)
    (row,) = standing_of(promised={fibre.pk: KG})
    # By hand: 9.2 kg less 1 kg is 8.2 kg, below 9 kg.
    assert (row.free_mg, row.minimum_mg, row.mark) == (
        8_200_000,
        9 * KG,
        ("near", "Below minimum"),
    )
    assert finding([row]) == ("8.20\xa0kg free of 9.20\xa0kg on hand. Abaca is below its minimum.")


def test_fibre_promised_beyond_what_is_there_is_short_from_its_day():
    fibre = make_fibre(name="Abaca")
    make_lot(fibre)
    (row,) = standing_of(promised={fibre.pk: 10 * KG}, short_from={fibre.pk: date(2026, 12, 3)})
    assert row.free_mg == -800_000
    assert row.mark == ("short", "Short from 3 Dec")
    assert finding([row]) == (
        "10.00\xa0kg is promised and 9.20\xa0kg is on hand. Abaca is short from 3 December."
    )


def test_fibre_that_is_promised_from_what_is_on_its_way_waits_and_is_not_short():
    fibre = make_fibre(name="Abaca", minimum_mg=KG)
    make_lot(fibre)
    told_of = {"promised": {fibre.pk: 10 * KG}, "coming": {fibre.pk: KG}}
    (row,) = standing_of(**told_of)
    # By hand: 9.2 kg on hand and 1 kg to come are 10.2 kg, enough for 10 kg.
    assert row.mark == ("near", "Comes in time")
    assert finding([row]) == (
        "10.00\xa0kg is promised and 9.20\xa0kg is on hand. "
        "Abaca is covered once what is on its way comes."
    )
    # A promise that cannot be kept on its day is short, whatever comes later.
    (late,) = standing_of(short_from={fibre.pk: date(2026, 12, 3)}, **told_of)
    assert late.mark == ("short", "Short from 3 Dec")
    # By hand: 9.2 kg and 0.5 kg are less than 10 kg.
    (less,) = standing_of(promised=told_of["promised"], coming={fibre.pk: KG // 2})
    assert less.mark == ("short", "Short")


def test_several_short_and_low_fibres_are_named_together():
    fibres = [make_fibre(name=name, minimum_mg=10 * KG) for name in "ABCDEFG"]
    for fibre in fibres:
        make_lot(fibre)
    rows = standing_of(promised={fibres[0].pk: 20 * KG, fibres[1].pk: 10 * KG})
    assert [row.mark[1] for row in rows[:3]] == ["Short", "Short", "Below minimum"]
    # By hand: 7 × 9.2 kg is 64.4 kg; A and B are short, so only 5 × 9.2 kg is free.
    assert finding(rows) == (
        "46.00\xa0kg free of 64.40\xa0kg on hand. A and B are short. "
        "C, D, E and 2 more are below their minimum."
    )


def test_fibre_that_is_neither_held_nor_kept_is_left_out():
    make_fibre(name="Unused")
    kept = make_fibre(name="Kept", minimum_mg=KG)
    make_fibre(name="Closed", minimum_mg=KG, closed_on=day(2))
    assert [row.fibre for row in standing_of()] == [kept]


def test_one_short_fibre_without_a_day_is_named():
    row = SimpleNamespace(
        name="Abaca",
        on_hand_mg=KG,
        promised_mg=2 * KG,
        short_from=None,
        on_its_way_mg=0,
        at_the_vat_mg=0,
        is_short=True,
        is_low=True,
        waits=False,
    )
    assert finding([row]).endswith("Abaca is short.")
