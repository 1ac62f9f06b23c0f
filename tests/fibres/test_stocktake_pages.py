"""The pages of a count of the store: begin, weigh on a phone, print, post, give up."""

import pytest
from django.urls import reverse

from fibres import services, stocktaking
from fibres.models import Lot, Movement, Stocktake
from tests.builders import KG, day, make_fibre, make_lot, make_source, make_stocktake
from tests.fibres.pages import Sheet, faults, see, send, told
from tests.studio.qr_reader import read

pytestmark = pytest.mark.django_db
LIST = "/stocktakes/"


@pytest.fixture
def lot(db):
    """10 kg as is at 8 %, which is 9.2 kg oven-dry."""
    return make_lot(
        make_fibre(name="Abaca sheet"), place="Shelf B2", form="Dry sheet", received_on=day(10)
    )


@pytest.fixture
def stocktake(lot):
    return make_stocktake(lot, place="Shelf B2")


def at(stocktake, act=""):
    return reverse(f"stocktake_{act}" if act else "stocktake", args=[stocktake.ref])


def scale(stocktake, lot):
    return reverse("countline", args=[stocktake.lines.get(lot=lot).pk])


def held(lot):
    return Lot.objects.get(pk=lot.pk).oven_dry_mg


# --- beginning -----------------------------------------------------------------------------------


def test_hand_begins_at_a_place(hand_client, lot):
    make_lot(place="Tub 4")
    page = see(hand_client, reverse("stocktake_new"))
    assert "Shelf B2, 1 lot" in page.told
    response = send(hand_client, reverse("stocktake_new"), place="Shelf B2")
    stocktake = Stocktake.objects.get()
    assert response.url == at(stocktake)
    words = told(see(hand_client, response.url))
    assert f"{stocktake.ref} Shelf B2 0 of 1 lots weighed." in words
    assert f"{lot.ref} Abaca sheet, Shelf B2" in words


def test_a_place_that_is_counted_already_is_told_on_the_form(hand_client, stocktake):
    response = send(hand_client, reverse("stocktake_new"), place="Shelf B2")
    assert f"{stocktake.ref} counts the same and is not posted yet" in faults(response)


def test_begun_twice_by_a_double_click_is_begun_once(hand_client, lot):
    first = send(hand_client, reverse("stocktake_new"), request_key="1" * 32)
    again = send(hand_client, reverse("stocktake_new"), request_key="1" * 32)
    assert first.url == again.url
    assert Stocktake.objects.count() == 1


def test_list_tells_how_far_a_count_is(viewer_client, lot, stocktake):
    stocktaking.count_lot(stocktake, lot, as_is_mg=9_800_000, reason="spilt", by=None)
    page = see(viewer_client, LIST)
    # By hand: 0.2 kg at 8 % is 0.184 kg.
    assert "Difference, kg oven-dry" in page.told
    assert "1 1 −0.18 Counting" in page.told
    assert not page.all("a", class_="do")


# --- weighing ------------------------------------------------------------------------------------


def test_weighed_lot_shows_book_found_and_difference(hand_client, lot, stocktake):
    response = send(
        hand_client, scale(stocktake, lot), mass="9.8", reason="spilt", note="Torn bag"
    )
    assert response.url == f"{at(stocktake)}#{lot.ref}"
    page = see(hand_client, at(stocktake))
    # By hand: 9.8 kg at 8 % is 9.016 kg.
    assert "Weighed 9.80 8 % 9.20 9.02 −0.18 Spilt or spoilt. Torn bag" in page.told
    assert "1 of 1 lots weighed. It can be posted." in page.told
    assert held(lot) == 9_200_000


def test_panel_sets_the_scale_beside_the_book(hand_client, lot, stocktake):
    response = send(hand_client, scale(stocktake, lot), mass="9.8", work_out="1")
    panel = Sheet(response.content.decode()).told
    assert "Oven-dry 9.02 kg" in panel
    assert "In the book 10.00 kg as is at 8 % 9.20 kg" in panel
    assert "Difference −0.184 kg" in panel
    assert stocktake.lines.get().oven_dry_mg is None


