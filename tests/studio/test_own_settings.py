"""A person's own settings: units that are theirs alone, and the password they sign in with."""

from __future__ import annotations

import re
import uuid

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from orders.makings import log
from orders.models import Quote
from studio.context import asked_by, units_here
from studio.models import Entry, Preference, Studio
from studio.roles import HAND, MAY, NEEDS, ROLES, VIEWER
from tests.builders import (
    KG,
    PASSWORD,
    make_commission,
    make_delivery,
    make_finished,
    make_lot,
    make_making,
    make_mould,
    make_offer,
    make_quote,
    make_studio,
    make_user,
    signed_in,
)
from tests.fibres.pages import faults, see, send, told

pytestmark = pytest.mark.django_db
NEW = "felt and deckle 9"


@pytest.fixture
def pounds(owner):
    """Sign an owner in whose pages are in pounds, in a studio that has kilograms."""
    make_studio(units="metric")
    person = make_user("owner", name="rue", password=PASSWORD)
    Preference.objects.create(user=person, units="US")
    return signed_in(person)


def chosen(client, units, **changes):
    given = {"units": units, "request_key": str(uuid.uuid4()), **changes}
    return client.post(reverse("you"), given)


def at_the_vat():
    """Start a making, weigh fibre out for it and weigh a trial sheet of it."""
    by = make_user("hand")
    lot = make_lot(as_is_mg=10 * KG, moisture="0")
    making = log.start(make_making(), by=by)
    log.issue(making, lot, as_is_mg=2 * KG, by=by)
    making.trial_sheets.create(
        number=1, mass_mg=9_072, moisture="0.06", width_um=210_000, height_um=297_000
    )
    return making


def plain(words):
    return words.replace("\u00a0", " ")


# --- units


@pytest.mark.parametrize("role", ROLES)
def test_everybody_chooses_units_which_are_remembered_and_can_be_given_up(role):
    make_studio(units="metric")
    person = make_user(role)
    client = signed_in(person)
    assert chosen(client, "US").status_code == 302
    assert Preference.objects.get(user=person).units == "US"
    assert client.get(reverse("you")).context["form"]["units"].value() == "US"
    assert client.get(reverse("store")).context["house"].units == "US"
    chosen(client, "")
    assert client.get(reverse("store")).context["house"].units == "metric"
    assert Entry.objects.filter(act="changed own units", by=person).count() == 2


def test_units_that_are_not_offered_are_refused(hand_client):
    answer = chosen(hand_client, "stone")
    assert answer.status_code == 200
    assert "Choose one of those offered." in answer.content.decode()
    assert not Preference.objects.exists()


def test_units_sent_twice_are_entered_once(hand_client):
    key = str(uuid.uuid4())
    for _ in range(2):
        assert chosen(hand_client, "US", request_key=key).status_code == 302
    assert Entry.objects.filter(request_key=key).count() == 1


def test_choice_of_one_leaves_the_pages_of_others_and_the_studios_row(pounds, owner_client):
    # 10 kg at 0 % moisture; 10 kg ÷ 0.45359237 kg (the international pound) is 22.046 lb.
    lot = make_lot(as_is_mg=10 * KG, moisture="0")
    for address in (reverse("store"), lot.get_absolute_url()):
        pounds.get(address)
    assert "22 lb 0.7 oz" in told(see(pounds, lot.get_absolute_url()))
    assert "10.00 kg" in told(see(owner_client, lot.get_absolute_url()))
    assert Studio.objects.get().units == "metric"


def test_studio_as_one_person_sees_it_cannot_be_saved(owner):
    make_studio(units="metric")
    Preference.objects.create(user=owner, units="US")
    seen = Studio.seen_by(owner)
    assert seen.units == "US"
    with pytest.raises(TypeError, match="as one person sees it"):
        seen.save()
    with pytest.raises(TypeError, match="as one person sees it"):
        seen.save(update_fields=["name"])
    assert Studio.objects.get().units == "metric"


