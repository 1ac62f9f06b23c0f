"""Provenance on the pages: from where, what became of it, and the list of thanks to give."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fibres.models import Source
from orders import thanking
from orders.models import Delivery
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import KG, day, make_commission, make_fibre, make_lot, make_making, make_source
from tests.orders.looking import heads, look, queries, said
from tests.orders.trails import a5_notes, donor, office, own_broke, run, school_and_linter

pytestmark = pytest.mark.django_db
THANKS = "/thanks/"


def links(page):
    return {one.attrs["href"] for one in page.all("a") if "href" in one.attrs}


@pytest.fixture
def notes():
    """Return a finished making of A5 notes for a commission, of a school's paper and linter."""
    paper, linter = school_and_linter()
    asked = make_commission(a5_notes(), good_quantity=240)
    making = run(
        [(paper, 3_400_000), (linter, 505_000)],
        making=make_making(commission=asked),
        good=240,
        retree=0,
        broke=(own_broke(), KG),
    )
    return making, paper, linter


def test_donor_is_two_clicks_from_the_sheets(notes, hand_client):
    making, paper, _ = notes
    donor_page = look(hand_client, paper.source.get_absolute_url())
    assert making.get_absolute_url() in links(donor_page)
    month = f"{making.finished_on:%B}"
    assert f"About 240 A5 sheets in the {month} making." in said(donor_page)
    making_page = look(hand_client, making.get_absolute_url())
    assert making.sheet.get_absolute_url() in links(making_page)


def test_sheets_are_two_clicks_from_the_donor(notes, hand_client):
    making, paper, _ = notes
    assert making.get_absolute_url() in links(look(hand_client, making.sheet.get_absolute_url()))
    found = links(look(hand_client, making.get_absolute_url()))
    assert {paper.get_absolute_url(), paper.source.get_absolute_url()} <= found


def test_making_states_its_fibre_its_permanence_and_its_card(notes, viewer_client):
    making, *_ = notes
    words = said(look(viewer_client, making.get_absolute_url()))
    assert "85 % recycled by mass of fibre, all of that post-consumer" in words
    assert "No claim of permanence" in words
    assert "given by Nettlebank School, with 15 % Linter." in words


def test_commission_and_parcel_tell_from_where(notes, owner, hand_client):
    making, paper, _ = notes
    page = look(hand_client, making.commission.get_absolute_url())
    assert {making.get_absolute_url(), paper.source.get_absolute_url()} <= links(page)
    parcel = sent(making, owner)
    page = look(hand_client, reverse("delivery", args=[parcel.ref]))
    assert {making.get_absolute_url(), paper.source.get_absolute_url()} <= links(page)
    assert "85 % recycled" in said(page)


def sent(making, owner):
    entry = Entry.objects.create(
        request_key=uuid.uuid4(), act="send", said="Sent", page="/", by=owner
    )
    parcel = Delivery.objects.create(
        ref="D-900", commission=making.commission, sent_on=day(), entry=entry
    )
    making.sheet_movements.create(
        quality="good", kind="sent", sheets=-5, delivery=parcel, happened_on=day(), entry=entry
    )
    return parcel


def test_lot_tells_its_makings_and_a_lot_of_broke_what_it_is_made_of(notes, hand_client):
    making, paper, _ = notes
    page = look(hand_client, paper.get_absolute_url())
    (head,) = heads(page, "What was made of it")
    assert head.startswith(making.ref)
    assert "From where" not in said(page)
    broke = look(hand_client, making.broke_lot.get_absolute_url())
    assert "Nothing has been made of it yet." in said(broke)
    assert {making.get_absolute_url(), paper.source.get_absolute_url()} <= links(broke)


def test_broke_leads_on_to_the_lots_of_its_making(notes, hand_client):
    making, paper, linter = notes
    later = run([(making.broke_lot, KG), (linter, KG)])
    page = look(hand_client, later.get_absolute_url())
    traced = heads(page, f"In the broke and heel that went into {later.ref}")
    assert {head[: len(paper.ref)] for head in traced} == {paper.ref, linter.ref}
    source_page = look(hand_client, paper.source.get_absolute_url())
    assert later.get_absolute_url() in links(source_page)
    assert "By way of broke or heel" in said(source_page)


def test_viewer_reads_no_donor_who_is_not_to_be_named(owner, viewer_client):
    shy = donor("Pellow & Tarn Surveyors")
    making = run([(make_lot(office(), shy), KG)])
    for address in (
        making.get_absolute_url(),
        shy.get_absolute_url(),
        making.issues.get().lot.get_absolute_url(),
        making.sheet.get_absolute_url(),
    ):
        words = said(look(viewer_client, address))
        assert "Pellow" not in words, address
    assert "A donor" in said(look(viewer_client, making.get_absolute_url()))


def test_making_without_lots_has_no_such_section(hand_client):
    page = look(hand_client, make_making().get_absolute_url())
    assert not [one for one in page.elements if one.attrs.get("id") == "from-where"]


