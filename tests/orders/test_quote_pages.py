"""Pages of quotes: the list, the letter, and the form with its panel."""

import re
from decimal import Decimal

import pytest

from orders import quoting
from orders.models import Client, Commission, Quote, QuoteDocument, Sheet
from tests.builders import (
    day,
    make_fibre,
    make_furnish,
    make_mould,
    make_quote,
    make_sheet,
    make_studio,
)
from tests.orders.looking import form_data, heads, look, said, same_queries_for_1_and_20
from tests.orders.quotings import enquiry, gift_sheet, in_days, plain_studio
from tests.studio.pages import uncoded

pytestmark = pytest.mark.django_db
State = Quote.State


@pytest.fixture
def asked(studio):
    return enquiry()


# --- the list


def test_the_list_names_quotes_with_price_day_and_state(owner_client, issued):
    page = look(owner_client, "/quotes/")
    assert heads(page, "Quotes") == [f"Q-001 Song sheets{issued.client.name}"]
    text = said(page)
    # 20 × 4.50.
    for words in ("Song A4", "90.00", "C-101", "Issued"):
        assert words in text


def test_an_empty_list_says_where_quotes_come_from(owner_client, studio):
    assert "from a commission, a sheet or the Bench" in said(look(owner_client, "/quotes/"))


def test_the_list_asks_the_database_as_often_for_20_quotes_as_for_1(owner_client, studio):
    sheet = gift_sheet()
    same_queries_for_1_and_20(
        owner_client, "/quotes/", lambda: make_quote(sheet, is_issued=True, send_on=in_days(9))
    )


def test_the_list_is_narrowed_by_state_client_and_words(owner_client, issued):
    sheet = Sheet.objects.get()
    lapsed = make_quote(sheet, is_issued=True, title="Cards")
    Quote.objects.filter(pk=lapsed.pk).update(valid_until=day(1))
    make_quote(sheet, title="Notes")

    def refs(**query):
        page = look(owner_client, "/quotes/", **query)
        return sorted(set(re.findall(r"Q-\d+", " ".join(heads(page, "Quotes")))))

    assert refs() == ["Q-001", "Q-002", "Q-003"]
    assert refs(state="out") == ["Q-001"]
    assert refs(state="lapsed") == ["Q-002"]
    assert refs(state="draft") == ["Q-003"]
    assert refs(client=issued.client_id) == ["Q-001"]
    assert refs(words="cards") == ["Q-002"]
    assert refs(words="C-101") == ["Q-001"]


def test_the_list_goes_to_a_file_with_its_amounts(owner_client, issued):
    answer = owner_client.get("/quotes/?format=csv")
    text = b"".join(answer).decode() if answer.streaming else answer.content.decode()
    assert "90.00" in text
    assert "Price in all, GBP" in text


def test_an_amount_in_another_currency_names_it(owner_client, issued):
    make_studio(currency="EUR")
    assert "£90.00" in said(look(owner_client, "/quotes/"))


# --- the letter


def test_a_draft_is_shown_as_the_letter_it_would_be(owner_client, draft):
    text = said(look(owner_client, "/quotes/q-001/"))
    assert "Draft, not an offer yet" in text
    # 20 × 4.50 is 90.00, a fifth of it 18.00.
    for figure in ("4.50", "90.00", "18.00", "108.00", "£54.00 at 20 sheets"):
        assert figure in text
    assert "Issue it" in text


def test_issuing_freezes_it_and_says_so(owner_client, draft):
    page = look(owner_client, "/quotes/Q-001/")
    sent = {"request_key": page.one("input", name="request_key").attrs["value"]}
    answer = owner_client.post("/quotes/Q-001/issue/", sent, follow=True)
    assert "Q-001 is issued. Print the letter and send it." in uncoded(answer.content.decode())
    text = said(look(owner_client, "/quotes/Q-001/"))
    assert "Draft" not in text
    assert "Reckoned on" in text
    again = owner_client.post("/quotes/Q-001/issue/", sent, follow=True)
    assert "Nothing was written twice" in again.content.decode()
    assert QuoteDocument.objects.count() == 1


