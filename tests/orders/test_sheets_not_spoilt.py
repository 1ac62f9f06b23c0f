"""Sheets that were entered as spoilt by mistake, and are taken back."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from orders import sheetsinhand
from orders.audit import audit
from orders.makings.standing import sheets_made
from orders.models import Commission, SheetMovement
from studio.errors import RangeError, StudioError
from studio.models import Entry
from tests.builders import day, make_commission, make_finished, make_spoilt
from tests.orders.looking import form_data, look, said, same_queries_for_1_and_20
from tests.orders.test_sheetsinhand import there
from tests.studio.pages import uncoded

pytestmark = pytest.mark.django_db
LIST = "/sheets/spoilt/"


@pytest.fixture
def making(sheet):
    state = Commission.State.MAKING
    asked = make_commission(sheet, ref="C-101", good_quantity=60, state=state)
    return make_finished(asked, ref="R-207", good=60, retree=2, broke=1)


def take_back(spoilt, *, why="Another making was meant", on=None, **more):
    return sheetsinhand.take_back_spoilt(spoilt, happened_on=on or day(), why=why, by=None, **more)


def test_what_is_taken_back_is_in_hand_again_and_need_not_be_made(making):
    spoilt = make_spoilt(making, sheets=7)
    assert sheetsinhand.kept(making.commission).to_make == 7
    back = take_back(spoilt)
    assert there(making) == 60
    assert sheetsinhand.kept(making.commission).to_make == 0
    assert (back.kind, back.sheets, back.reverses, back.why) == (
        "corrected", 7, spoilt, "Another making was meant",
    )  # fmt: skip
    spoilt.refresh_from_db()
    assert (spoilt.kind, spoilt.sheets) == ("spoilt", -7)
    assert Entry.objects.filter(act="take back spoilt").count() == 1


def test_it_is_taken_back_once(making):
    spoilt = make_spoilt(making)
    take_back(spoilt)
    with pytest.raises(StudioError, match="taken back already"):
        take_back(spoilt)
    with pytest.raises(IntegrityError), transaction.atomic():
        SheetMovement(
            making=making, quality="good", kind="corrected", sheets=3, reverses=spoilt,
            happened_on=day(), entry=spoilt.entry,
        ).save()  # fmt: skip
    assert there(making) == 60


def test_a_reason_is_needed(making):
    with pytest.raises(StudioError, match="why they are taken back"):
        take_back(make_spoilt(making), why="  ")


def test_only_what_was_spoilt_is_taken_back(making):
    made = making.sheet_movements.get(kind="made", quality="good")
    with pytest.raises(StudioError, match="entered as spoilt"):
        take_back(made)


def test_it_is_not_taken_back_before_it_was_entered(making):
    spoilt = make_spoilt(making)
    with pytest.raises(RangeError, match="entered as spoilt on"):
        take_back(spoilt, on=spoilt.happened_on - timedelta(days=1))


def test_a_count_since_has_put_the_book_right(making):
    spoilt = make_spoilt(making, sheets=4)
    counted = {"good": 60, "retree": 2}
    # The vat formed one broke more; a count may find as many sheets again as lie there.
    with pytest.raises(RangeError):
        sheetsinhand.count(making, counted, happened_on=day(), why="All there", by=None)
    sheetsinhand.count(
        making, {"good": 57, "retree": 2}, happened_on=day(), why="One more", by=None
    )
    with pytest.raises(StudioError, match="counted since"):
        take_back(spoilt)


def test_after_taking_back_a_count_may_find_no_more_than_was_formed(making):
    take_back(make_spoilt(making, sheets=4))
    with pytest.raises(RangeError, match="64 in hand, 0 sent and 0 spoilt make 64"):
        sheetsinhand.count(
            making, {"good": 62, "retree": 2}, happened_on=day(), why="More", by=None
        )


def test_sheets_made_and_the_audit_know_nothing_of_it(making):
    take_back(make_spoilt(making, sheets=4))
    assert sheets_made([making.pk]) == {(making.pk, "good"): 60, (making.pk, "retree"): 2}
    assert [fault for fault in audit().faults if "R-207" in str(fault)] == []


# --- pages


def test_the_list_says_what_is_spoilt_and_leads_the_owner_back(owner_client, making):
    spoilt = make_spoilt(making, sheets=5)
    page = look(owner_client, LIST)
    assert "R-207" in said(page)
    assert "Damp" in said(page)
    address = page.one("a", href=f"{LIST}{spoilt.pk}/back/").attrs["href"]
    form = look(owner_client, address)
    assert "5 good sheets of R-207 entered as spoilt on" in said(form)
    answer = owner_client.post(address, form_data(form, why="Slip of the finger"), follow=True)
    assert "5 good sheets of R-207 in hand again." in uncoded(answer.content.decode())
    page = look(owner_client, LIST)
    assert "Slip of the finger" in said(page)
    assert not page.all("a", href=address)
    again = owner_client.get(address, follow=True)
    assert "They have been taken back already." in again.content.decode()


def test_it_is_found_though_no_sheet_of_the_making_is_left(owner_client, making):
    spoilt = make_spoilt(making, sheets=60)
    assert look(owner_client, "/sheets/in-hand/").one("a", href=LIST)
    assert look(owner_client, LIST).one("a", href=f"{LIST}{spoilt.pk}/back/")


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_others_read_the_list_and_take_nothing_back(request, who, making):
    spoilt = make_spoilt(making)
    client = request.getfixturevalue(who)
    assert not look(client, LIST).all("a", href=f"{LIST}{spoilt.pk}/back/")
    assert client.post(f"{LIST}{spoilt.pk}/back/", {}).status_code == 403


def test_the_list_can_be_taken_along(owner_client, making):
    take_back(make_spoilt(making, sheets=5))
    text = owner_client.get(LIST, {"export": "csv"}).content.decode()
    assert "R-207" in text
    assert "Another making was meant" in text


def test_the_list_asks_as_often_for_20_as_for_1(owner_client, making):
    def add():
        take_back(make_spoilt(making, sheets=1))
        make_spoilt(making, sheets=1)

    same_queries_for_1_and_20(owner_client, LIST, add)
