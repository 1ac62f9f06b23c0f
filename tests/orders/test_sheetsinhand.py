"""Finished sheets: what lies there, what leaves, and which promises that keeps."""

import uuid
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orders import sheetsinhand
from orders.models import Commission, Delivery, SheetMovement
from orders.sheetsinhand import ParcelNote, Sending
from studio.entries import AlreadyEnteredError
from studio.errors import NotEnoughError, RangeError, StudioError
from tests.builders import day, make_commission, make_finished, make_making, make_sheet

pytestmark = pytest.mark.django_db
State = Commission.State


@pytest.fixture
def asked(sheet):
    return make_commission(sheet, ref="C-101", good_quantity=60, state=State.MAKING)


def send(commission, *rows, **note):
    parcel = ParcelNote(**{"sent_on": day(), **note})
    return sheetsinhand.send(commission, [Sending(*row) for row in rows], parcel, by=None)


def there(making, quality="good"):
    return sheetsinhand.balances([making.pk]).get((making.pk, quality), 0)


def state_of(commission):
    return Commission.objects.get(pk=commission.pk).state


# --- in hand


def test_sheets_in_hand_are_named_by_making_and_quality(asked):
    making = make_finished(asked, good=58, retree=2)
    (row,) = sheetsinhand.in_hand()
    assert (row.ref, row.good_in_hand, row.retree_in_hand) == (making.ref, 58, 2)


def test_a_making_whose_sheets_have_all_left_is_not_listed(asked):
    making = make_finished(asked, good=60)
    send(asked, (making, "good", 60))
    assert not sheetsinhand.in_hand().exists()


# --- sending


def test_sending_all_good_sheets_closes_the_promise(asked):
    making = make_finished(asked, good=60, retree=3)
    delivery = send(asked, (making, "good", 60))
    assert (there(making), there(making, "retree")) == (0, 3)
    assert state_of(asked) == asked.state == State.SENT
    assert delivery.entry.said.endswith("which is now sent")


def test_a_part_delivery_leaves_the_promise_open(asked):
    making = make_finished(asked, good=60)
    send(asked, (making, "good", 45))
    assert state_of(asked) == State.MAKING
    kept = sheetsinhand.kept(asked)
    assert (kept.sent, kept.in_hand, kept.to_send, kept.to_make) == (45, 15, 15, 0)
    send(asked, (making, "good", 15))
    assert state_of(asked) == State.SENT


def test_retree_is_not_delivered_as_good(asked):
    making = make_finished(asked, good=55, retree=10)
    send(asked, (making, "good", 55), (making, "retree", 10))
    assert state_of(asked) == State.MAKING
    assert sheetsinhand.kept(asked).to_send == 5


def test_an_agreed_commission_is_kept_by_sheets_of_the_studios_own(asked):
    Commission.objects.filter(pk=asked.pk).update(state=State.AGREED)
    making = make_finished(sheet=asked.sheet, good=100)
    send(asked, (making, "good", 60))
    assert state_of(asked) == State.SENT
    assert there(making) == 40


@pytest.mark.parametrize("state", [State.ENQUIRY, State.QUOTED, State.SENT, State.WITHDRAWN])
def test_only_a_promise_is_sent(asked, state):
    making = make_finished(asked, good=60)
    Commission.objects.filter(pk=asked.pk).update(state=state)
    with pytest.raises(StudioError, match=f"C-101 is {state}"):
        send(asked, (making, "good", 10))
    assert there(making) == 60


def test_more_than_lies_there_is_refused_with_what_does(asked):
    making = make_finished(asked, good=30)
    with pytest.raises(NotEnoughError, match="30 good sheets are in hand and 31 are asked") as no:
        send(asked, (making, "good", 31))
    assert no.value.field == f"good_{making.pk}"
    assert not Delivery.objects.exists()


def test_the_same_sheets_named_twice_are_added_up(asked):
    making = make_finished(asked, good=30)
    with pytest.raises(NotEnoughError, match="40 are asked for"):
        send(asked, (making, "good", 20), (making, "good", 20))


def test_sheets_that_are_gone_are_not_sent_again(asked):
    making = make_finished(asked, good=20)
    send(asked, (making, "good", 20))
    with pytest.raises(NotEnoughError, match="no good sheet is in hand any more"):
        send(asked, (making, "good", 1))


