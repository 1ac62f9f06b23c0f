"""Finished sheets that are spoilt or counted: never more than the vat formed."""

import pytest

from orders import sheetsinhand
from orders.models import Commission, SheetMovement
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry
from tests.builders import day, make_commission, make_finished, make_making
from tests.orders.test_sheetsinhand import send, there

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked(sheet):
    state = Commission.State.MAKING
    return make_commission(sheet, ref="C-101", good_quantity=60, state=state)


def test_spoilt_sheets_have_to_be_made_again(asked):
    making = make_finished(asked, good=60)
    assert sheetsinhand.kept(asked).to_make == 0
    sheetsinhand.spoil(making, "good", 4, happened_on=day(), why="Damp", by=None)
    assert there(making) == 56
    assert sheetsinhand.kept(asked).to_make == 4


def test_no_more_is_spoilt_than_lies_there(asked):
    making = make_finished(asked, good=3)
    with pytest.raises(NotEnoughError):
        sheetsinhand.spoil(making, "good", 4, happened_on=day(), why="Damp", by=None)


def test_what_spoilt_needs_a_reason(asked):
    making = make_finished(asked, good=3)
    with pytest.raises(StudioError, match="Say what happened"):
        sheetsinhand.spoil(making, "good", 1, happened_on=day(), why=" ", by=None)


def counted(making, good, retree, **more):
    return sheetsinhand.count(
        making, {"good": good, "retree": retree}, happened_on=day(), by=None, **more
    )


def test_a_count_sets_what_is_in_hand(asked):
    making = make_finished(asked, good=60, retree=2)
    off = counted(making, 57, 5, why="Three were speckled")
    assert off == {"good": -3, "retree": 3}
    assert (there(making), there(making, "retree")) == (57, 5)


def test_a_count_that_agrees_is_entered_and_moves_nothing(asked):
    making = make_finished(asked, good=60)
    counted(making, 60, 0)
    assert Entry.objects.filter(act="count sheets").count() == 1
    assert SheetMovement.objects.count() == 1


def test_a_count_that_differs_needs_a_reason(asked):
    making = make_finished(asked, good=60)
    with pytest.raises(StudioError, match="where the difference") as no:
        counted(making, 59, 0)
    assert no.value.field == "why"


def test_a_count_is_refused_where_sheets_have_moved_since(asked):
    making = make_finished(asked, good=60)
    send(asked, (making, "good", 10))
    with pytest.raises(StudioError, match="the book now says 50 good, 0 retree"):
        counted(making, 60, 0, why="x", seen={"good": 60, "retree": 0})
    assert there(making) == 50


@pytest.mark.parametrize("state", ["planned", "at the vat", "given up"])
def test_only_sheets_of_a_finished_making_are_counted_or_spoilt(asked, state):
    making = make_making(commission=asked, state=state)
    with pytest.raises(StudioError, match=f"{making.ref} is {state}. Only a finished making"):
        counted(making, 70, 0, why="They lie there")
    with pytest.raises(StudioError, match=f"{making.ref} is {state}. Only a finished making"):
        sheetsinhand.spoil(making, "good", 1, happened_on=day(), why="Damp", by=None)
    assert not SheetMovement.objects.exists()


def test_no_more_is_counted_than_was_formed(asked):
    making = make_finished(asked, good=60, retree=2, broke=3)
    with pytest.raises(RangeError) as no:
        counted(making, 62, 4, why="Found behind the press")
    assert str(no.value) == (
        f"65 sheets of {making.ref} were formed, broke among them; 66 in hand, 0 sent and "
        "0 spoilt make 66. Count again."
    )
    assert (there(making), there(making, "retree")) == (60, 2)
    counted(making, 61, 4, why="Broke sorted again")
    assert (there(making), there(making, "retree")) == (61, 4)


def test_a_count_adds_up_what_was_sent_and_spoilt(asked):
    making = make_finished(asked, good=60, broke=1)
    send(asked, (making, "good", 20))
    back = send(asked, (making, "good", 10))
    sheetsinhand.take_back(back, happened_on=day(), why="Came back", by=None)
    sheetsinhand.spoil(making, "good", 5, happened_on=day(), why="Damp", by=None)
    with pytest.raises(RangeError, match="37 in hand, 20 sent and 5 spoilt make 62"):
        counted(making, 37, 0, why="Found more")
    counted(making, 36, 0, why="Broke sorted again")
    assert there(making) == 36


def test_a_book_that_has_too_many_may_be_counted_down(asked):
    making = make_finished(asked, good=60)
    send(asked, (making, "good", 50))
    making.posts.update(good=40)
    counted(making, 0, 0, why="None lies there")
    assert there(making) == 0
