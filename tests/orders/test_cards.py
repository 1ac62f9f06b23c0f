"""Cards to print: those that go out with sheets, and the thanks to a donor; who waits for them."""

from datetime import timedelta

import pytest
from django.utils import timezone

from fibres.models import Source
from orders import thanking
from tests.builders import (
    KG,
    day,
    make_commission,
    make_finished,
    make_lot,
    make_making,
    make_source,
)
from tests.orders.looking import look, queries, said
from tests.orders.test_provenance_pages import gift, links
from tests.orders.trails import a5_notes, donor, office, run, school_and_linter
from tests.studio.pages import uncoded, words

pytestmark = pytest.mark.django_db


def paper_of(page):
    return words(page.one("article", class_="paper").text.replace("\u00a0", " "))


@pytest.fixture
def notes():
    """Return a finished making of A5 notes, of a school's paper and bought linter."""
    paper, linter = school_and_linter()
    making = make_making(a5_notes())
    return run([(paper, 3_400_000), (linter, 505_000)], making=making, good=240, retree=0)


# --- the card that goes out with sheets


def test_a_making_leads_to_its_card_and_the_card_says_what_it_is_made_of(notes, viewer_client):
    address = f"/makings/{notes.ref}/card/"
    assert address in links(look(viewer_client, notes.get_absolute_url()))
    page = look(viewer_client, address)
    text = paper_of(page)
    assert "From 3.40 kg of White office paper given by Nettlebank School" in text
    assert "No claim of permanence" in text
    assert f"making {notes.ref}, {notes.finished_on:%B %Y}" in text
    cards = page.all("li", class_="label")
    assert len(cards) == 8
    assert len({card.text for card in cards}) == 1


def test_a_card_with_much_to_say_is_printed_fewer_times(viewer_client):
    fibre = office()
    lots = [make_lot(fibre, donor(f"School of the long name {n}", may_be_named=True))
            for n in range(6)]  # fmt: skip
    making = run([(lot, 500_000) for lot in lots])
    page = look(viewer_client, f"/makings/{making.ref}/card/")
    assert len(page.all("li", class_="label")) == 4


@pytest.mark.parametrize("who", ["owner_client", "hand_client"])
def test_a_card_names_no_donor_who_did_not_agree_whoever_prints_it(request, who):
    making = run([(make_lot(office(), donor("Pellow & Tarn Surveyors")), KG)])
    page = look(request.getfixturevalue(who), f"/makings/{making.ref}/card/")
    assert "a donor who is not named" in paper_of(page)
    assert "Pellow" not in page.one("html").text


def test_a_making_without_a_card_leads_back(viewer_client):
    for making in (make_making(), make_finished()):
        answer = viewer_client.get(f"/makings/{making.ref}/card/", follow=True)
        assert answer.redirect_chain == [(making.get_absolute_url(), 302)]
        assert f"{making.ref} has no card" in uncoded(answer.content.decode())


# --- the card of thanks


def test_a_card_of_thanks_says_what_was_given_and_what_became_of_it(notes, hand_client):
    school = Source.objects.get(kind="donor")
    page = look(hand_client, f"/sources/{school.pk}/card/")
    text = paper_of(page)
    lot = school.lots.get()
    came = lot.received_on
    assert "Nettlebank School" in text
    # 12 kg as they came; the making is of this month.
    assert f"You gave us 12.00 kg of white office paper on {came.day} {came:%B %Y}." in text
    assert f"About 240 A5 sheets in the {timezone.localdate():%B} making." in text


def test_a_card_of_thanks_is_for_what_came_since_the_last_thanks(hand_client):
    first = gift("Fennick Library", 60, thanked_on=day(30))
    make_lot(first.fibre, first.source, received_on=day(3), as_is_mg=7 * KG)
    text = paper_of(look(hand_client, f"/sources/{first.source.pk}/card/"))
    assert "You gave us 7.00 kg of" in text
    assert "nothing has been made of it yet" in text
    Source.objects.update(thanked_on=day())
    text = paper_of(look(hand_client, f"/sources/{first.source.pk}/card/"))
    assert "between" in text


