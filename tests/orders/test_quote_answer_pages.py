"""Pages on which a quote is answered, and who may see any of it."""

import re

import pytest

from orders import quoting
from orders.models import Commission, Quote
from studio.models import Entry
from tests.builders import (
    day,
    make_fibre,
    make_furnish,
    make_quote,
    make_sheet,
)
from tests.orders.looking import form_data, look, queries, said
from tests.orders.quotings import enquiry, gift_sheet, in_days, plain_studio
from tests.studio.pages import uncoded

pytestmark = pytest.mark.django_db
State = Quote.State


@pytest.fixture
def asked(studio):
    return enquiry()


# --- answered


def test_accepting_shows_the_numbers_with_their_prices(owner_client, issued, asked):
    page = look(owner_client, "/quotes/Q-001/accept/")
    assert "50 at £3.60, £216.00 in all" in said(page)
    answer = owner_client.post("/quotes/Q-001/accept/", form_data(page, quantity=50), follow=True)
    assert answer.redirect_chain[-1][0] == "/commissions/C-101/"
    assert "Q-001 is accepted, and C-101 is agreed at its price." in uncoded(
        answer.content.decode()
    )
    asked.refresh_from_db()
    assert (asked.good_quantity, asked.agreed_price_minor) == (50, 360)


def test_a_new_commission_is_due_as_much_later_as_the_answer_took(owner_client, studio):
    quote = make_quote(gift_sheet(), is_issued=True, good_quantity=20, send_on=in_days(10))
    # The book of issued quotes only grows, so the answer comes on the day of the issue.
    page = look(owner_client, "/quotes/Q-001/accept/")
    assert page.one("input", name="due").attrs["value"] == in_days(10).isoformat()
    owner_client.post("/quotes/Q-001/accept/", form_data(page, due=in_days(30).isoformat()))
    agreed = Commission.objects.get()
    assert (agreed.due, agreed.state) == (in_days(30), "agreed")
    assert Quote.objects.get(pk=quote.pk).commission == agreed


def test_a_lapsed_quote_is_accepted_only_by_word(owner_client, issued, asked):
    Quote.objects.update(valid_until=day(1))
    page = look(owner_client, "/quotes/Q-001/accept/")
    typed = form_data(page)
    html = owner_client.post("/quotes/Q-001/accept/", typed).content.decode()
    assert "or tick that it is accepted all the same" in html
    asked.refresh_from_db()
    assert asked.state == "quoted"
    owner_client.post("/quotes/Q-001/accept/", {**typed, "all_the_same": "on"})
    asked.refresh_from_db()
    assert asked.state == "agreed"


def test_the_page_of_acceptance_sent_twice_agrees_once(owner_client, issued):
    typed = form_data(look(owner_client, "/quotes/Q-001/accept/"))
    owner_client.post("/quotes/Q-001/accept/", typed)
    before = Entry.objects.count()
    again = owner_client.post("/quotes/Q-001/accept/", typed, follow=True)
    assert "Nothing was written twice." in again.content.decode()
    assert Entry.objects.count() == before


def test_it_is_issued_anew_with_the_prices_of_now(owner_client, issued):
    plain_studio(hourly_rate_minor=4800)
    page = look(owner_client, "/quotes/Q-001/reissue/")
    answer = owner_client.post("/quotes/Q-001/reissue/", form_data(page), follow=True)
    assert answer.redirect_chain[-1][0] == "/quotes/Q-002/"
    # 20 × 9.00.
    assert "180.00" in said(look(owner_client, "/quotes/Q-002/"))
    old = said(look(owner_client, "/quotes/Q-001/"))
    assert "Replaced" in old
    assert "90.00" in old
    assert "The issue that took its place is Q-002." in old


def test_a_new_issue_without_a_price_asks_for_the_word(owner_client, studio):
    make_quote(make_sheet(make_furnish({make_fibre(name="Kozo"): "1"})), is_issued=True)
    page = look(owner_client, "/quotes/Q-001/reissue/")
    assert not page.all("input", name="without_price")
    typed = form_data(page)
    html = owner_client.post("/quotes/Q-001/reissue/", typed).content.decode()
    assert "No price is known for Kozo" in html
    assert 'name="without_price"' in html
    assert Quote.objects.count() == 1
    owner_client.post("/quotes/Q-001/reissue/", {**typed, "without_price": "on"})
    assert Quote.objects.filter(state=State.ISSUED).get().ref == "Q-002"


def test_it_is_laid_aside_with_a_reason(owner_client, issued):
    page = look(owner_client, "/quotes/Q-001/decline/")
    owner_client.post("/quotes/Q-001/decline/", form_data(page, why="Too dear"), follow=True)
    assert Quote.objects.get().state == State.DECLINED
    assert Entry.objects.latest("pk").said == "Q-001 is declined: Too dear"


@pytest.mark.parametrize("deed", ["accept", "reissue", "decline"])
def test_what_was_answered_leads_back_to_its_page(owner_client, issued, deed):
    quoting.accept(issued, 20, by=None)
    answer = owner_client.get(f"/quotes/Q-001/{deed}/", follow=True)
    assert answer.redirect_chain[-1][0] == "/quotes/Q-001/"


# --- who may see any of it

ADDRESSES = (
    "/quotes/", "/quotes/?format=csv", "/quotes/new/", "/quotes/Q-001/", "/quotes/Q-001/edit/",
    "/quotes/Q-001/accept/", "/quotes/Q-001/reissue/", "/quotes/Q-001/decline/",
)  # fmt: skip


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize("role", ["hand", "viewer"])
def test_quotes_are_the_owners_alone(request, issued, role, address):
    browser = request.getfixturevalue(f"{role}_client")
    assert browser.get(address).status_code == 403
    assert browser.post(address).status_code == 403
    assert Quote.objects.get().state == State.ISSUED


@pytest.mark.parametrize("role", ["hand", "viewer"])
def test_no_other_page_shows_a_trace_of_a_quote(request, issued, asked, role):
    quoting.accept(issued, 20, by=None)
    browser = request.getfixturevalue(f"{role}_client")
    for address in ("/", "/commissions/", "/commissions/C-101/", "/commissions/?words=Q-001",
                    "/sheets/", asked.sheet.get_absolute_url(), "/bench/"):  # fmt: skip
        html = browser.get(address).content.decode()
        assert "/quotes/" not in html, address
        assert "4.50" not in html, address
        assert re.search(r"Q-0*1\b", html.replace("?words=Q-001", "").replace('value="Q-001"', "")
                         ) is None, address  # fmt: skip


def test_the_agreed_price_is_left_out_where_rows_are_read(hand, owner, issued):
    from orders import queries as readings

    quoting.accept(issued, 20, by=None)
    assert readings.commissions_for(owner).get().agreed_price_minor == 450
    deferred = readings.commissions_for(hand).get().get_deferred_fields()
    assert "agreed_price_minor" in deferred


def test_one_quote_asks_no_more_for_more_numbers(owner_client, studio):
    sheet = gift_sheet()
    make_quote(sheet, is_issued=True, send_on=in_days(9))
    make_quote(sheet, is_issued=True, send_on=in_days(9), other_quantities=[1, 2, 3, 4, 5])
    assert queries(owner_client, "/quotes/Q-001/") == queries(owner_client, "/quotes/Q-002/")