def test_pages_ask_as_often_for_many_lots_and_makings_as_for_few(notes, hand_client):
    making, paper, linter = notes
    addresses = [
        making.get_absolute_url(),
        making.commission.get_absolute_url(),
        making.sheet.get_absolute_url(),
        paper.source.get_absolute_url(),
        paper.get_absolute_url(),
    ]
    few = [queries(hand_client, address) for address in addresses]
    broke = making.broke_lot.fibre
    for _ in range(5):
        other = make_lot(paper.fibre, paper.source)
        planned = make_making(commission=making.commission)
        run([(other, KG), (paper, 100_000), (linter, 100_000)], making=planned, broke=(broke, KG))
    many = [queries(hand_client, address) for address in addresses]
    assert dict(zip(addresses, many, strict=True)) == dict(zip(addresses, few, strict=True))


# --- thanks -------------------------------------------------------------------------------------


def gift(name, days_ago, **changes):
    fibre = make_fibre(source_class="post-consumer", is_scrap=True)
    return make_lot(fibre, donor(name, **changes), received_on=day(days_ago))


def names(page):
    return [one.text.strip() for one in page.all("h2")]


def test_gift_waits_for_thanks_once_it_is_more_than_14_days_old(owner):
    gift("Fennick Library", 14)
    assert thanking.gifts_to_thank_for(day(), owner) == []
    (waiting,) = thanking.gifts_to_thank_for(day() + timedelta(days=1), owner)
    assert waiting.source.name == "Fennick Library"


def test_only_donors_who_gave_since_they_were_thanked_wait(owner):
    gift("Thanked School", 20, thanked_on=day(20))
    gift("Closed Shop", 20, closed_on=day())
    make_lot(make_fibre(), make_source(), received_on=day(40))
    again = gift("Gave Again", 60, thanked_on=day(30))
    newer = make_lot(again.fibre, again.source, received_on=day(15))
    (waiting,) = thanking.gifts_to_thank_for(day(), owner)
    assert waiting.source.name == "Gave Again"
    assert waiting.lots == (newer,)


def test_oldest_gift_comes_first_and_says_what_became_of_it(owner, hand_client):
    paper, linter = school_and_linter()
    run([(paper, KG), (linter, KG)], making=make_making(a5_notes()), good=238, retree=0)
    gift("Fennick Library", 45, contact="desk 3")
    page = look(hand_client, THANKS)
    *waiting, _ = names(page)
    assert waiting == ["Fennick Library", "Nettlebank School"]
    words = said(page)
    assert "2 donors wait for thanks." in words
    assert f"About 240 A5 sheets in the {timezone.localdate():%B} making." in words
    assert "Nothing has been made of it yet." in words
    assert "Contact: desk 3" in words
    assert "Not to be named in public" in words
    assert "May be named" in words


def test_donor_who_is_thanked_leaves_the_list(owner, hand_client):
    lot = gift("Fennick Library", 45)
    page = look(hand_client, THANKS)
    key = page.one("input", name="request_key").attrs["value"]
    sent = {"source": lot.source.pk, "request_key": key}
    page = hand_client.post(THANKS, sent, follow=True).content.decode()
    assert "Fennick Library was thanked today." in page
    assert "Nobody has waited for thanks for more than 14 days." in page
    assert Source.objects.get(pk=lot.source.pk).thanked_on == day()
    entries = Entry.objects.filter(act="thank").count()
    again = hand_client.post(THANKS, sent, follow=True).content.decode()
    assert "Nothing was written twice." in again
    assert Entry.objects.filter(act="thank").count() == entries == 1


def test_entry_book_does_not_keep_the_name_of_who_was_thanked(owner):
    lot = gift("Pellow & Tarn Surveyors", 45)
    thanking.thank(lot.source, on=day(), by=owner)
    assert not Entry.objects.filter(act="thank", said__icontains="Pellow").exists()


def test_supplier_is_not_thanked(owner):
    with pytest.raises(StudioError, match="only donors are thanked"):
        thanking.thank(make_source(), on=day(), by=owner)


def test_later_thanks_are_not_set_back(owner):
    lot = gift("Fennick Library", 45, thanked_on=day(1))
    thanking.thank(lot.source, on=day(10), by=owner)
    assert Source.objects.get(pk=lot.source.pk).thanked_on == day(1)


@pytest.mark.parametrize(
    ("sent", "status"),
    [({}, 302), ({"request_key": "no", "source": "1"}, 302), ({"source": "x"}, 404)],
)
def test_what_was_not_sent_by_the_page_thanks_nobody(sent, status, hand_client):
    lot = gift("Fennick Library", 45)
    if status == 404:
        sent = {**sent, "request_key": str(uuid.uuid4())}
    assert hand_client.post(THANKS, sent).status_code == status
    assert Source.objects.get(pk=lot.source.pk).thanked_on is None


def test_viewer_is_led_to_no_thanks(viewer_client, hand_client):
    assert viewer_client.get(THANKS).status_code == 403
    assert THANKS not in links(look(viewer_client, "/sources/"))
    assert THANKS in links(look(hand_client, "/sources/"))


def test_thanks_ask_as_often_for_many_donors_as_for_one(owner, hand_client):
    paper, linter = school_and_linter()
    run([(paper, KG), (linter, KG)])
    few = queries(hand_client, THANKS)
    for number in range(6):
        lot = gift(f"Donor {number}", 40)
        run([(lot, KG)])
    assert queries(hand_client, THANKS) == few
