"""What becomes of an issued quote: issued anew, accepted, declined."""

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest

from orders import quoting
from orders.calc.quotation import Quotation
from orders.models import Commission, Quote, Sheet
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import (
    day,
    make_client,
    make_commission,
    make_quote,
)
from tests.orders.quotings import enquiry, gift_sheet, in_days, now, plain_studio, today

pytestmark = pytest.mark.django_db
State = Quote.State


@pytest.fixture
def asked(studio):
    return enquiry()


# --- issued anew


def test_a_new_issue_has_the_next_number_and_the_old_one_is_replaced(issued):
    plain_studio(hourly_rate_minor=4800)
    new = quoting.reissue(issued, quoting.again(issued, today()), by=None)
    assert (new.ref, new.state, new.replaces) == ("Q-002", State.ISSUED, issued)
    assert now(issued).state == State.REPLACED
    # Twice the pay is twice the price; the old paper keeps the old one.
    assert quoting.shown(now(new), today()).chosen.each_minor == 900
    assert quoting.shown(now(issued), today()).chosen.each_minor == 450
    assert quoting.shown(now(new), today()).terms.replaces == "Q-001"


def test_a_new_issue_twice_with_one_key_is_one(issued):
    key = uuid.uuid4()
    quoting.reissue(issued, quoting.again(issued, today()), by=None, key=key)
    with pytest.raises(AlreadyEnteredError):
        quoting.reissue(issued, quoting.again(issued, today()), by=None, key=key)
    assert list(Quote.objects.order_by("pk").values_list("ref", flat=True)) == ["Q-001", "Q-002"]


@pytest.mark.parametrize("state", ["draft", "accepted", "replaced"])
def test_only_what_is_out_or_was_declined_is_issued_anew(issued, state):
    Quote.objects.update(state=state)
    with pytest.raises(StudioError, match="only one that is issued, or was declined"):
        quoting.reissue(issued, quoting.again(issued, today()), by=None)
    assert Quote.objects.count() == 1


# --- accepted


def test_accepted_at_another_number_the_commission_is_agreed_with_its_price(issued, asked):
    agreed = quoting.accept(issued, 50, by=None)
    assert agreed == asked
    asked.refresh_from_db()
    assert (asked.state, asked.good_quantity) == (Commission.State.AGREED, 50)
    assert asked.agreed_price_minor == 360
    assert now(issued).state == State.ACCEPTED


def test_the_price_that_is_kept_is_that_of_the_paper(issued, asked):
    plain_studio(hourly_rate_minor=9900)
    quoting.accept(issued, 20, by=None)
    asked.refresh_from_db()
    assert asked.agreed_price_minor == 450


def test_without_a_commission_one_is_entered_and_agreed(studio):
    sheet, client = gift_sheet(), make_client()
    quote = make_quote(
        sheet, client, is_issued=True, good_quantity=20, send_on=in_days(12),
        tolerance_over=Decimal("0.1"), title="Menus",
    )  # fmt: skip
    agreed = quoting.accept(quote, 20, by=None)
    assert (agreed.client, agreed.sheet, agreed.title) == (client, sheet, "Menus")
    assert (agreed.state, agreed.good_quantity) == (Commission.State.AGREED, 20)
    assert (agreed.due, agreed.tolerance_over) == (in_days(12), Decimal("0.1"))
    assert agreed.agreed_price_minor == 450
    assert now(quote).commission == agreed


def test_a_day_given_goes_before_that_of_the_paper(studio):
    quote = make_quote(gift_sheet(), is_issued=True, send_on=in_days(12))
    assert quoting.accept(quote, 100, due=in_days(20), by=None).due == in_days(20)


def test_a_new_commission_needs_a_day_from_today_on(studio):
    quote = make_quote(gift_sheet(), is_issued=True)
    with pytest.raises(StudioError, match="Q-001 names no day to send") as none:
        quoting.accept(quote, 100, by=None)
    with pytest.raises(StudioError, match="Give a day from today on") as over:
        quoting.accept(quote, 100, due=day(1), by=None)
    assert (none.value.field, over.value.field) == ("due", "due")
    assert not Commission.objects.exists()