@pytest.mark.parametrize(
    ("over", "most"),
    # 60 × 1.05 = 63; 60 × 1.04 = 62.4, of which 62 whole; 60 × 1.0333 = 61.998, of which 61.
    [("0", 60), ("0.05", 63), ("0.04", 62), ("0.0333", 61)],
)
def test_over_delivery_stays_within_what_the_client_takes(asked, over, most):
    Commission.objects.filter(pk=asked.pk).update(tolerance_over=Decimal(over))
    making = make_finished(asked, good=80)
    with pytest.raises(RangeError, match=f"Send {most} or fewer, got {most + 1}"):
        send(asked, (making, "good", most + 1))
    assert there(making) == 80
    send(asked, (making, "good", most))
    assert state_of(asked) == State.SENT


def test_over_delivery_counts_what_went_before(asked):
    making = make_finished(asked, good=80)
    send(asked, (making, "good", 50))
    with pytest.raises(RangeError, match=r"50 are sent\. Send 10 or fewer, got 11"):
        send(asked, (making, "good", 11))


def test_sheets_that_another_waits_for_are_not_taken(asked):
    other = make_commission(asked.sheet, ref="C-200")
    making = make_finished(other, good=60)
    with pytest.raises(StudioError, match="made for C-200, which still waits"):
        send(asked, (making, "good", 10))
    assert making not in sheetsinhand.sendable(asked)


def test_sheets_left_over_by_a_commission_that_is_sent_are_free(asked):
    other = make_commission(asked.sheet, ref="C-200", good_quantity=20)
    making = make_finished(other, good=50)
    send(other, (making, "good", 20))
    assert list(sheetsinhand.sendable(asked)) == [making]
    send(asked, (making, "good", 30))
    assert sheetsinhand.kept(asked).sent == 30


def test_another_sheet_is_not_sent_for_it(asked):
    making = make_finished(sheet=make_sheet(name="Card A5"), good=60)
    with pytest.raises(StudioError, match="asked for Text A4, and Card A5 is another sheet"):
        send(asked, (making, "good", 10))


def test_own_sheets_are_offered_first(asked):
    stock = make_finished(sheet=asked.sheet, good=5, finished_on=day(9))
    own = make_finished(asked, good=5, finished_on=day(2))
    assert list(sheetsinhand.sendable(asked)) == [own, stock]


def test_stock_is_sold_without_a_commission(asked):
    stock = make_finished(sheet=asked.sheet, good=5)
    delivery = send(None, (stock, "good", 5), sent_to="Market stall")
    assert delivery.commission is None
    assert there(stock) == 0


def test_retree_is_sold_whoever_the_good_ones_are_for(asked):
    making = make_finished(asked, good=60, retree=4)
    send(None, (making, "retree", 4))
    with pytest.raises(StudioError, match="made for C-101"):
        send(None, (making, "good", 1))


def test_one_parcel_holds_sheets_of_one_kind(sheet):
    a, b = make_finished(sheet=sheet), make_finished(sheet=make_sheet())
    with pytest.raises(StudioError, match="one kind in a parcel"):
        send(None, (a, "good", 1), (b, "good", 1))


def test_an_empty_parcel_is_refused(asked):
    making = make_finished(asked)
    with pytest.raises(StudioError, match="at least one making"):
        send(asked, (making, "good", 0))


@pytest.mark.parametrize(("ago", "said"), [(5, "was finished on"), (-3, "has not come yet")])
def test_sheets_leave_after_they_are_made_and_not_ahead(asked, ago, said):
    making = make_finished(asked, good=60, finished_on=day(3))
    with pytest.raises(RangeError, match=said):
        send(asked, (making, "good", 1), sent_on=day(ago))


def test_one_page_sends_once(asked):
    making, key = make_finished(asked, good=60), uuid.uuid4()
    note = ParcelNote(sent_on=day())
    rows = [Sending(making, "good", 10)]
    first = sheetsinhand.send(asked, rows, note, by=None, key=key)
    with pytest.raises(AlreadyEnteredError) as again:
        sheetsinhand.send(asked, rows, note, by=None, key=key)
    assert again.value.entry.page == f"/deliveries/{first.ref}/"
    assert there(making) == 50


# --- taking back


def test_a_parcel_taken_back_is_in_hand_again_and_opens_the_promise(asked):
    making = make_finished(asked, good=60)
    delivery = send(asked, (making, "good", 60))
    sheetsinhand.take_back(delivery, happened_on=day(), why="Came back wet", by=None)
    assert there(making) == 60
    assert state_of(asked) == State.MAKING
    assert sheetsinhand.kept(asked).sent == 0
    # Nothing was rubbed out.
    kinds = list(SheetMovement.objects.values_list("kind", flat=True))
    assert kinds == ["made", "sent", "corrected"]