def test_studios_figures_kept_by_somebody_with_other_units_keep_the_studios(pounds):
    form = pounds.get(reverse("studio")).context["form"]
    given = {}
    for field in form:
        value = field.value()
        if isinstance(value, list):
            given[field.html_name], given[f"{field.html_name}_unit"] = value
        else:
            given[field.html_name] = "" if value is None else str(value)
    assert given["units"] == "metric"
    before = Studio.objects.values().get()
    assert pounds.post(reverse("studio"), given).status_code == 302
    assert Studio.objects.values().get() == before


def test_choice_takes_no_query_more(owner, owner_client):
    make_studio()
    owner_client.get(reverse("store"))
    with CaptureQueriesContext(connection) as without:
        owner_client.get(reverse("store"))
    Preference.objects.create(user=owner, units="US")
    with CaptureQueriesContext(connection) as within:
        owner_client.get(reverse("store"))
    assert len(within) == len(without)


def test_units_end_with_the_request(pounds, rf):
    make_studio(units="metric")
    pounds.get(reverse("store"))
    assert units_here() == "metric"
    request = rf.get("/")
    request.user = get_user_model().objects.get(username="rue")
    with asked_by(request):
        assert units_here() == "US"
        with asked_by(None):
            assert units_here() == "metric"
    assert units_here() == "metric"


# --- where they show


def test_figures_typed_without_a_unit_are_in_ones_own(pounds, owner_client):
    lot = make_lot(as_is_mg=10 * KG, moisture="0")
    take = reverse("lot_take", args=[lot.ref])
    send(pounds, take, mass="1", why="Trial")
    # The international avoirdupois pound: 453 592.37 mg.
    assert lot.movements.last().as_is_mg == -453_592
    send(owner_client, take, mass="1", why="Trial")
    assert lot.movements.last().as_is_mg == -1_000_000


def test_refusal_of_the_ledger_is_in_ones_own(pounds, owner_client):
    lot = make_lot(as_is_mg=500_900, moisture="0")
    take = reverse("lot_take", args=[lot.ref])
    assert "holds 1 lb 1.7 oz as is" in plain(faults(send(pounds, take, mass="2", why="Trial")))
    assert "holds 0.501 kg as is" in plain(faults(send(owner_client, take, mass="2", why="T")))


@pytest.mark.parametrize(
    ("address", "form", "field", "unit"),
    [
        ("mould_new", "form", "draw_um", "in"),
        ("lot_moisture", "form", "wet", "oz"),
    ],
)
def test_unit_beside_a_field_is_ones_own(pounds, owner_client, address, form, field, unit):
    if address == "lot_moisture":
        address = reverse("lot_test", args=[make_lot().ref])
    else:
        address = reverse(address)
    assert pounds.get(address).context[form].fields[field].units[0] == unit
    assert owner_client.get(address).context[form].fields[field].units[0] != unit


def test_draw_in_inches_reads_back_the_same(pounds):
    mould = make_mould(draw_um=4_500)
    page = pounds.get(mould.get_absolute_url())
    given = {one.html_name: one.value() or "" for one in page.context["form"]}
    assert pounds.post(mould.get_absolute_url(), given).status_code == 302
    mould.refresh_from_db()
    assert (mould.draw_um, mould.width_um) == (4_500, 320_000)


PAGES = {
    "store": lambda: make_lot() and "/store/",
    "lot": lambda: make_lot().get_absolute_url(),
    "commission": lambda: make_commission().get_absolute_url(),
    "making": lambda: make_making().get_absolute_url(),
    "making sheet": lambda: reverse("making_sheet", args=[make_making().ref]),
    "log": lambda: log.page_of(at_the_vat()),
    "offer": lambda: reverse("offer", args=[make_offer(breaks={4: 900}).pk]),
    "in hand": lambda: make_finished() and reverse("sheets_in_hand"),
    "delivery": lambda: make_delivery().get_absolute_url(),
}
METRIC = r"\d\s(kg|g|mm|cm)(?![\w/])"


