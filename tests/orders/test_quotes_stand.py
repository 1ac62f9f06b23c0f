"""What an issued quote says has to hold: its day, its client, and that it can be accepted."""

import pytest
from django.urls import reverse
from django.utils import timezone

from orders import quoting
from orders.models import Quote
from studio.errors import StudioError
from tests.builders import make_client
from tests.orders.quotings import enquiry, in_days
from tests.studio.pages import uncoded

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked(studio):
    return enquiry()


@pytest.fixture
def draft(asked):
    return quoting.draft(quoting.from_commission(asked, timezone.localdate()), by=None)


def again(quote):
    return quoting.again(quote, timezone.localdate())


# --- the day to send


def test_a_draft_whose_day_to_send_is_over_is_not_issued(draft):
    Quote.objects.update(send_on=in_days(-1))
    with pytest.raises(StudioError, match=r"would be sent by .* that day is over") as fault:
        quoting.issue(draft, by=None)
    assert fault.value.field == "send_on"
    Quote.objects.update(send_on=in_days(0))
    assert quoting.issue(draft, by=None).is_issued


def test_the_form_refuses_a_day_to_send_that_is_over(owner_client, draft):
    said = owner_client.post(
        reverse("quote_edit", args=[draft.ref]), {"send_on": in_days(-1).isoformat()}
    )
    (fault,) = said.context["form"].errors["send_on"]
    assert fault.startswith("Give today or a later day, got ")


def test_a_new_issue_reckons_its_day_to_send_from_the_plan_of_now(issued, asked):
    Quote.objects.update(send_on=in_days(-30))
    issued.refresh_from_db()
    sheet, today = asked.sheet, timezone.localdate()
    reckoned = quoting.send_day(sheet, issued.good_quantity, today, commission=asked)
    assert again(issued).send_on == reckoned >= today


def test_a_new_issue_of_a_letter_without_a_day_names_none(issued):
    Quote.objects.update(send_on=None)
    issued.refresh_from_db()
    assert again(issued).send_on is None


# --- one that can be accepted


def test_no_other_quote_is_drawn_up_once_one_is_accepted(issued, asked):
    other = quoting.draft(quoting.from_commission(asked, timezone.localdate()), by=None)
    kept = quoting.from_commission(asked, timezone.localdate())
    quoting.accept(issued, issued.good_quantity, by=None)
    asked.refresh_from_db()
    said = "Q-001 is accepted for C-101 already"
    with pytest.raises(StudioError, match=said):
        quoting.from_commission(asked, timezone.localdate())
    with pytest.raises(StudioError, match=said):
        quoting.draft(kept, by=None)
    with pytest.raises(StudioError, match=said):
        quoting.issue(other, by=None)


def test_the_commissions_page_offers_no_quote_once_one_is_accepted(owner_client, issued, asked):
    address = f"{reverse('quote_new')}?commission={asked.ref}"
    assert address in owner_client.get(asked.get_absolute_url()).content.decode()
    quoting.accept(issued, issued.good_quantity, by=None)
    assert address not in owner_client.get(asked.get_absolute_url()).content.decode()


def test_a_letter_goes_to_the_client_of_its_commission_only(draft, asked):
    asked.client = make_client(name="Heron Books")
    asked.save()
    with pytest.raises(StudioError, match="C-101 is for another client now than Q-001 names"):
        quoting.issue(draft, by=None)


def test_what_was_offered_to_one_client_is_not_agreed_with_another(issued, asked):
    asked.client = make_client(name="Heron Books")
    asked.save()
    with pytest.raises(StudioError, match="another client now than Q-001 names"):
        quoting.accept(issued, issued.good_quantity, by=None)
    issued.refresh_from_db()
    assert issued.is_issued


# --- what its page says after


def test_an_accepted_quote_says_what_was_agreed_at_another_number(owner_client, asked):
    quote = quoting.from_commission(asked, timezone.localdate())
    quote.good_quantity, quote.other_quantities = 20, [10]
    # No sheet is lost: 60 + 10 × 6 minutes are 48.00, 4.80 each, 6.00 with a fifth of it kept.
    issued = quoting.issue(quoting.draft(quote, by=None), by=None)
    quoting.accept(issued, 10, by=None)
    page = owner_client.get(issued.get_absolute_url()).content.decode()
    assert "10 good sheets at £6.00 each" in page


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ("draft", "Q-001 is a draft. Issue it first."),
        ("declined", "Q-001 is declined. Issue it anew if the client comes back."),
        ("accepted", "Q-001 is accepted. Nothing more is to be done."),
    ],
)
def test_what_cannot_be_answered_says_what_to_do(owner_client, issued, state, said):
    Quote.objects.update(state=state)
    page = owner_client.get(reverse("quote_accept", args=[issued.ref]), follow=True)
    assert said in uncoded(page.content.decode())
