"""Lots: the list with its filters and files, and the page of one."""

import csv
import io
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fibres import services
from fibres.lotbook import balances
from fibres.models import Movement
from tests.builders import KG, day, make_fibre, make_furnish, make_lot, make_source, make_studio
from tests.fibres.pages import see, told

pytestmark = pytest.mark.django_db
LOTS = "/lots/"


def take(lot, as_is_mg, by, *, days_ago=5, kind=Movement.Kind.ISSUED, why="Trial"):
    return services.take_out(
        lot, as_is_mg=as_is_mg, kind=kind, happened_on=day(days_ago), why=why, by=by
    )


def refs(page):
    codes = [code for code in page.all("span", class_="code") if "th" in code.inside]
    # What is worked out at the end of the page names a lot once more.
    return [code.text for code in codes if "details" not in code.inside]


def test_lots_are_listed_newest_first_and_sorted_by_what_is_left(owner_client):
    small = make_lot(as_is_mg=KG, received_on=day(1))
    large = make_lot(as_is_mg=9 * KG, received_on=day(8))
    middle = make_lot(as_is_mg=5 * KG, received_on=day(4))
    assert refs(see(owner_client, LOTS)) == [small.ref, middle.ref, large.ref]
    assert refs(see(owner_client, f"{LOTS}?sort=left")) == [small.ref, middle.ref, large.ref]
    assert refs(see(owner_client, f"{LOTS}?sort=-left")) == [large.ref, middle.ref, small.ref]


def test_lots_are_narrowed_by_fibre_source_form_and_what_is_left(owner_client, owner):
    fibre, source = make_fibre(name="Abaca"), make_source(name="Tidewater")
    held = make_lot(fibre, source, form="Dry sheet")
    used = make_lot(form="Wet pulp")
    take(used, 10 * KG, owner)
    for query, found in (
        (f"fibre={fibre.pk}", held),
        (f"source={source.pk}", held),
        ("left=held", held),
        ("left=used", used),
        ("words=wet", used),
    ):
        assert refs(see(owner_client, f"{LOTS}?{query}")) == [found.ref], query


def test_a_filter_that_fits_nothing_says_so(owner_client):
    make_lot()
    assert "Nothing fits these filters." in told(see(owner_client, f"{LOTS}?words=zzz"))


def test_lots_turn_pages(owner_client):
    for _ in range(3):
        make_lot()
    page = see(owner_client, f"{LOTS}?per_page=2&page=2")
    assert len(refs(page)) == 1
    assert "Page 2 of 2" in told(page)


def test_lots_are_taken_along_with_units_in_the_heading_and_money_for_the_owner(
    owner_client, hand_client, viewer_client
):
    make_lot(make_fibre(name="=Abaca"), paid_minor=9200)
    lines = list(
        csv.DictReader(
            io.StringIO(owner_client.get(f"{LOTS}?format=csv").getvalue().decode("utf-8-sig"))
        )
    )
    assert lines[0]["Left, kg"] == "9.2"
    assert lines[0]["Paid, GBP/kg"] == "10.00"
    assert lines[0]["Fibre"] == "'=Abaca"
    by_hand = hand_client.get(f"{LOTS}?format=csv").getvalue().decode()
    assert "Paid" not in by_hand
    assert "Left, kg" in by_hand
    assert owner_client.get(f"{LOTS}?format=xlsx").getvalue()[:2] == b"PK"


def test_the_viewer_takes_stock_along_without_money_and_without_people(hand_client, viewer_client):
    # reliability.md, section 5: "stock CSV without money or people".
    source = make_source(name="Tern Bindery", kind="donor", may_be_named=True)
    lot = make_lot(make_fibre(name="Abaca"), source=source, paid_minor=9200)
    by_viewer, by_hand = (
        client.get(f"{LOTS}?format=csv").getvalue().decode("utf-8-sig")
        for client in (viewer_client, hand_client)
    )
    (row,) = csv.DictReader(io.StringIO(by_viewer))
    assert (row["Lot"], row["Fibre"], row["Left, kg"]) == (lot.ref, "Abaca", "9.2")
    assert not {"From", "Paid", "Paid, GBP/kg"} & set(row)
    assert "Tern Bindery" in by_hand
    assert "Tern Bindery" not in by_viewer
    assert "As CSV" in told(see(viewer_client, LOTS))