def test_a_number_that_was_not_offered_is_refused(issued, asked):
    with pytest.raises(StudioError, match="Q-001 offers 10, 20, 50 good sheets, not 60"):
        quoting.accept(issued, 60, by=None)
    asked.refresh_from_db()
    assert asked.state == Commission.State.QUOTED


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("draft", "Q-001 is a draft, not out with the client. Issue it first"),
        ("accepted", "Q-001 is accepted"),
        ("declined", "Issue it anew if the client comes back"),
        ("replaced", "Answer the one that took its place"),
    ],
)
def test_only_what_is_out_is_accepted(issued, state, said):
    Quote.objects.update(state=state)
    with pytest.raises(StudioError, match=said):
        quoting.accept(issued, 20, by=None)


def test_accepted_twice_with_one_key_is_accepted_once(issued):
    key = uuid.uuid4()
    quoting.accept(issued, 20, by=None, key=key)
    with pytest.raises(AlreadyEnteredError) as repeat:
        quoting.accept(issued, 20, by=None, key=key)
    assert repeat.value.entry.page == "/commissions/C-101/"


def lapse(quote):
    Quote.objects.filter(pk=quote.pk).update(valid_until=day(1))
    return now(quote)


def test_on_its_last_day_it_still_holds(issued, asked):
    Quote.objects.update(valid_until=today())
    assert not now(issued).is_lapsed
    assert quoting.accept(issued, 20, by=None) == asked


def test_past_its_day_it_has_lapsed_and_wants_the_owners_word(issued, asked):
    quote = lapse(issued)
    assert quote.state_mark == ("soon", "Lapsed")
    with pytest.raises(StudioError, match="Issue it anew, or tick that it is accepted") as fault:
        quoting.accept(quote, 20, by=None)
    assert fault.value.field == "all_the_same"
    asked.refresh_from_db()
    assert asked.state == Commission.State.QUOTED
    quoting.accept(quote, 20, all_the_same=True, by=None)
    asked.refresh_from_db()
    assert asked.agreed_price_minor == 450


def test_a_sheet_that_was_changed_wants_the_owners_word(issued):
    Sheet.objects.update(grammage=Decimal(150))
    assert quoting.sheet_changes(now(issued)) == (
        "The sheet was changed after Q-001 was issued: its grammage."
    )
    with pytest.raises(StudioError, match="its grammage"):
        quoting.accept(issued, 20, by=None)
    assert quoting.accept(issued, 20, all_the_same=True, by=None)


def test_a_commission_that_is_made_already_is_not_agreed_again(issued, asked):
    Commission.objects.update(state="making")
    with pytest.raises(StudioError, match="C-101 is making"):
        quoting.accept(issued, 20, by=None)


def test_of_two_quotes_for_one_commission_one_is_accepted(issued, asked):
    asked.refresh_from_db()
    other = quoting.draft(quoting.from_commission(asked, today()), by=None)
    quoting.issue(other, by=None)
    quoting.accept(issued, 20, by=None)
    with pytest.raises(StudioError, match="Q-001 is accepted for C-101 already"):
        quoting.accept(other, 20, by=None)


# --- declined


def test_declined_it_counts_for_nothing(issued, asked):
    quoting.decline(issued, why="Too dear", by=None)
    assert now(issued).state == State.DECLINED
    assert Entry.objects.latest("pk").said == "Q-001 is declined: Too dear"
    asked.refresh_from_db()
    assert asked.state == Commission.State.QUOTED


@pytest.mark.parametrize("state", ["accepted", "declined", "replaced"])
def test_what_is_answered_is_not_declined(issued, state):
    Quote.objects.update(state=state)
    with pytest.raises(StudioError, match="only a draft or one that is out"):
        quoting.decline(issued, by=None)


def test_declined_it_can_be_issued_anew(issued):
    quoting.decline(issued, by=None)
    new = quoting.reissue(issued, quoting.again(issued, today()), by=None)
    assert new.valid_until == today() + timedelta(days=30)
    assert Quotation.from_json(new.frozen).terms.replaces == "Q-001"


def test_a_client_or_sheet_with_a_quote_stays_for_its_history(issued):
    from studio.pages import hanging

    assert "1 quote" in hanging(issued.client)
    assert "1 quote" in hanging(issued.sheet)


def test_a_commission_keeps_no_price_that_nobody_agreed(studio):
    commission = make_commission(gift_sheet())
    assert commission.agreed_price_minor is None