def test_a_donor_can_be_noted_as_thanked_from_the_card(hand_client):
    lot = gift("Fennick Library", 60)
    page = look(hand_client, f"/sources/{lot.source.pk}/card/")
    key = page.one("input", name="request_key").attrs["value"]
    hand_client.post("/thanks/", {"source": lot.source.pk, "request_key": key})
    assert Source.objects.get().thanked_on == day()


def test_who_gave_nothing_has_no_card(hand_client):
    for source in (make_source(), donor("Empty Hands")):
        answer = hand_client.get(f"/sources/{source.pk}/card/", follow=True)
        assert answer.redirect_chain == [(source.get_absolute_url(), 302)]
        assert "has given nothing to thank for" in answer.content.decode()


def test_a_viewer_prints_no_card_of_thanks(viewer_client):
    lot = gift("Fennick Library", 60)
    assert viewer_client.get(f"/sources/{lot.source.pk}/card/").status_code == 403
    assert f"/sources/{lot.source.pk}/card/" not in links(
        look(viewer_client, lot.source.get_absolute_url())
    )


def test_cards_ask_as_often_for_many_lots_as_for_few(notes, hand_client):
    school = Source.objects.get(kind="donor")
    address = f"/sources/{school.pk}/card/"
    few = queries(hand_client, address)
    for _ in range(5):
        lot = make_lot(school.lots.first().fibre, school)
        run([(lot, KG)])
    assert queries(hand_client, address) == few


# --- the page of a donor


def test_a_donor_page_leads_to_thanks_to_the_card_and_to_what_became_of_it(hand_client):
    lot = gift("Fennick Library", 45)
    found = links(look(hand_client, lot.source.get_absolute_url()))
    assert f"/thanks/#donor-{lot.source.pk}" in found
    assert f"/sources/{lot.source.pk}/card/" in found
    assert "#became" in found
    page = look(hand_client, "/thanks/")
    assert page.one("section", id=f"donor-{lot.source.pk}")
    assert f"{lot.source.get_absolute_url()}#became" in links(page)


def test_who_is_thanked_or_gave_of_late_does_not_wait(hand_client):
    for lot in (gift("Fennick Library", 45, thanked_on=day(1)), gift("Plumb Street", 14)):
        found = links(look(hand_client, lot.source.get_absolute_url()))
        assert f"/thanks/#donor-{lot.source.pk}" not in found
        assert f"/sources/{lot.source.pk}/card/" in found


def test_a_supplier_has_neither(hand_client):
    lot = make_lot()
    found = links(look(hand_client, lot.source.get_absolute_url()))
    assert "#became" not in found
    assert f"/sources/{lot.source.pk}/card/" not in found


# --- Today


@pytest.fixture
def asked():
    return make_commission()


def test_today_counts_the_donors_who_wait(asked, hand_client):
    assert "waited for thanks" not in said(look(hand_client, "/"))
    first = gift("Fennick Library", 15)
    make_lot(first.fibre, first.source, received_on=day(40))
    page = look(hand_client, "/")
    assert "One donor has waited for thanks for more than 14 days." in said(page)
    assert "/thanks/" in links(page)
    gift("Plumb Street", 15)
    gift("Thanked School", 40, thanked_on=day(2))
    gift("Gave Last Week", 7)
    assert "2 donors have waited for thanks" in said(look(hand_client, "/"))


def test_the_count_is_that_of_the_list(asked, owner):
    for name, ago in (("A", 14), ("B", 15), ("C", 40)):
        gift(name, ago)
    for days in range(4):
        now = day() + timedelta(days=days)
        listed = thanking.gifts_to_thank_for(now, owner)
        assert thanking.donors_waiting(now) == len(listed)
    assert thanking.donors_waiting(day()) == 2


def test_a_viewer_is_not_told_who_waits(asked, viewer_client):
    gift("Fennick Library", 40)
    assert "waited for thanks" not in said(look(viewer_client, "/"))


def test_today_asks_as_often_for_many_who_wait_as_for_none(asked, hand_client):
    few = queries(hand_client, "/")
    for number in range(5):
        gift(f"Donor {number}", 40)
    assert queries(hand_client, "/") == few


def test_counting_who_waits_takes_one_query(django_assert_num_queries):
    gift("Fennick Library", 40)
    with django_assert_num_queries(1):
        assert thanking.donors_waiting(day()) == 1
