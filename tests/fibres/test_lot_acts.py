"""What is done to a lot: its moisture weighed, fibre taken out, an entry put right."""

from decimal import Decimal

import pytest
from django.urls import reverse

from fibres import services
from fibres.models import MoistureTest, Movement
from studio.errors import NotEnoughError
from tests.builders import KG, day, make_lot, make_studio
from tests.fibres.pages import Sheet, faults, see, send, told, written

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot(db):
    """10 kg as is at 8 %, which is 9.2 kg oven-dry."""
    return make_lot(received_on=day(10))


def at(route, lot):
    return reverse(route, args=[lot.ref])


def held(lot):
    lot.refresh_from_db()
    return lot.oven_dry_mg


# --- moisture ------------------------------------------------------------------------------------


def test_wrong_figure_corrects_the_oven_dry_fibre(hand_client, lot):
    response = send(hand_client, at("lot_test", lot), wet="60", dry="55", dish="10")
    assert response.url == lot.get_absolute_url()
    # By hand: (60 − 55) ÷ (60 − 10) is 10 %; 10 kg as is then holds 9 kg.
    assert held(lot) == 9_000_000
    assert (lot.moisture, lot.moisture_known) == (Decimal("0.1"), "weighed")
    assert MoistureTest.objects.get().tare_mg == 10_000


def test_water_that_came_or_went_leaves_the_oven_dry_fibre(hand_client, lot):
    send(hand_client, at("lot_test", lot), wet="50", dry="45", has_dried="yes")
    assert held(lot) == 9_200_000
    assert lot.moisture == Decimal("0.1")
    assert lot.movements.count() == 1


def test_panel_shows_the_lot_before_and_after(hand_client, lot):
    address = at("lot_test", lot)
    wrong = Sheet(send(hand_client, address, wet="50", dry="45", work_out="1").content.decode())
    assert "Moisture of the sample 10 %" in wrong.told
    assert "Left, oven-dry until now 9.20 kg Left, oven-dry 9.00 kg" in wrong.told
    dried = send(hand_client, address, wet="50", dry="45", has_dried="yes", work_out="1")
    # By hand: 9.2 kg ÷ 0.9 is 10.22 kg.
    assert (
        "Weighs now, as is until now 10.00 kg Weighs now, as is 10.22 kg"
        in Sheet(dried.content.decode()).told
    )
    assert not MoistureTest.objects.exists()


def test_oven_and_not_a_microwave(hand_client, lot):
    words = told(see(hand_client, at("lot_test", lot)))
    assert "105 °C" in words
    assert "Not in a microwave" in words
    assert "Follow the safety data sheet" in words


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"wet": ""}, "Before drying: Give a mass"),
        ({"dry": "70"}, "The dry sample must not weigh more than the wet one"),
        ({"dish": "55"}, "Weigh the empty dish again."),
        ({"happened_on": "2099-12-31"}, "Day: That day has not come yet."),
        ({"has_dried": "maybe"}, "Why it differs: Choose one of those offered."),
    ],
)
def test_bad_sample_comes_back_and_writes_nothing(hand_client, lot, changes, fault):
    before = written()
    response = send(hand_client, at("lot_test", lot), **{"wet": "60", "dry": "55", **changes})
    assert fault in faults(response)
    assert written() == before
    assert not MoistureTest.objects.exists()


# --- taking out ----------------------------------------------------------------------------------


def test_fibre_leaves_by_what_was_weighed_with_its_water(hand_client, lot):
    page = see(hand_client, at("lot_take", lot))
    assert "It weighs 10.00 kg as is and holds 9.20 kg oven-dry." in told(page)
    response = send(hand_client, at("lot_take", lot), mass="2.5", kind="discarded", why="Soured")
    # By hand: 2.5 kg at 8 % is 2.3 kg.
    assert held(lot) == 6_900_000
    movement = lot.movements.last()
    assert (movement.kind, movement.why, movement.as_is_mg) == ("discarded", "Soured", -2_500_000)
    assert "2.30 kg oven-dry taken out." in told(see(hand_client, response.url))


def test_more_than_there_is_names_what_is_there(hand_client, lot):
    before = written()
    response = send(hand_client, at("lot_take", lot), mass="20", why="Trial")
    assert (
        f"Mass as it is: Lot {lot.ref} holds 10.00 kg as is and 20.00 kg is asked for. "
        "Give 10.00 kg or less, or weigh the lot and enter what is there."
    ) in faults(response)
    assert 'value="20"' in response.content.decode()
    assert written() == before


def test_whole_lot_as_the_page_shows_it_leaves_nothing(hand_client):
    # By hand: 6.8 kg at 78 % holds 1.496 kg; at a weighed 76.5 % that weighs 6.36596 kg, shown
    # as 6.37 kg, which is 4 g more than there is.
    lot = make_lot(as_is_mg=6_800_000, moisture="0.78")
    send(hand_client, at("lot_test", lot), wet="100", dry="23.5", has_dried="yes")
    assert "It weighs 6.37 kg as is" in told(see(hand_client, at("lot_take", lot)))
    send(hand_client, at("lot_take", lot), mass="6.37", why="Trial")
    assert held(lot) == 0
    assert lot.movements.last().as_is_mg == -6_365_957


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"mass": "0"}, "Mass as it is:"),
        ({"why": ""}, "Why: Fill this in."),
        ({"why": "x" * 201}, "Why: Give at most 200 characters; this has 201."),
        ({"kind": "lent"}, "What for: Choose one of those offered."),
        ({"happened_on": "2099-12-31"}, "Day: That day has not come yet."),
        ({"happened_on": "2001-01-01"}, "Day: The lot came on"),
    ],
)
def test_bad_taking_comes_back_and_writes_nothing(hand_client, lot, changes, fault):
    before = written()
    response = send(hand_client, at("lot_take", lot), **{"mass": "1", "why": "Trial", **changes})
    assert fault in faults(response)
    assert written() == before