def test_issuing_without_a_key_asks_to_look_again(owner_client, draft):
    answer = owner_client.post("/quotes/Q-001/issue/", {}, follow=True)
    assert "sent without its key" in answer.content.decode()
    assert not QuoteDocument.objects.exists()


def test_the_page_of_an_issued_quote_does_not_change(owner_client, issued):
    before = look(owner_client, "/quotes/Q-001/").one("article").text
    plain_studio(name="Another House", hourly_rate_minor=9900, tax_rate=Decimal(0), units="US")
    Client.objects.update(name="Somebody Else")
    Sheet.objects.update(name="Other sheet", grammage=Decimal(222), minutes_per_pull=Decimal(60))
    Commission.objects.update(title="Other title", good_quantity=1)
    Quote.objects.update(title="Other title", remarks="Other", good_quantity=2, includes="Other")
    assert look(owner_client, "/quotes/Q-001/").one("article").text == before
    row = said(look(owner_client, "/quotes/"))
    assert "Song sheets" in row
    assert "Somebody Else" not in row.partition("The last first")[2].partition("Quote")[2]


def test_the_working_is_the_owners_and_not_of_the_letter(owner_client, issued):
    page = look(owner_client, "/quotes/Q-001/")
    assert "Cost of a good sheet" in said(page)
    assert "Cost of a good sheet" not in page.one("article").text
    assert "margin" not in page.one("article").text


def test_a_price_that_is_not_known_is_said_before_it_goes(owner_client, studio):
    make_quote(make_sheet(make_furnish({make_fibre(name="Kozo"): "1"})))
    page = look(owner_client, "/quotes/Q-001/")
    assert "Kozo: counted as nothing" in said(page)
    key = page.one("input", name="request_key").attrs["value"]
    answer = owner_client.post("/quotes/Q-001/issue/", {"request_key": key}, follow=True)
    assert "Not issued: No price is known for Kozo" in answer.content.decode()
    sent = {"request_key": key, "without_price": "on"}
    owner_client.post("/quotes/Q-001/issue/", sent)
    assert Quote.objects.get().state == State.ISSUED


def test_a_quote_that_cannot_be_reckoned_says_why(owner_client, draft):
    draft.sheet.furnish.parts.all().delete()
    text = said(look(owner_client, "/quotes/Q-001/"))
    assert "It cannot be reckoned." in text
    assert "has no fibre yet" in text


def test_a_lapsed_quote_says_so(owner_client, issued):
    Quote.objects.update(valid_until=day(3))
    text = said(look(owner_client, "/quotes/Q-001/"))
    assert "Lapsed" in text
    assert "Issue it anew, or accept it all the same." in text


def test_markup_in_names_is_shown_as_typed(owner_client, studio):
    make_quote(gift_sheet(), title="<b>Menus</b>", remarks="<script>x</script>", is_issued=True)
    html = owner_client.get("/quotes/Q-001/").content.decode()
    assert "<b>Menus" not in html
    assert "<script>x" not in html
    assert "&lt;script&gt;x&lt;/script&gt;" in html


# --- drawn up and changed


def test_from_a_commission_the_form_is_filled_in(owner_client, asked):
    page = look(owner_client, "/quotes/new/?commission=c-101")
    assert "New quote for C-101" in page.one("h1").text
    assert page.one("input", name="good_quantity").attrs["value"] == "20"
    # 20 sheets at 4.50, worked out before anything is typed.
    assert "£90.00" in said(page)
    answer = owner_client.post("/quotes/new/?commission=C-101", form_data(page), follow=True)
    assert answer.redirect_chain[-1][0] == "/quotes/Q-001/"
    kept = Quote.objects.get()
    assert (kept.commission, kept.client) == (asked, asked.client)
    assert kept.other_quantities == [10, 25, 50]