def test_panel_of_a_lot_that_dried_shows_its_moisture_now(hand_client, lot, stocktake):
    response = send(hand_client, scale(stocktake, lot), mass="9.5", reason="water", work_out="1")
    panel = Sheet(response.content.decode()).told
    # By hand: 1 − 9.2 ÷ 9.5 is 3.16 %.
    assert "Moisture reckoned from the fibre in the book 3.2 %" in panel
    assert "Difference 0 kg" in panel


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"mass": ""}, "Mass as it is: Give a mass"),
        ({"mass": "many"}, "Mass as it is:"),
        ({"mass": "9.5"}, "Why it differs: That is 0.460 kg oven-dry less than in the book."),
        ({"mass": "9.5", "reason": "found"}, "which this does not explain"),
        ({"mass": "9", "reason": "water"}, "more than water is missing"),
        ({"mass": "9", "reason": "water", "moisture": "5"}, "Moisture: Leave the moisture empty"),
        ({"mass": "9", "moisture": "100"}, "Moisture: Give less than 100 %"),
        ({"mass": "9", "reason": "thieves"}, "Choose one of those offered."),
    ],
)
def test_faulty_weighing_comes_back_and_keeps_nothing(hand_client, lot, stocktake, changes, fault):
    response = send(hand_client, scale(stocktake, lot), **changes)
    assert fault in faults(response)
    assert stocktake.lines.get().oven_dry_mg is None


def asked_tick(response):
    boxes = Sheet(response.content.decode()).all("input", name="is_right")
    assert all("checked" not in box.attrs for box in boxes)
    return boxes[0].attrs["value"]


def test_a_mass_far_from_the_book_is_asked_about_and_kept_with_a_tick(hand_client, lot, stocktake):
    given = {"mass": "9000", "reason": "found"}
    response = send(hand_client, scale(stocktake, lot), **given)
    told_of = faults(response)
    assert "9000.00 kg is more than 5 times the 10.00 kg as is that the book has." in told_of
    assert f"is it {lot.ref}" in told_of
    assert "In the book" in Sheet(response.content.decode()).told
    assert stocktake.lines.get().oven_dry_mg is None

    tick = asked_tick(response)
    again = send(hand_client, scale(stocktake, lot), **{**given, "mass": "900"}, is_right=tick)
    assert "900.00 kg is more than 5 times" in faults(again)
    send(hand_client, scale(stocktake, lot), **given, is_right=tick)
    # By hand: 9000 kg at 8 % hold 8280 kg.
    assert stocktake.lines.get().oven_dry_mg == 8280 * KG


@pytest.mark.parametrize(
    ("mass", "reason", "is_asked"),
    [
        ("50", "found", False),
        ("50.1", "found", True),
        ("2", "missing", False),
        ("1.99", "missing", True),
        # Nothing there is said as it is, and only its reason asked for.
        ("0", "missing", False),
    ],
)
def test_five_times_off_the_book_either_way_is_asked_about(
    hand_client, lot, stocktake, mass, reason, is_asked
):
    send(hand_client, scale(stocktake, lot), mass=mass, reason=reason)
    assert (stocktake.lines.get().oven_dry_mg is None) == is_asked


@pytest.mark.parametrize(("mass", "is_asked"), [("10", False), ("10.1", True)])
def test_of_a_lot_that_is_used_up_more_than_came_is_asked_about(
    hand_client, lot, stocktake, mass, is_asked
):
    services.take_out(
        lot, as_is_mg=10 * KG, kind="issued", happened_on=day(), why="Trial", by=None
    )
    send(hand_client, scale(stocktake, lot), mass=mass, reason="found")
    assert (stocktake.lines.get().oven_dry_mg is None) == is_asked


