"""What a whole day of making found to be said wrongly: each sentence is held here."""

from __future__ import annotations

import time
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.urls import reverse

from orders import actuals
from orders.calc.forming import ToForm, form
from orders.calc.packing import Parcel
from orders.calc.spec import SheetSpec
from orders.makings import finish, log, planning
from orders.models import Commission, Issue, Making
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Q
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_sheet,
    make_studio,
    make_vat,
)
from tests.orders.looking import form_data, look, said
from tests.orders.vatdays import count, making_and_lot
from tests.studio.pages import uncoded

A4 = Size(210_000, 297_000)


@pytest.fixture
def promise(db: None) -> Commission:
    """A promise of 51 sheets, with fibre for all of it in one lot."""
    make_studio(trial_pulls=2)
    fibre = make_fibre()
    make_lot(fibre)
    return make_commission(make_sheet(make_furnish({fibre: "1"})), ref="C-101", good_quantity=51)


def plain(words: str) -> str:
    return words.replace("\u00a0", " ").replace("\u202f", " ")


# --- planning ------------------------------------------------------------------------------------


def test_a_promise_that_is_planned_for_in_full_offers_no_number_and_names_the_making(
    hand_client: Any, promise: Commission
) -> None:
    made = make_making(commission=promise, wanted_good=51)
    page = look(hand_client, f"{reverse('making_new')}?commission=C-101")
    assert form_data(page)["wanted_good"] == ""
    text = plain(said(page))
    assert f"{made.ref} is open for C-101 already: 51 of its 51 good sheets." in text


def test_what_a_making_leaves_over_is_offered_beside_it(
    hand_client: Any, promise: Commission
) -> None:
    one, other = (make_making(commission=promise, wanted_good=20) for _ in range(2))
    page = look(hand_client, f"{reverse('making_new')}?commission=C-101")
    assert form_data(page)["wanted_good"] == "11"
    text = plain(said(page))
    assert f"{one.ref}, {other.ref} are open for C-101 already: 40 of its 51" in text


def test_a_making_that_was_given_up_is_not_named(hand_client: Any, promise: Commission) -> None:
    planning.give_up(make_making(commission=promise), by=None)
    page = look(hand_client, f"{reverse('making_new')}?commission=C-101")
    assert form_data(page)["wanted_good"] == "51"
    assert "already" not in said(page)


def test_more_pulls_than_a_vat_ever_gives_are_refused_at_once() -> None:
    began = time.monotonic()
    with pytest.raises(RangeError, match="from 1 to"):
        form(ToForm(SheetSpec(A4, Decimal(120)), 1_000_000, vat=Q(60, "L")))
    assert time.monotonic() - began < 2


def test_one_sheet_is_no_sheets(hand_client: Any, promise: Commission) -> None:
    made = make_making(commission=promise, wanted_good=1, pulls=1)
    text = plain(" ".join(said(look(hand_client, made.get_absolute_url())).split()))
    assert "1 sheet " in text
    assert "1 pull " in text
    assert "1 sheets" not in text
    assert "1 pulls" not in text


def test_a_making_given_up_unweighed_says_that_nothing_was(
    hand_client: Any, promise: Commission
) -> None:
    made = planning.give_up(make_making(commission=promise), by=None)
    text = said(look(hand_client, made.get_absolute_url()))
    assert "Nothing was weighed out." in text
    assert "No lot is found for it." not in text


# --- at the vat ----------------------------------------------------------------------------------


def test_trial_sheets_and_heel_of_a_making_at_the_vat_are_in_what_it_needs(
    hand_client: Any, promise: Commission
) -> None:
    made = log.start(make_making(commission=promise, vat=make_vat()), by=None)
    text = said(look(hand_client, promise.get_absolute_url()))
    assert "come on top" not in text
    assert f"What {made.ref} has still to weigh out counts its trial sheets" in text


@pytest.mark.parametrize(("moisture", "is_asked"), [("0", True), ("80", True), ("6.5", False)])
def test_a_moisture_far_from_the_book_is_asked_about(
    hand_client: Any, moisture: str, is_asked: bool
) -> None:
    making, lot = making_and_lot()
    given = {"lot": lot.pk, "mass": "2", "mass_unit": "kg", "moisture": moisture}
    address = reverse("making_issue", args=[making.ref])
    answer = hand_client.post(address, {"request_key": str(uuid.uuid4()), **given}, follow=True)
    assert Issue.objects.exists() is not is_asked
    words = f"is far from the 8 % that the book has for {lot.ref}"
    assert (words in plain(uncoded(answer.content.decode()))) is is_asked


# --- after it ------------------------------------------------------------------------------------


def finished(promise: Commission, **minutes: int) -> Making:
    made = log.start(make_making(commission=promise), by=None)
    lot = promise.sheet.furnish.parts.get().fibre.lots.get()
    log.issue(made, lot, as_is_mg=2 * KG, by=None)
    count(made, pulls=60, good=52)
    for operation, spent in minutes.items():
        log.spend(made, operation.replace("_", " "), Decimal(spent), by=None)
    log.note_heel(made, Making.Heel.NONE, by=None)
    return finish.finish(made, by=None)


def test_minutes_of_setting_up_are_not_called_none(promise: Commission) -> None:
    finished(promise, set_up=90)
    found = actuals.of_commission(promise)
    assert found is not None
    reason = next(one.reason for one in found.lines if one.label.startswith("Hours"))
    assert "no minutes were noted" not in reason
    assert "nothing but setting up was noted of" in reason


def test_more_sheets_than_are_in_hand_are_not_worked_out(
    hand_client: Any, promise: Commission
) -> None:
    made = finished(promise)
    address = reverse("delivery_new", args=[promise.ref])
    typed = {f"good_{made.pk}": "500", "work_out": "1"}
    answer = hand_client.post(address, form_data(look(hand_client, address), **typed))
    text = plain(uncoded(answer.content.decode()))
    assert f"Of {made.ref} 52 good sheets are in hand and 500 are asked for." in text
    assert "500 of " not in text


def test_one_sheet_is_weighed_in_grams_so_that_the_sum_can_be_done_again() -> None:
    # 559 × 762 mm: 106.5 g are 250.0 g/m²; 60 of them are 6.39 kg, and 60 of 0.106 kg were not.
    parcel = Parcel(
        sheets=60, size=Size(559_000, 762_000), grammage=Decimal(250), conditioned_mg=106_500
    )
    lines = {line.label: plain(line.because) for line in parcel.lines()}
    assert lines["Sheets weigh"] == "60 of 106.50 g, as weighed"
    # 250.02 g/m² is 0.01 % above, which no page shows.
    assert lines["Grammage measured"] == "one sheet weighs 106.50 g"


def test_one_sheet_left_over_lies_there(hand_client: Any, promise: Commission) -> None:
    from orders import parcels
    from orders.sheetsinhand import ParcelNote, Sending

    made = finished(promise)
    note = ParcelNote(sent_on=day(0), sent_to="", sheet_mg=None, parcel_mg=None, remarks="")
    parcels.send(promise, [Sending(made, "good", 51)], note, by=None)
    promise.refresh_from_db()
    text = plain(said(look(hand_client, promise.get_absolute_url())))
    assert "51 good sheets were sent; 1 more lies in hand." in text