def test_the_commissions_page_leads_to_it_and_shows_what_was_agreed(owner_client, issued, asked):
    page = look(owner_client, "/commissions/C-101/")
    assert page.one("a", href="/quotes/new/?commission=C-101").text == "Draw up a quote"
    assert "Q-001" in " ".join(heads(page, "Quotes"))
    quoting.accept(issued, 20, by=None)
    plain_studio(hourly_rate_minor=4800)
    text = said(look(owner_client, "/commissions/C-101/"))
    # Twice the pay makes 9.00 of 4.50.
    assert "£4.50 a good sheet was agreed by Q-001. Reckoned now the price would be £9.00." in text


def test_the_commissions_page_asks_as_often_for_20_quotes_as_for_1(owner_client, asked):
    same_queries_for_1_and_20(
        owner_client,
        "/commissions/C-101/",
        lambda: make_quote(commission=asked, is_issued=True, send_on=in_days(9)),
    )


def test_what_is_begun_is_not_quoted_for(owner_client, studio):
    enquiry(state="making")
    answer = owner_client.get("/quotes/new/?commission=C-101", follow=True)
    assert "quotes are for what is not begun yet" in answer.content.decode()
    assert "Draw up a quote" not in said(look(owner_client, "/commissions/C-101/"))


def test_a_form_kept_open_until_the_making_began_says_so(owner_client, asked):
    address = "/quotes/new/?commission=C-101"
    typed = form_data(look(owner_client, address))
    Commission.objects.update(state="making")
    answer = owner_client.post(address, typed, follow=True)
    assert "quotes are for what is not begun yet" in answer.content.decode()
    assert not Quote.objects.exists()


def test_a_commission_that_is_not_there_is_not_found(owner_client, studio):
    assert owner_client.get("/quotes/new/?commission=C-999").status_code == 404


def test_from_a_kept_sheet_with_a_new_client(owner_client, studio):
    sheet = gift_sheet()
    page = look(owner_client, f"/quotes/new/?sheet={sheet.pk}&good_quantity=20")
    typed = form_data(page, title="Menus", new_client="Otter  Kitchen", other_quantities="10; 50")
    owner_client.post("/quotes/new/", typed)
    kept = Quote.objects.get()
    assert (kept.client.name, kept.sheet, kept.quantities) == (
        "Otter Kitchen",
        sheet,
        [10, 20, 50],
    )


BENCH = (
    "sum=takes&wanted=40&size=A5&grammage=90&sheet_moisture=6&non_fibre=0&retention=96&broke=5"
    "&retree=2&moisture=8&preparation_yield=95"
)


def test_the_bench_offers_to_quote_what_it_reckoned(owner_client, hand_client, studio):
    page = look(owner_client, f"/bench/?{BENCH}")
    links = [link.attrs["href"] for link in page.all("a") if "/quotes/new/" in link.attrs["href"]]
    assert any("wanted=40" in link and "size=A5" in link for link in links)
    assert "Quote this" not in hand_client.get(f"/bench/?{BENCH}").content.decode()


def test_the_bench_quotes_a_sheet_that_is_kept_already(owner_client, studio):
    sheet = gift_sheet()
    page = look(owner_client, "/bench/", sum="more", sheet=sheet.pk, by=in_days(30).isoformat())
    (link,) = [one for one in page.all("a") if f"sheet={sheet.pk}&" in one.attrs["href"]]
    form = look(owner_client, link.attrs["href"])
    chosen = {one.attrs["value"] for one in form.all("option") if "selected" in one.attrs}
    assert str(sheet.pk) in chosen


def test_from_the_bench_a_sheet_is_kept_with_the_quote(owner_client, studio):
    furnish = gift_sheet().furnish
    address = f"/quotes/new/?{BENCH}"
    page = look(owner_client, address)
    assert page.one("input", name="good_quantity").attrs["value"] == "40"
    assert page.one("input", name="made-broke").attrs["value"] == "5"
    typed = form_data(
        page, title="Menus", new_client="Otter Kitchen",
        **{"made-name": "Menu A5", "made-furnish": furnish.pk},
    )  # fmt: skip
    answer = owner_client.post(address, typed, follow=True)
    assert answer.redirect_chain[-1][0] == "/quotes/Q-001/"
    sheet = Quote.objects.get().sheet
    assert (sheet.name, sheet.furnish) == ("Menu A5", furnish)
    assert (sheet.width_um, sheet.height_um) == (148_000, 210_000)
    assert (sheet.grammage, sheet.broke, sheet.retree) == (90, Decimal("0.05"), Decimal("0.02"))


