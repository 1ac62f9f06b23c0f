"""The search box: what it finds, for whom, and what it asks of the database."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import resolve, reverse

from fibres.models import Furnish, Purchase
from orders.models import Client, Making
from orders.searching import NOUNS
from studio import roles
from studio.search import MOST_SHOWN, Asked, find
from tests.builders import (
    make_client,
    make_commission,
    make_delivery,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_offer,
    make_purchase,
    make_quote,
    make_sheet,
    make_source,
)
from tests.orders.looking import look, said

pytestmark = pytest.mark.django_db
WORD = "Otterburn"


def groups(client, text):
    """Return what stands under each heading of the page, by its noun."""
    page = look(client, "/search/", q=text)
    found = {}
    for element in page.elements:
        if element.tag == "h2":
            heading = element.text.strip()
            found[heading] = []
        if element.tag == "li" and element.text.strip() and found:
            found[heading].append(" ".join(element.text.split()))
    return found


def everything():
    """Make one row of each noun that holds the word."""
    fibre = make_fibre(name=f"{WORD} flax")
    make_lot(fibre)
    furnish = make_furnish({fibre: "1"}, name=f"{WORD} furnish")
    sheet = make_sheet(furnish, name=f"{WORD} folio")
    client = make_client(name=f"{WORD} Press")
    commission = make_commission(sheet, client, title=f"{WORD} menus")
    make_making(commission=commission)
    make_quote(sheet, client)
    source = make_source(name=f"{WORD} Mill")
    make_purchase(make_offer(source=source))
    make_delivery(commission)


# --- what is found ------------------------------------------------------------------------------


def test_every_noun_is_found_by_a_word_of_it(owner_client):
    everything()
    found = groups(owner_client, WORD.lower())
    assert list(found) == [
        "Lots", "Sources", "Clients", "Commissions", "Makings", "Quotes", "Purchases", "Sheets",
        "Fibres", "Furnishes", "Parcels",
    ]  # fmt: skip
    assert all(found.values()), found


def test_the_words_that_were_found_are_marked(owner_client):
    make_fibre(name="River flax")
    page = look(owner_client, "/search/", q="FLAX river")
    assert [mark.text for mark in page.all("mark")] == ["River", "flax"]


def test_every_word_has_to_be_there(owner_client):
    make_fibre(name="River flax", state="retted")
    make_fibre(name="River hemp")
    assert groups(owner_client, "river")["Fibres"] == ["River flax retted", "River hemp"]
    assert groups(owner_client, "retted river")["Fibres"] == ["River flax retted"]
    page = look(owner_client, "/search/", q="river nowhere")
    assert "Nothing holds “river nowhere”." in said(page)
    assert "leave a word out" in said(page)


def test_what_is_called_so_comes_before_what_begins_so_and_that_before_the_rest(owner_client):
    for name in ("A flax", "Flax", "Flax and hemp"):
        make_fibre(name=name)
    assert groups(owner_client, "flax")["Fibres"] == ["Flax", "Flax and hemp", "A flax"]


@pytest.mark.parametrize("typed", ["École", "école", "ÉCOLE"])
def test_capitals_do_not_matter_in_any_alphabet(owner_client, typed):
    make_client(name="École du Quai")
    make_client(name="ÉCOLE DU PORT")
    assert len(groups(owner_client, typed)["Clients"]) == 2


@pytest.mark.parametrize(
    "typed", ["%", "_", "'", '"', "\\", "'; --", "a%b", "?", "*", "{0}", "%s"]
)
def test_signs_stand_for_themselves(owner_client, typed):
    make_fibre(name="Plain flax")
    assert "Nothing holds" in said(look(owner_client, "/search/", q=typed))
    make_fibre(name=f"Sign {typed} here")
    found = groups(owner_client, typed)["Fibres"]
    assert found == [f"Sign {typed} here"]


def test_stored_markup_is_shown_as_text(owner_client):
    name = "<script>alert(1)</script> & <b>flax"
    make_fibre(name=name)
    make_client(name="<img src=x onerror=alert(1)> flax")
    answer = owner_client.get("/search/", {"q": "flax"}).content.decode()
    assert "<script>alert" not in answer
    assert "<img" not in answer
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;b&gt;<mark>flax</mark>" in answer
    answer = owner_client.get("/search/", {"q": "<script>"}).content.decode()
    assert "“&lt;script&gt;" in answer
    assert 'value="&lt;script&gt;"' in answer


# --- references ---------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["M-071", "m-071", " M-071 "])
def test_one_whole_reference_leads_straight_to_its_page(viewer_client, typed):
    make_making(ref="M-071")
    make_making(ref="M-0711")
    answer = viewer_client.get("/search/", {"q": typed})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/makings/M-071/")


def test_a_line_of_a_purchase_leads_to_the_purchase(owner_client):
    purchase = make_purchase()
    answer = owner_client.get("/search/", {"q": f"{purchase.ref}/1"})
    assert answer.headers["Location"] == f"/purchases/{purchase.ref}/"


def test_a_reference_that_two_rows_have_shows_both(owner_client):
    make_making(ref="X-001")
    make_commission(ref="X-001", title="Menus")
    found = groups(owner_client, "x-001")
    assert found["Commissions"][0].startswith("X-001 Menus")
    assert found["Makings"][0].startswith("X-001")


@pytest.mark.parametrize("typed", ["M-0071", "m71", "m-71", "N-071", "M-0711", "M-072"])
def test_a_reference_that_there_is_not_names_those_near_it(owner_client, typed):
    make_making(ref="M-071")
    found = groups(owner_client, typed)
    assert found["Near it"][0].startswith("M-071 "), found


def test_nothing_like_it_names_nothing_near(owner_client):
    make_making(ref="M-071")
    assert "Near it" not in groups(owner_client, "KR-9950")
    assert "Near it" not in groups(owner_client, "nowhere")


# --- nothing asked, too much asked --------------------------------------------------------------


@pytest.mark.parametrize("query", [{}, {"q": ""}, {"q": "   "}, {"other": "1"}])
def test_an_empty_box_says_what_to_type(viewer_client, query):
    page = look(viewer_client, "/search/", **query)
    assert "Type a name, a word or a reference" in said(page)
    assert "Found" not in said(page)


def test_too_long_a_text_is_refused_by_its_length(owner_client):
    page = look(owner_client, "/search/", q="x" * 5000)
    told = "Find a word or a reference: Give at most 100 characters; this has 5000."
    assert told in said(page)
    assert page.one("title").text.startswith("1 error: ")
    (box,) = page.all("input", name="q")
    assert (box.attrs["aria-invalid"], box.attrs["value"]) == ("true", "x" * 5000)
    look(owner_client, "/search/", q=" ".join("abcdefghijklmnopqrstuvwxyz0123456789" * 2)[:100])


def test_a_text_with_a_null_sign_is_refused_in_words(owner_client):
    page = look(owner_client, "/search/", q="a\0b")
    assert "Nothing was looked for." in said(page)


def test_the_box_keeps_what_was_typed_and_stands_on_every_page(owner_client):
    for address, kept in (("/search/?q=river", "river"), ("/lots/", ""), ("/bench/", "")):
        page = look(owner_client, address)
        (form,) = page.all("form", class_="find")
        assert (form.attrs["method"], form.attrs["action"]) == ("get", "/search/")
        assert form.attrs["role"] == "search"
        (box,) = page.all("input", name="q")
        assert box.attrs["value"] == kept
        assert [one.text for one in page.all("label") if one.attrs.get("for") == box.attrs["id"]]


def test_there_is_no_box_before_the_door(client, owner):
    assert 'name="q"' not in client.get("/log-in/").content.decode()
    assert client.get("/search/", {"q": "x"}).status_code == 302


# --- all of them --------------------------------------------------------------------------------


def test_more_than_are_shown_lead_to_the_list_narrowed_by_the_words(owner_client):
    for number in range(MOST_SHOWN + 2):
        make_fibre(name=f"Flax {number} & hemp")
    make_fibre(name="Kozo")
    page = look(owner_client, "/search/", q="flax & hemp")
    (more,) = [link for link in page.all("a") if link.text == "All 7 fibres with these words"]
    answer = look(owner_client, more.attrs["href"])
    table = answer.one("table", class_="ledger")
    assert table.text.count("Flax") == 7
    assert "Kozo" not in said(answer)


def test_no_more_than_are_shown_lead_nowhere_else(owner_client):
    for number in range(MOST_SHOWN):
        make_fibre(name=f"Flax {number}")
    page = look(owner_client, "/search/", q="flax")
    assert not [link for link in page.all("a") if link.text.startswith("All ")]
    assert "Found 5 fibres." in said(page)


@pytest.mark.parametrize("role", roles.ROLES)
def test_what_is_counted_is_what_the_list_shows_to_the_same_person(role, request, rf):
    everything()
    make_source(name=f"{WORD} Attic", kind="donor")
    make_client(name="Plumb", contact=f"{WORD} quay")
    client = request.getfixturevalue(f"{role}_client")
    user = request.getfixturevalue(role)
    counted = find(NOUNS, Asked.read(WORD), user)
    assert counted
    for group in counted:
        assert parse_qs(urlsplit(group.address).query) == {"words": [WORD]}
        listed = client.get(group.address)
        assert listed.status_code == 200
        assert len(listed.context["table"].rows) == group.count, group.noun.many


@pytest.mark.parametrize("noun", NOUNS, ids=lambda noun: noun.many)
def test_a_noun_needs_what_its_list_needs(noun):
    view = resolve(reverse(noun.route)).func.view_class
    assert view.needs == noun.need


# --- who may find what --------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["hand", "viewer"])
def test_a_quote_is_neither_found_nor_counted_nor_near(role, request):
    make_quote(title=f"{WORD} menus", ref="Q-071")
    client = request.getfixturevalue(f"{role}_client")
    with CaptureQueriesContext(connection) as asked:
        pages = [look(client, "/search/", q=text) for text in (WORD, "Q-071", "Q-0711", "Q-072")]
    for page in pages:
        assert "Nothing holds" in said(page)
        assert not [link for link in page.all("a") if "/quotes/" in link.attrs.get("href", "")]
        assert "quotes" not in said(page)
    assert "orders_quote" not in " ".join(one["sql"] for one in asked.captured_queries)


def test_the_owner_reaches_a_quote_by_its_reference(owner_client):
    quote = make_quote()
    answer = owner_client.get("/search/", {"q": quote.ref.lower()})
    assert answer.headers["Location"] == f"/quotes/{quote.ref}/"


@pytest.mark.parametrize("role", roles.ROLES)
def test_no_money_is_read_for_anybody(role, request):
    everything()
    client = request.getfixturevalue(f"{role}_client")
    with CaptureQueriesContext(connection) as asked:
        look(client, "/search/", q=WORD)
        look(client, "/search/", q="T-99999")
    studio = '"studio_studio"'
    texts = [one["sql"] for one in asked.captured_queries if studio not in one["sql"]]
    assert not [text for text in texts if "_minor" in text]


def test_how_to_reach_a_client_is_found_by_the_owner_alone(owner_client, hand_client):
    make_client(name="Harbour Songbook", contact="at the old quay", remarks="rings at noon")
    for word in ("quay", "noon"):
        assert groups(owner_client, word)["Clients"], word
        assert "Nothing holds" in said(look(hand_client, "/search/", q=word))
    with CaptureQueriesContext(connection) as asked:
        found = groups(hand_client, "harbour")
    assert found == {"Clients": ["Harbour Songbook"]}
    texts = " ".join(one["sql"] for one in asked.captured_queries)
    assert '"orders_client"."contact"' not in texts
    assert '"orders_client"."remarks"' not in texts


def test_a_viewer_finds_no_client_and_no_donor_by_name(viewer_client, hand_client):
    client = make_client(name=f"{WORD} Press")
    make_commission(client=client)
    source = make_source(name=f"{WORD} Attic", kind="donor")
    make_lot(source=source)
    assert "Nothing holds" in said(look(viewer_client, "/search/", q=WORD))
    assert Client.objects.filter(name__contains=WORD).exists()
    assert {"Sources", "Clients", "Commissions"} <= set(groups(hand_client, WORD))
    donors = groups(viewer_client, "donor")["Sources"]
    assert donors == ["A donor Donor"]


# --- as often for many as for few ---------------------------------------------------------------


@pytest.mark.parametrize("text", [WORD, "M-99999"])
def test_1_and_20_rows_take_the_same_queries(owner_client, text):
    def asked():
        with CaptureQueriesContext(connection) as counted:
            look(owner_client, "/search/", q=text)
        return len(counted)

    everything()
    few = asked()
    for _ in range(20):
        fibre = make_fibre(name=f"{WORD} {Furnish.objects.count()}-{_}")
        make_lot(fibre, form=WORD)
        make_making(remarks=WORD)
        make_client(name=f"{WORD} {_}")
        make_purchase(make_offer(source=make_source(name=f"{WORD} {_}")))
    assert (Making.objects.count(), Purchase.objects.count()) >= (20, 20)
    assert asked() == few


def test_a_making_for_the_studio_says_so(owner_client):
    make_making(ref="M-071", remarks="trial run")
    (found,) = groups(owner_client, "trial")["Makings"]
    assert "For the studio itself" in found