def test_lot_page_shows_figures_and_the_price_to_the_owner_alone(
    owner_client, hand_client, viewer_client
):
    lot = make_lot(make_fibre(name="Abaca"), paid_minor=9200, form="Dry sheet")
    words = told(see(owner_client, lot.get_absolute_url()))
    # By hand: 9.2 kg oven-dry, of which 95 % is usable: 8.74 kg; it weighs 10 kg as is.
    for part in (
        "9.20 kg oven-dry, as it was received.",
        "8.74 kg",
        "10.00 kg",
        "£10.00 per kg",
        "£92.00",
    ):
        assert part in words
    for client in (hand_client, viewer_client):
        assert "£" not in told(see(client, lot.get_absolute_url()))


def test_money_is_not_even_read_for_who_may_not_see_it(owner_client, hand_client, viewer_client):
    lot, furnish = make_lot(paid_minor=9200), make_furnish()
    pages = [
        LOTS, lot.get_absolute_url(), furnish.get_absolute_url(),
        lot.source.get_absolute_url(), lot.fibre.get_absolute_url(),
    ]  # fmt: skip

    def reads_money(client):
        with CaptureQueriesContext(connection) as queries:
            for address in pages:
                see(client, address)
        asked = " ".join(query["sql"] for query in queries)
        return "paid_minor" in asked, "minor_per_kg" in asked

    assert reads_money(owner_client) == (True, True)
    assert reads_money(hand_client) == (False, False)
    assert reads_money(viewer_client) == (False, False)


def test_facts_say_how_the_mass_and_the_moisture_are_known(owner_client):
    scrap = make_fibre(is_scrap=True, sorting_minutes_per_kg=12, cautions="It raises dust.")
    lot = make_lot(
        scrap, as_is_mg=2 * KG, measured="reams", band=Decimal("0.03"), moisture_known="assumed",
        preparation_yield=Decimal("0.5"),
    )  # fmt: skip
    words = told(see(owner_client, lot.get_absolute_url()))
    for part in (
        "Reams, ± 3 %", "8 %, assumed", "50 %, of this lot", "24 minutes", "It raises dust.",
    ):  # fmt: skip
        assert part in words


def test_lot_of_unknown_price_shows_none(owner_client):
    assert "£" not in told(see(owner_client, make_lot().get_absolute_url()))


def test_book_shows_every_line_with_its_balance(owner_client, owner, hand):
    lot = make_lot(received_on=day(10))
    take(lot, KG, hand, why="Trial for endpapers")
    words = told(see(owner_client, lot.get_absolute_url()))
    assert f"Received from {lot.source.name} 10.00 8 % 9.20 9.20" in words
    # By hand: 1 kg at 8 % is 0.92 kg out, 8.28 kg left.
    assert f"Issued. Trial for endpapers 1.00 8 % 0.92 8.28 {hand.username} Correct" in words
    assert "Left today 9.00 8.28" in words


def test_correction_is_offered_to_the_owner_for_what_still_stands(
    owner_client, hand_client, owner
):
    lot = make_lot()
    taken = take(lot, KG, owner)
    services.correct(taken, as_is_mg=2 * KG, happened_on=day(1), why="Read wrong", by=owner)
    right = lot.movements.last()
    page = see(owner_client, lot.get_absolute_url())
    links = [link.attrs["href"] for link in page.all("a", class_="tall")]
    received = lot.movements.first()
    assert links == [reverse("movement_correct", args=[one.pk]) for one in (received, right)]
    taken_on = f"{taken.happened_on.day} {taken.happened_on:%b}"
    assert f"Taken back: issued {taken_on}. Read wrong" in told(page)
    assert "Correct the" not in told(see(hand_client, lot.get_absolute_url()))


def test_book_notes_a_moisture_that_moved_no_fibre(owner_client, owner):
    lot = make_lot()
    services.weigh_moisture(
        lot, wet_mg=100_000, dry_mg=90_000, tare_mg=0, tested_on=day(), by=owner, has_dried=True
    )
    words = told(see(owner_client, lot.get_absolute_url()))
    assert (
        "Moisture weighed: 100.00 g as it was, 90.00 g oven-dry. The oven-dry fibre is "
        "the same 10 %"
    ) in words
    assert "10 %, weighed" in words