def test_a_cut_sheet_of_the_bench_finds_its_mould(owner_client, studio):
    mould = make_mould(width_um=320_000, height_um=450_000)
    page = look(owner_client, f"/quotes/new/?{BENCH}&mould=320 x 450 mm&trim=2")
    chosen = [one for one in page.all("option") if "selected" in one.attrs]
    assert str(mould.pk) in {one.attrs["value"] for one in chosen}


def test_nothing_is_kept_where_the_new_sheet_is_faulty(owner_client, studio):
    address = f"/quotes/new/?{BENCH}"
    typed = form_data(look(owner_client, address), title="Menus", new_client="Otter Kitchen")
    html = owner_client.post(address, {**typed, "made-name": "Menu A5"}).content.decode()
    assert "New sheet, furnish: Choose one." in html
    assert not Quote.objects.exists()
    assert not Client.objects.filter(name="Otter Kitchen").exists()


def test_without_client_and_sheet_both_are_asked_for(owner_client, studio):
    typed = form_data(look(owner_client, "/quotes/new/"), title="Menus", good_quantity=10)
    html = owner_client.post("/quotes/new/", typed).content.decode()
    assert "Choose a client, or give a new name below." in html
    assert "Choose a sheet, or describe a new one below." in html


@pytest.mark.parametrize(
    ("name", "text", "fault"),
    [
        ("good_quantity", "0", "Give 1 or more, got 0\u00a0sheets."),
        ("other_quantities", "10, ten", "other_quantities"),
        ("other_quantities", "1,500", "1,500 could be one number or two."),
        ("other_quantities", "0, 10", "other_quantities"),
        ("other_quantities", "9999999", "sheets or fewer"),
        ("other_quantities", "1 2 3 4 5 6", "Give at most 5 other numbers"),
        ("valid_until", "2020-01-01", "Give today or a later day, got 01 Jan 2020."),
        ("deposit", "120", "deposit"),
    ],
)
def test_a_faulty_entry_comes_back_beside_its_field(owner_client, asked, name, text, fault):
    address = "/quotes/new/?commission=C-101"
    typed = form_data(look(owner_client, address), **{name: text})
    html = owner_client.post(address, typed).content.decode()
    assert fault in html
    assert f'id="id_{name}_error"' in html
    assert not Quote.objects.exists()


def test_the_panel_prices_what_is_typed_and_keeps_nothing(owner_client, asked):
    address = "/quotes/new/?commission=C-101"
    page = look(owner_client, address)
    typed = form_data(page, good_quantity=50, other_quantities="10", work_out="1")
    html = owner_client.post(address, typed).content.decode()
    # 50 × 3.60 and 10 × 6.00.
    assert "£180.00" in html
    assert "£60.00" in html
    assert not Quote.objects.exists()


def test_a_draft_is_changed(owner_client, draft):
    page = look(owner_client, "/quotes/Q-001/edit/")
    typed = form_data(page, good_quantity=50, remarks="Two sample sheets first.")
    owner_client.post("/quotes/Q-001/edit/", typed)
    kept = Quote.objects.get()
    assert (kept.good_quantity, kept.remarks) == (50, "Two sample sheets first.")
    assert "Two sample sheets first." in said(look(owner_client, "/quotes/Q-001/"))


def test_what_somebody_else_changed_meanwhile_is_told(owner_client, draft):
    typed = form_data(look(owner_client, "/quotes/Q-001/edit/"), remarks="Mine")
    Quote.objects.update(good_quantity=33)
    html = owner_client.post("/quotes/Q-001/edit/", typed).content.decode()
    assert "Somebody changed this after the page was opened" in html
    assert Quote.objects.get().good_quantity == 33


def test_what_is_issued_is_not_changed_on_its_page(owner_client, issued):
    answer = owner_client.get("/quotes/Q-001/edit/", follow=True)
    assert "Q-001 is issued; it is not changed any more." in uncoded(answer.content.decode())