def test_taking_sent_twice_takes_once(hand_client, lot):
    for _ in range(2):
        send(hand_client, at("lot_take", lot), mass="1", why="Trial", request_key="1" * 32)
    assert held(lot) == 8_280_000


def test_viewer_changes_no_lot(viewer_client, lot):
    for route in ("lot_test", "lot_take"):
        assert viewer_client.post(at(route, lot), {"mass": "1", "why": "x"}).status_code == 403
    assert held(lot) == 9_200_000


# --- corrections ---------------------------------------------------------------------------------


def correction(movement):
    return reverse("movement_correct", args=[movement.pk])


@pytest.fixture
def taken(lot, owner):
    """1 kg as is, which is 0.92 kg oven-dry, taken out five days ago."""
    return services.take_out(
        lot, as_is_mg=KG, kind=Movement.Kind.ISSUED, happened_on=day(5), why="Trial", by=owner
    )


def test_correction_keeps_the_old_line_and_adds_two(owner_client, lot, taken):
    page = see(owner_client, correction(taken))
    assert "Issued on" in told(page)
    assert ": 1.00 kg as is." in told(page)
    response = send(owner_client, correction(taken), mass="2", why="Scale read wrong")
    assert response.url == lot.get_absolute_url()
    # By hand: 9.2 kg less 2 kg at 8 %, 1.84 kg, is 7.36 kg.
    assert held(lot) == 7_360_000
    signed = list(lot.movements.values_list("kind", "oven_dry_mg"))
    assert signed == [
        ("received", 9_200_000),
        ("issued", -920_000),
        ("corrected", 920_000),
        ("issued", -1_840_000),
    ]
    assert "Put right. Both lines are in the book." in told(see(owner_client, response.url))


def test_what_never_moved_is_taken_back(owner_client, lot, taken):
    send(owner_client, correction(taken), mass="0", why="Entered twice")
    assert held(lot) == 9_200_000
    assert lot.movements.count() == 3


def test_receipt_is_put_right_with_what_the_lot_came_as(owner_client, lot):
    send(owner_client, correction(lot.movements.get()), mass="5", why="Label read wrong")
    assert held(lot) == 4_600_000
    assert (lot.as_is_mg, lot.received_oven_dry_mg) == (5_000_000, 4_600_000)


def test_receipt_cannot_become_less_than_what_went_out(owner_client, lot, taken):
    before = written()
    response = send(owner_client, correction(lot.movements.first()), mass="0.5", why="Read wrong")
    assert "Right mass as it is: Lot" in faults(response)
    assert "Correct what went out first, or give a larger mass here." in faults(response)
    assert written() == before
    assert held(lot) == 8_280_000
    with pytest.raises(NotEnoughError, match="less than nothing"):
        services.correct(
            lot.movements.first(), as_is_mg=500_000, happened_on=day(), why="x", by=None
        )


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"mass": ""}, "Right mass as it is: Give a mass"),
        ({"mass": "-1"}, "Right mass as it is:"),
        ({"why": ""}, "Why: Fill this in."),
        ({"happened_on": "2099-12-31"}, "Day of the correction: That day has not come yet."),
    ],
)
def test_bad_correction_comes_back_and_writes_nothing(owner_client, taken, changes, fault):
    before = written()
    response = send(owner_client, correction(taken), **{"mass": "2", "why": "Wrong", **changes})
    assert fault in faults(response)
    assert written() == before


def test_what_is_corrected_already_is_not_corrected_again(owner_client, lot, taken, owner):
    open_page = {
        "request_key": "1" * 32,
        "mass": "3",
        "why": "x",
        "happened_on": day().isoformat(),
    }
    services.correct(taken, as_is_mg=2 * KG, happened_on=day(1), why="Wrong", by=owner)
    before = written()
    response = owner_client.get(correction(taken))
    assert response.url == lot.get_absolute_url()
    assert "has been corrected already" in told(see(owner_client, response.url))
    refused = owner_client.post(correction(taken), open_page)
    assert "This movement has been taken back already." in faults(refused)
    contrary = lot.movements.get(kind="corrected")
    assert owner_client.get(correction(contrary)).url == lot.get_absolute_url()
    assert "A correction stays." in faults(owner_client.post(correction(contrary), open_page))
    assert written() == before


def test_correction_starts_from_what_was_entered(owner_client, lot):
    assert 'value="10"' in owner_client.get(correction(lot.movements.get())).content.decode()


def test_what_a_sample_made_is_put_right_by_another_sample(owner_client, hand_client, lot):
    send(hand_client, at("lot_test", lot), wet="50", dry="45")
    response = owner_client.get(correction(lot.movements.last()))
    assert "weigh the moisture again" in told(see(owner_client, response.url))


def test_only_the_owner_corrects(hand_client, viewer_client, taken):
    for client in (hand_client, viewer_client):
        assert client.get(correction(taken)).status_code == 403
        assert client.post(correction(taken), {"mass": "2", "why": "x"}).status_code == 403


def test_us_studio_weighs_in_pounds(owner_client, lot):
    make_studio(units="US")
    assert "lb" in told(see(owner_client, at("lot_take", lot)))