@pytest.mark.parametrize("page", PAGES)
def test_page_is_in_ones_own_units_throughout(pounds, owner_client, page):
    address = PAGES[page]()
    theirs = plain(told(see(owner_client, address)))
    mine = plain(told(see(pounds, address)))
    assert re.search(METRIC, theirs) or "kg" in theirs or "Kilograms" in theirs
    assert [found[0] for found in re.finditer(r".{0,30}" + METRIC, mine)] == []


@pytest.mark.parametrize("list_of", ["/store/", "/sheets/", "/sources/offers/", "/moulds/"])
def test_list_taken_along_is_in_ones_own_units(pounds, owner_client, list_of):
    make_lot()
    make_finished()
    make_offer()
    make_mould()
    mine, theirs = (
        plain(b"".join(one.get(list_of, {"format": "csv"})).decode("utf-8-sig"))
        for one in (pounds, owner_client)
    )
    assert " lb" in mine or " in\r\n" in mine or " in," in mine or "GBP/lb" in mine
    assert " kg" not in mine
    assert " mm" not in mine
    assert " kg" in theirs or " mm" in theirs or "GBP/kg" in theirs


def test_quote_that_is_issued_keeps_the_studios_units(pounds):
    quote = make_quote()
    pounds.post(reverse("quote_issue", args=[quote.ref]), {"request_key": str(uuid.uuid4())})
    frozen = Quote.objects.get(pk=quote.pk).frozen
    assert frozen is not None
    said = plain(str(frozen))
    assert " kg" in said
    assert not any(f" {unit}" in said for unit in ("lb,", "lb '", "oz "))


# --- password


def test_page_says_who_is_signed_in_and_what_that_lets_do(viewer, viewer_client):
    page = viewer_client.get(reverse("you")).content.decode()
    assert f"You are signed in as {viewer.username}, a viewer." in page
    assert MAY["read"] in page
    assert MAY["money"] not in page
    assert f'<a href="{reverse("you")}">{viewer.username}</a>' in page


def changed(client, **changes):
    given = {"old": PASSWORD, "password": NEW, "again": NEW, "request_key": str(uuid.uuid4())}
    return client.post(reverse("you_password"), {**given, **changes})


@pytest.mark.parametrize("role", [HAND, VIEWER])
def test_person_changes_the_password_stays_signed_in_here_and_nowhere_else(role, client):
    person = make_user(role, name="rue", password=PASSWORD)
    here, there = signed_in(person), signed_in(person)
    assert changed(here).status_code == 302
    assert here.get(reverse("store")).status_code == 200
    assert there.get(reverse("store")).status_code == 302
    assert not client.login(username="rue", password=PASSWORD)
    assert client.login(username="rue", password=NEW)
    assert Entry.objects.get().said == "rue changed the own password"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"old": "wrong"}, "This is not your password. Type it again."),
        ({"old": ""}, "Fill this in."),
        ({"again": "felt and deckle 8"}, "This is not the same as the first. Type it again."),
        ({"password": "12345678", "again": "12345678"}, "too common"),
    ],
)
def test_password_that_cannot_be_kept_is_refused_and_the_old_one_stays(changes, sentence, client):
    person = make_user(HAND, name="rue", password=PASSWORD)
    answer = changed(signed_in(person), **changes)
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert client.login(username="rue", password=PASSWORD)


def test_wrong_guesses_shut_the_page_as_they_shut_the_door(settings):
    settings.AXES_ENABLED = True
    client = signed_in(make_user(HAND, name="rue", password=PASSWORD))
    answers = [changed(client, old="wrong").status_code for _ in range(5)]
    assert answers[-1] == 429
    assert changed(client).status_code == 429


# --- who may what


def test_every_need_has_words():
    assert list(MAY) == list(NEEDS)
    assert len(set(MAY.values())) == len(MAY)


def test_page_of_people_says_what_the_gate_asks(owner_client):
    page = owner_client.get(reverse("people"))
    rows = {row.record["may"]: row.record for row in page.context["may"].rows}
    assert len(rows) == len(NEEDS)
    for need, those in NEEDS.items():
        row = rows[MAY[need]]
        assert {role for role in ROLES if row[role] == "Yes"} == those
        assert MAY[need] in page.content.decode()