def test_form_starts_from_what_was_weighed_before(hand_client, lot, stocktake):
    send(hand_client, scale(stocktake, lot), mass="9.5", reason="water", note="Heated room")
    page = see(hand_client, scale(stocktake, lot))
    assert "It was weighed at 9.50 kg; what is entered here takes its place." in page.told
    assert page.one("input", name="mass").attrs["value"] == "9.5"
    assert page.one("input", name="moisture").attrs.get("value", "") == ""
    assert page.one("input", name="note").attrs["value"] == "Heated room"


def test_another_lot_that_lies_here_is_weighed_too(hand_client, stocktake):
    strayed = make_lot(place="Loft")
    response = send(hand_client, at(stocktake, "add"), ref=strayed.ref)
    assert response.url == scale(stocktake, strayed)
    unknown = send(hand_client, at(stocktake, "add"), ref="ZZ-9999")
    assert "Lot: No lot is called ZZ-9999" in faults(unknown)


def test_page_of_a_lot_leads_to_the_scale_while_it_is_counted(
    hand_client, viewer_client, lot, stocktake
):
    page = see(hand_client, lot.get_absolute_url())
    assert scale(stocktake, lot) in [link.attrs["href"] for link in page.all("a", class_="do")]
    assert f"Weigh it for {stocktake.ref}" not in told(see(viewer_client, lot.get_absolute_url()))
    stocktaking.give_up(stocktake, by=None)
    assert "Weigh it for" not in told(see(hand_client, lot.get_absolute_url()))


# --- posting -------------------------------------------------------------------------------------


def test_posted_count_stands_in_the_book_of_the_lot(hand_client, lot, stocktake):
    send(hand_client, scale(stocktake, lot), mass="9.8", reason="spilt", note="Torn bag")
    page = see(hand_client, at(stocktake, "post"))
    assert "1 lot weighed: 0.184 kg oven-dry less." in page.told
    response = send(hand_client, at(stocktake, "post"))
    assert response.url == at(stocktake)
    assert held(lot) == 9_016_000
    words = told(see(hand_client, at(stocktake)))
    assert "0.184 kg oven-dry less than in the book was posted." in words
    book = told(see(hand_client, lot.get_absolute_url()))
    assert f"Counted for {stocktake.ref}: 9.80 kg as is. Spilt or spoilt. Torn bag" in book


def test_water_alone_stands_in_the_book_without_moving_fibre(owner_client, lot, stocktake):
    send(owner_client, scale(stocktake, lot), mass="9.5", reason="water")
    send(owner_client, at(stocktake, "post"))
    page = see(owner_client, lot.get_absolute_url())
    assert "9.50 kg as is. It dried or drew water" in page.told
    assert "9.20 kg oven-dry, as it was received." in page.told
    # A line of a count takes no correction of its own.
    assert len(page.all("a", class_="tall")) == 1


def test_lots_that_were_not_weighed_are_named_and_agreed_to(hand_client, lot):
    other = make_lot(place="Shelf B2")
    stocktake = make_stocktake(lot)
    send(hand_client, scale(stocktake, lot), mass="10")
    assert f"Not weighed: {other.ref} ." in told(see(hand_client, at(stocktake, "post")))
    response = send(hand_client, at(stocktake, "post"))
    assert "Tick this, or weigh them first." in faults(response)
    send(hand_client, at(stocktake, "post"), leave_rest="on")
    assert Movement.objects.filter(kind="counted").get().lot == lot


def test_lot_that_moved_since_is_told_and_weighed_again(hand_client, lot, stocktake):
    send(hand_client, scale(stocktake, lot), mass="9.8", reason="spilt")
    services.take_out(lot, as_is_mg=KG, kind="issued", happened_on=day(), why="Trial", by=None)
    page = see(hand_client, at(stocktake))
    assert f"Weigh again, for it changed since: {lot.ref} ." in page.told
    assert "Post the count" not in page.told
    response = send(hand_client, at(stocktake, "post"))
    assert f"Changed since weighed: {lot.ref}" in faults(response)
    assert not Movement.objects.filter(kind="counted").exists()