def test_us_studio_reads_ounces_of_a_sample(owner_client, owner):
    make_studio(units="US")
    lot = make_lot()
    services.weigh_moisture(
        lot, wet_mg=100_000, dry_mg=90_000, tare_mg=0, tested_on=day(), by=owner
    )
    assert "oz as it was" in told(see(owner_client, lot.get_absolute_url()))


def test_lot_past_its_day_is_a_caution(owner_client, owner):
    wet = make_fibre(keeps_wet_days=21)
    lot = make_lot(wet, received_on=day(30), is_wet=True)
    words = told(see(owner_client, lot.get_absolute_url()))
    assert "It was to be used by" in words
    assert "Caution. It was to be used by" in words
    take(lot, 10 * KG, owner)
    used = told(see(owner_client, lot.get_absolute_url()))
    assert "Used up: nothing is left of 9.20 kg oven-dry." in used
    assert "Caution. It was" not in used


def test_wet_lot_says_until_when_it_keeps(owner_client):
    lot = make_lot(make_fibre(keeps_wet_days=21), received_on=day(2), is_wet=True)
    words = told(see(owner_client, lot.get_absolute_url()))
    assert "Use it by" in words
    assert "Caution. It was" not in words


def test_lot_that_may_show_private_papers_is_a_caution(owner_client):
    assert "Private papers." in told(
        see(owner_client, make_lot(is_confidential=True).get_absolute_url())
    )


def test_acts_follow_the_role_and_what_is_left(owner_client, hand_client, viewer_client, owner):
    lot = make_lot()
    acts = [reverse("lot_take", args=[lot.ref]), reverse("lot_test", args=[lot.ref])]
    for client, found in ((owner_client, acts), (hand_client, acts), (viewer_client, [])):
        page = see(client, lot.get_absolute_url())
        assert [link.attrs["href"] for link in page.all("a", class_="do")] == found
    take(lot, 10 * KG, owner)
    assert not see(owner_client, lot.get_absolute_url()).all("a", class_="do")


def test_donor_is_named_to_a_viewer_only_with_consent(hand_client, viewer_client, owner):
    shy = make_source(name="Quarry Hill School", kind="donor")
    open_ = make_source(name="Mill Lane Print", kind="donor", may_be_named=True)
    hidden, named = make_lot(source=shy), make_lot(source=open_)
    take(hidden, KG, owner, why="For Quarry Hill School")
    for address in (
        hidden.get_absolute_url(),
        LOTS,
        "/store/",
        "/sources/",
        shy.get_absolute_url(),
    ):
        assert "Quarry Hill School" not in viewer_client.get(address).content.decode(), address
        assert "Quarry Hill School" in hand_client.get(address).content.decode(), address
    assert "Received from a donor" in told(see(viewer_client, hidden.get_absolute_url()))
    assert "Issued. For a donor" in told(see(viewer_client, hidden.get_absolute_url()))
    assert "Mill Lane Print" in told(see(viewer_client, named.get_absolute_url()))


def test_lot_that_is_not_there_is_not_found(owner_client):
    assert owner_client.get("/lots/X-9999/").status_code == 404


def test_balance_counts_a_correction_from_the_day_it_concerns(owner):
    lot = make_lot(received_on=day(20))
    taken = take(lot, 2 * KG, owner, days_ago=10)
    services.correct(taken, as_is_mg=KG, happened_on=day(1), why="Read wrong", by=owner)
    # By hand: 9.2 kg, less 0.92 kg from the day it was taken; nothing happens on the later day.
    points = balances(lot.movements.select_related("reverses"))
    assert [point for point in points if point[0] != day(1)] == [
        (day(20), 9_200_000),
        (day(10), 8_280_000),
    ]


def test_query_count_of_a_lot_is_the_same_for_one_and_for_twenty_lines(
    owner_client, owner, django_assert_max_num_queries
):
    lot = make_lot()
    take(lot, KG // 100, owner)
    owner_client.get(lot.get_absolute_url())
    with django_assert_max_num_queries(60) as few:
        owner_client.get(lot.get_absolute_url())
    for _ in range(20):
        take(lot, KG // 100, owner)
    with django_assert_max_num_queries(60) as many:
        owner_client.get(lot.get_absolute_url())
    assert len(many) == len(few)
