"""The page of words: every word of the contract, each once, with its source; README agrees."""

import re

import pytest
from django.conf import settings
from django.urls import resolve, reverse

from studio import roles, words
from studio.search import WORDS, Asked, found_words
from studio.wordsview import PAGES
from tests.orders.looking import look, queries, said

pytestmark = pytest.mark.django_db
# The words of section 1 of the design, which is the contract between the parts; "covered from"
# and the states of a commission stand there below the table.
CONTRACT = {
    "fibre", "state", "lot", "on hand", "promised", "free", "on its way", "as-is", "oven-dry",
    "usable", "furnish", "addition", "sheet", "commission", "making", "pull", "good", "retree",
    "broke", "vat charge", "recharge", "heel", "sizing", "dimensions", "price", "stuff", "store",
    "post of sheets", "supply pack", "enquiry", "quoted", "agreed", "in the making", "sent",
    "closed", "withdrawn", "covered", "just covered", "covered from", "short",
}  # fmt: skip
# What the contract says must never stand for something else; the page says why, or leads on.
AMBIGUOUS = {"stock": "store", "size": "sizing", "charge": "vat charge", "post": "post of sheets"}
UNSOURCED = {"Common practice, no source.", "Our own word."}
NAMED = re.compile(r"ISO \d+|IAS \d+|TAPPI|“.+”|table|chart|distribution")


def by_name():
    return {word.word: word for word in words.every_word()}


def readme_rows():
    text = (settings.BASE_DIR / "README.md").read_text(encoding="utf-8")
    table = text.partition("| Word | Means |")[2].partition("\n\n")[0]
    return re.findall(r"^\| ([^|]+?) \| ([^|]+?) \|$", table, re.M)


# --- what stands in the list


def test_every_word_of_the_contract_is_there():
    assert CONTRACT - set(by_name()) == set()


def test_a_word_that_means_two_things_leads_to_the_safe_one():
    for name, safe in AMBIGUOUS.items():
        assert name in by_name()[safe].also, name


def test_readme_says_of_its_words_what_the_page_says():
    rows = readme_rows()
    assert len(rows) >= 15
    assert {name: means for name, means in rows if by_name()[name].means != means} == {}


def test_words_are_told_once_and_by_the_alphabet():
    names = [word.word for word in words.every_word()]
    anchors = [word.anchor for word in words.every_word()]
    assert len(set(names)) == len(names)
    assert len(set(anchors)) == len(anchors)
    for group in words.groups():
        inside = [word.word for word in group.words]
        assert inside == sorted(inside, key=str.casefold), group.name


def test_every_word_says_where_it_is_from():
    odd = [word.word for word in words.every_word() if word.source not in UNSOURCED]
    assert odd, "at least the standards are named"
    assert [name for name in odd if not NAMED.search(by_name()[name].source)] == []


def test_every_meaning_is_one_sentence_or_a_few_and_every_formula_names_its_word_first():
    for word in words.every_word():
        assert re.fullmatch(r"[A-Z“].*[^ .]\.", word.means), word.word
        if word.formula:
            assert " = " in word.formula, word.word


def test_every_page_that_is_named_is_there_and_called_so(owner_client):
    shown = {word.shown for word in words.every_word() if word.shown}
    assert shown == set(PAGES)
    for route, name in PAGES.items():
        page = look(owner_client, reverse(route))
        assert page.one("h1").text.strip() == name, route


# --- the page


@pytest.mark.roles
@pytest.mark.parametrize("who", ["owner_client", "hand_client", "viewer_client"])
def test_everybody_reads_every_word_and_is_led_only_where_the_role_may_go(request, who):
    client = request.getfixturevalue(who)
    page = look(client, "/words/")
    anchors = [term.attrs["id"] for term in page.all("dt")]
    assert anchors == [word.anchor for word in words.every_word()]
    user = client.get("/words/").wsgi_request.user
    for link in page.all("a"):
        address = link.attrs["href"]
        if address.startswith("/") and address not in {"/", "/words/", "/words/#oven-dry"}:
            need = roles.need_of(resolve(address.partition("?")[0]).func)
            if link.text in PAGES.values() and not _is_room(page, link):
                assert roles.can(user, need), address


def _is_room(page, link):
    """Whether a link is one of the rooms in the band, which are the same for everybody."""
    return page.elements.index(link) < page.elements.index(page.one("main"))


def test_a_word_stands_with_meaning_formula_unit_and_source(viewer_client):
    text = said(look(viewer_client, "/words/"))
    assert "oven-dry mass = as-is mass × (1 − moisture)" in text
    assert "What preparation leaves of the oven-dry fibre" in text
    assert "ISO 287" in text


def test_the_foot_of_every_page_leads_to_the_words(viewer_client):
    page = look(viewer_client, "/store/")
    links = {link.text: link.attrs["href"] for link in page.all("a")}
    assert links["Words"] == "/words/"
    assert links["oven-dry"] == "/words/#oven-dry"


def test_words_that_pages_link_to_are_on_the_page():
    linked = {
        anchor
        for room in ("studio", "fibres", "orders")
        for path in (settings.BASE_DIR / room / "templates").rglob("*.html")
        for anchor in re.findall(r"{% url 'words' %}#([a-z-]+)", path.read_text("utf-8"))
    }
    assert {"oven-dry", "usable", "heel", "broke", "promised"} <= linked
    assert linked <= {word.anchor for word in words.every_word()}


def test_before_the_door_no_word_leads_anywhere(client, owner_client):
    assert "/words/" not in client.get("/log-in/").content.decode()


def test_the_page_asks_the_database_no_more_for_a_full_store(owner_client):
    from tests.builders import make_lot

    before = queries(owner_client, "/words/")
    for _ in range(3):
        make_lot()
    assert queries(owner_client, "/words/") == before


# --- finding


def test_the_box_finds_a_word_by_its_name_and_by_what_else_it_is_called():
    (bone_dry,) = found_words(Asked.read("bone-dry")).hits
    assert bone_dry.address == "/words/#oven-dry"
    dry = found_words(Asked.read("DRY"))
    assert "/words/#air-dry" in [hit.address for hit in dry.hits]
    assert found_words(Asked.read("zzz")) is None
    assert found_words(Asked.read("")) is None


def test_what_is_called_so_comes_before_what_begins_so():
    found = found_words(Asked.read("making"))
    # By the alphabet alone "in the making" would come first.
    assert [hit.address.partition("#")[2] for hit in found.hits[:2]] == ["making", "in-the-making"]
    assert found.noun is WORDS


def test_of_many_words_the_first_five_are_shown_and_the_rest_counted():
    found = found_words(Asked.read("c"))
    assert len(found.hits) == 5
    assert found.count == len([w for w in words.every_word() if w.is_found(("c",))]) > 5
    assert found.is_cut
    assert found.address == "/words/"


def test_the_page_of_the_box_shows_words_after_what_is_in_the_studio(viewer_client):
    page = look(viewer_client, "/search/", q="retree")
    assert "Found 1 word of the trade." in said(page)
    hrefs = [link.attrs["href"] for link in page.all("a")]
    assert "/words/#retree" in hrefs