def test_large_difference_is_left_to_the_owner(hand_client, owner_client, lot, stocktake):
    send(hand_client, scale(stocktake, lot), mass="9", reason="missing")
    page = see(hand_client, at(stocktake))
    assert f"More than 5 % off the book: {lot.ref} . The owner posts this count." in page.told
    assert at(stocktake, "post") not in [link.attrs["href"] for link in page.all("a")]
    assert hand_client.get(at(stocktake, "post")).url == at(stocktake)
    # A page that was opened before is refused, and says the same.
    response = hand_client.post(at(stocktake, "post"), {"request_key": "3" * 32})
    assert "The owner posts this count." in faults(response)
    assert held(lot) == 9_200_000
    page = see(owner_client, at(stocktake))
    assert "The owner posts" not in page.told
    assert at(stocktake, "post") in [link.attrs["href"] for link in page.all("a")]
    send(owner_client, at(stocktake, "post"))
    assert held(lot) == 8_280_000


def test_posted_twice_by_a_double_click_is_posted_once(hand_client, lot, stocktake):
    send(hand_client, scale(stocktake, lot), mass="9.8", reason="spilt")
    data = {"request_key": "2" * 32}
    first = hand_client.post(at(stocktake, "post"), data)
    again = hand_client.post(at(stocktake, "post"), data)
    assert first.url == again.url == at(stocktake)
    assert Movement.objects.filter(kind="counted").count() == 1


def test_given_up_count_is_over(hand_client, lot, stocktake):
    send(hand_client, at(stocktake, "give_up"))
    page = see(hand_client, at(stocktake))
    assert "Given up: nothing was posted." in page.told
    assert not page.all("a", class_="do")
    assert hand_client.get(scale(stocktake, lot)).url == at(stocktake)
    assert hand_client.get(at(stocktake, "post")).url == at(stocktake)


# --- on paper, and who sees what -----------------------------------------------------------------


def test_count_sheet_leaves_the_book_out_and_its_code_opens_the_count(
    viewer_client, lot, stocktake
):
    page = see(viewer_client, at(stocktake, "sheet"))
    assert f"{lot.ref} Abaca sheet Shelf B2, Dry sheet" in page.told
    assert "9.2" not in page.told
    assert "10.00" not in page.told
    drawing, black = page.one("svg", class_="qr"), page.all("path", fill="#000")
    side = int(drawing.attrs["viewbox"].split()[2])
    assert read(black[0].attrs["d"], side) == f"http://testserver{at(stocktake)}"


def test_viewer_reads_a_count_and_is_offered_nothing(viewer_client, lot, stocktake):
    page = see(viewer_client, at(stocktake))
    links = [link.attrs["href"] for link in page.all("a")]
    assert at(stocktake, "sheet") in links
    assert at(stocktake, "post") not in links
    assert not page.all("a", class_="do")
    assert viewer_client.get(scale(stocktake, lot)).status_code == 403


def test_donor_is_named_on_no_page_of_a_count(viewer_client):
    lot = make_lot(source=make_source(name="Quarry School", kind="donor"))
    stocktake = make_stocktake(lot)
    for address in (at(stocktake), at(stocktake, "sheet"), LIST):
        assert "Quarry School" not in viewer_client.get(address).content.decode()


@pytest.mark.parametrize("lots", [1, 20])
def test_page_takes_as_many_queries_however_many_lots(
    django_assert_max_num_queries, hand_client, lot, lots
):
    rest = [make_lot(lot.fibre) for _ in range(lots - 1)]
    stocktake = make_stocktake(lot)
    for one in [lot, *rest]:
        stocktaking.count_lot(stocktake, one, as_is_mg=10 * KG, by=None)
    with django_assert_max_num_queries(9):
        hand_client.get(at(stocktake))
