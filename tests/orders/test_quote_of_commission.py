"""Several quotes for one commission: one is accepted, and the others say so."""

import pytest
from django.urls import reverse
from django.utils import timezone

from orders import quoting, services
from orders.models import Commission, Quote
from studio.errors import StudioError
from tests.builders import make_client, make_quote
from tests.orders.looking import form_data, look, said
from tests.orders.quotings import drafted, enquiry, now, plain_studio
from tests.studio.pages import Page, uncoded, words

pytestmark = pytest.mark.django_db
State = Commission.State


@pytest.fixture
def asked(studio):
    return enquiry()


@pytest.fixture
def pair(asked):
    """Return two quotes that are out for one commission, the first of them accepted."""
    first, second = (quoting.issue(drafted(asked), by=None) for _ in range(2))
    quoting.accept(first, 20, by=None)
    return first, second


def acts(page):
    return [one.text for one in page.all("a", class_="do")] + [
        one.text for one in page.all("button", class_="do")
    ]


def test_an_open_quote_says_that_another_was_accepted_and_is_only_laid_aside(owner_client, pair):
    _, second = pair
    page = look(owner_client, second.get_absolute_url())
    assert "Q-001 is accepted for C-101 already." in said(page)
    assert "it cannot be accepted any more. Lay it aside." in said(page)
    assert acts(page) == []
    assert page.all("a", href=reverse("quote_decline", args=["Q-002"]))


@pytest.mark.parametrize("name", ["quote_accept", "quote_reissue"])
def test_its_pages_lead_back_with_the_reason(owner_client, pair, name):
    answer = owner_client.get(reverse(name, args=["Q-002"]), follow=True)
    assert answer.redirect_chain == [(reverse("quote", args=["Q-002"]), 302)]
    assert "Q-001 is accepted for C-101 already." in uncoded(answer.content.decode())


def test_a_quote_alone_keeps_its_buttons(owner_client, asked):
    quote = quoting.issue(drafted(asked), by=None)
    assert acts(look(owner_client, quote.get_absolute_url())) == [
        "It is accepted",
        "Issue it anew",
    ]


def test_a_draft_beside_an_accepted_one_is_not_issued(owner_client, asked):
    first, second = drafted(asked), drafted(asked)
    quoting.accept(quoting.issue(first, by=None), 20, by=None)
    page = look(owner_client, second.get_absolute_url())
    assert acts(page) == []
    assert "A draft, but it cannot be accepted any more." in said(page)


def test_a_declined_one_is_not_issued_anew_beside_it(owner_client, asked):
    first, second = (quoting.issue(drafted(asked), by=None) for _ in range(2))
    quoting.decline(second, by=None)
    assert acts(look(owner_client, second.get_absolute_url())) == ["Issue it anew"]
    quoting.accept(first, 20, by=None)
    assert acts(look(owner_client, second.get_absolute_url())) == []


def test_an_agreed_commission_offers_no_quote_and_no_way_back(owner_client, pair):
    page = look(owner_client, "/commissions/C-101/")
    assert [one.text for one in page.all("button", name="to")] == ["Making begins", "Withdraw it"]
    assert not page.all("a", href=f"{reverse('quote_new')}?commission=C-101")


def test_what_was_agreed_by_word_goes_back_but_not_what_a_quote_was_accepted_for(asked):
    services.move(asked, State.AGREED, by=None)
    services.move(asked, State.QUOTED, by=None)
    quote = quoting.issue(drafted(asked), by=None)
    quoting.accept(quote, 20, by=None)
    with pytest.raises(StudioError, match="after that it can become making, withdrawn"):
        services.move(asked, State.QUOTED, by=None)


# --- agreed by word, without a quote


SAID = "C-101 is agreed already; quotes are for what the client has not agreed to."


def test_no_paper_is_drawn_up_beside_what_was_agreed_by_word(owner_client, asked):
    services.move(asked, State.AGREED, by=None)
    address = f"{reverse('quote_new')}?commission=c-101"
    for answer in (
        owner_client.get(address, follow=True),
        owner_client.post(address, follow=True),
    ):
        assert answer.redirect_chain == [(reverse("quotes"), 302)]
        assert SAID in uncoded(answer.content.decode())
    assert not Quote.objects.exists()


def test_agreed_by_word_while_a_draft_is_typed_none_is_kept(asked):
    quote = quoting.from_commission(asked, timezone.localdate())
    services.move(asked, State.AGREED, by=None)
    with pytest.raises(StudioError, match=SAID):
        quoting.draft(quote, by=None)


def test_what_was_offered_before_the_word_can_be_issued_anew_and_accepted(asked):
    first = quoting.issue(drafted(asked), by=None)
    services.move(asked, State.AGREED, by=None)
    anew = quoting.reissue(first, quoting.again(now(first), timezone.localdate()), by=None)
    quoting.accept(anew, 20, by=None)
    asked.refresh_from_db()
    assert (asked.state, asked.agreed_price_minor) == (State.AGREED, 450)


# --- the form: what is amiss in a new sheet ----------------------------------------------------


def test_faults_of_a_new_sheet_lead_to_their_fields(owner_client, db):
    plain_studio()
    make_client(name="Heron Books")
    address = reverse("quote_new")
    typed = form_data(
        look(owner_client, address),
        **{"new_client": "Tern Press", "title": "Menus", "good_quantity": "0",
           "made-name": "Menu", "made-size": "huge", "made-grammage": "", "made-furnish": "",
           "made-broke": "200"},
    )  # fmt: skip
    answer = owner_client.post(address, typed)
    assert answer.status_code == 200
    page = Page(answer.content.decode())
    links = {
        one.attrs["href"]: words(one.text) for one in page.all("a") if "#id_" in one.attrs["href"]
    }
    assert links["#id_good_quantity"] == "Good sheets: Give 1 or more, got 0\u00a0sheets."
    assert links["#id_made-size"].startswith("New sheet, dry size: “huge” can't be read")
    assert links["#id_made-furnish"] == "New sheet, furnish: Choose one."
    assert links["#id_made-broke"].startswith("New sheet, ")
    assert {target[1:] for target in links} <= set(page.ids())
    assert not Quote.objects.exists()


def test_a_chosen_sheet_makes_faults_of_a_new_one_nobodys(owner_client, asked):
    address = f"{reverse('quote_new')}?sheet={asked.sheet_id}"
    page = look(owner_client, address)
    typed = form_data(page, **{"new_client": "Tern Press", "title": "Menus", "made-size": "huge",
                               "sheet": asked.sheet_id, "good_quantity": "20"})  # fmt: skip
    owner_client.post(address, typed)
    assert Quote.objects.get().sheet == asked.sheet


def test_one_without_a_commission_is_barred_by_none(asked):
    assert quoting.bar(make_quote(asked.sheet, make_client(), is_issued=True)) == ""