def test_a_parcel_is_taken_back_once(asked):
    delivery = send(asked, (make_finished(asked, good=60), "good", 10))
    sheetsinhand.take_back(delivery, happened_on=day(), why="Wrong parcel", by=None)
    with pytest.raises(StudioError, match="taken back already"):
        sheetsinhand.take_back(delivery, happened_on=day(), why="Wrong parcel", by=None)


def test_no_parcel_comes_back_before_it_was_sent(asked):
    making = make_finished(asked, good=60, finished_on=day(9))
    delivery = send(asked, (making, "good", 60), sent_on=day(4))
    with pytest.raises(RangeError, match=f"{delivery.ref} was sent on {day(4):%d %b %Y}") as no:
        sheetsinhand.take_back(delivery, happened_on=day(5), why="Came back wet", by=None)
    assert no.value.field == "happened_on"
    assert there(making) == 0
    sheetsinhand.take_back(delivery, happened_on=day(4), why="Came back wet", by=None)
    assert there(making) == 60


# --- what the store is held for


def test_sheets_made_for_one_and_sent_to_another_are_made_again(asked):
    other = make_commission(asked.sheet, ref="C-200", good_quantity=30)
    making = make_finished(asked, good=60)
    Commission.objects.filter(pk=asked.pk).update(state=State.WITHDRAWN)
    send(other, (making, "good", 30))
    Commission.objects.filter(pk=asked.pk).update(state=State.AGREED)
    assert sheetsinhand.kept(asked).to_make == 30
    assert sheetsinhand.made_for()[asked.pk] == (0, 30)


def test_all_made_names_what_waits_to_be_sent(asked):
    make_finished(asked, good=60)
    other = make_commission(asked.sheet, ref="C-200")
    make_finished(other, good=99)
    assert sheetsinhand.all_made() == ["C-101"]


def test_a_making_that_is_not_finished_counts_as_nothing(asked):
    make_making(commission=asked, state="at the vat")
    assert sheetsinhand.kept(asked).to_make == 60


# --- the book itself


def test_the_database_refuses_a_sending_that_brings_sheets_in(asked):
    made = make_finished(asked).sheet_movements.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        SheetMovement(
            making=made.making, quality="good", kind="sent", sheets=5,
            happened_on=day(), entry=made.entry,
        ).save()  # fmt: skip


ACTS = st.tuples(
    st.sampled_from(["send", "spoil", "not spoilt", "count", "back"]),
    st.sampled_from(["good", "retree"]),
    st.integers(0, 90),
)


@settings(
    max_examples=60,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.lists(ACTS, max_size=12))
def test_whatever_is_done_no_sheet_is_lost_or_sent_twice(sheet, acts):
    """Over any acts: made = in hand + sent + spoilt − counted, and never less than none."""
    with transaction.atomic():
        asked = make_commission(sheet, good_quantity=60, state=State.MAKING)
        making = make_finished(asked, good=70, retree=8)
        for act, quality, number in acts:
            try:
                do(act, asked, making, quality, number)
            except StudioError:
                continue
            assert there(making) >= 0
            assert there(making, "retree") >= 0
            kept = sheetsinhand.kept(asked)
            assert 0 <= kept.sent <= kept.most
            assert (state_of(asked) == State.SENT) == (kept.sent >= 60)
        moved = {
            kind: making.sheet_movements.filter(kind=kind).aggregate(n=Sum("sheets", default=0))[
                "n"
            ]
            for kind in SheetMovement.Kind.values
        }
        assert moved["made"] == 78
        assert sum(moved.values()) == there(making) + there(making, "retree")
        transaction.set_rollback(True)


def do(act, asked, making, quality, number):
    if act == "send":
        send(asked, (making, quality, number))
    elif act == "spoil":
        sheetsinhand.spoil(making, quality, number, happened_on=day(), why="damp", by=None)
    elif act == "not spoilt":
        spoilt = sheetsinhand.spoilt().filter(quality=quality).first()
        if spoilt:
            sheetsinhand.take_back_spoilt(spoilt, happened_on=day(), why="fine", by=None)
    elif act == "count":
        sheetsinhand.count(
            making, {quality: max(0, there(making, quality) - number % 5)},
            happened_on=day(), why="miscounted", by=None,
        )  # fmt: skip
    else:
        last = Delivery.objects.order_by("-pk").first()
        if last:
            sheetsinhand.take_back(last, happened_on=day(), why="came back", by=None)
