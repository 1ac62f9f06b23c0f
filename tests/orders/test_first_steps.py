"""The way from an empty store to the first answer, as the pages lead along it."""

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres.models import Fibre, Furnish, Lot
from orders import firststeps
from orders.models import Client, Commission, Sheet
from studio.models import Entry
from tests.builders import (
    make_client,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
    make_studio,
)
from tests.orders.looking import form_data, look, queries
from tests.orders.looking import said as said_with_its_lines
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db


def said(page):
    return " ".join(said_with_its_lines(page).split())


def next_on(client, address):
    """Return where the line about the first steps leads on a page; None where there is none."""
    page = look(client, address)
    lines = page.all("nav", **{"aria-label": "First steps"})
    if not lines:
        return None
    rest = page.elements[page.elements.index(lines[0]) :]
    return next((one.attrs["href"] for one in rest if one.tag == "a"), "")


def send(client, address, **changes):
    data = form_data(look(client, address), **changes)
    answer = client.post(address, data)
    assert answer.status_code == 302, answer.content.decode()[-3000:]
    return answer.url


# --- leading on


def test_every_page_reached_on_the_way_names_the_next_step(owner_client):
    make_fibre(name="White office paper", is_scrap=True)
    lot = send(
        owner_client, "/scrap/log/?short=1", fibre=Fibre.objects.get().pk, measured="weighed",
        mass="3.2", mass_unit="kg",
    )  # fmt: skip
    furnish_new = next_on(owner_client, lot)
    assert furnish_new == f"/furnishes/new/?short=1&fibre={Fibre.objects.get().pk}"
    furnish = send(owner_client, furnish_new)
    sheet_new = next_on(owner_client, furnish)
    assert sheet_new == f"/sheets/new/?short=1&furnish={Furnish.objects.get().pk}"
    sheet = send(owner_client, sheet_new, name="Note A5", size="A5", grammage="120")
    commission_new = next_on(owner_client, sheet)
    assert commission_new == f"/commissions/new/?short=1&sheet={Sheet.objects.get().pk}"
    commission = send(
        owner_client, commission_new, new_client="Plot Garden", title="Seed notes",
        good_quantity="200", due="2030-01-15",
    )  # fmt: skip
    assert "the store covers all 200" in said(look(owner_client, commission))
    assert Commission.objects.get().client == Client.objects.get(name="Plot Garden")
    # The first answer is there: nothing leads on any more.
    assert next_on(owner_client, commission) is None
    assert next_on(owner_client, "/store/") is None


def test_the_page_of_a_step_says_which_it_is_and_does_not_lead_to_itself(owner_client):
    make_fibre()
    page = look(owner_client, "/scrap/log/?short=1")
    assert "First steps, 2 of 5. What can wait is folded up." in said(page)
    assert next_on(owner_client, "/scrap/log/?short=1") != "/scrap/log/?short=1"
    # The other way to take the step is the step as well; it is not a short page.
    told = said(look(owner_client, "/lots/receive/"))
    assert "First steps, 2 of 5." in told
    assert "folded up" not in told


def test_today_shows_the_steps_in_full_and_no_line_about_the_next(owner_client):
    make_lot()
    assert next_on(owner_client, "/") is None
    told = said(look(owner_client, "/"))
    assert "3 steps lead to the first answer." in told
    assert "Done: enter a lot" in told
    assert "Write down a furnish" in told


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_cannot_take_every_step_is_not_led_along_the_pages(request, who):
    assert next_on(request.getfixturevalue(who), "/store/") is None


def test_the_first_steps_stay_readable_when_they_are_done(viewer_client):
    commission = make_commission()
    page = look(viewer_client, "/first-steps/")
    assert "All steps are done." in said(page)
    assert not page.all("a", class_="do")
    assert commission.get_absolute_url() in [link.attrs["href"] for link in page.all("a")]


def test_the_line_takes_one_query_however_far_the_way_is(owner_client):
    def asked():
        with CaptureQueriesContext(connection) as found:
            owner_client.get("/words/")
        return len([one for one in found.captured_queries if "orders_commission" in one["sql"]])

    empty = asked()
    make_commission()
    assert (empty, asked()) == (1, 1)


def test_pages_ask_the_database_as_often_before_the_first_answer_as_after(owner_client):
    make_studio()
    make_lot()
    before = queries(owner_client, "/words/")
    make_commission()
    assert queries(owner_client, "/words/") == before


# --- put away


def test_the_owner_puts_the_steps_away_for_everybody_and_finds_them_again(
    owner_client, viewer_client
):
    make_lot()
    assert next_on(owner_client, "/store/")
    assert owner_client.post("/first-steps/away/").url == "/"
    for client in (owner_client, viewer_client):
        told = said(look(client, "/"))
        assert "Nothing is promised yet." in told
        assert "Write down a furnish" not in told
    assert next_on(owner_client, "/store/") is None
    links = {link.text: link.attrs["href"] for link in look(owner_client, "/").all("a")}
    again = links["The first steps, which are put away"]
    page = look(owner_client, again)
    assert page.one("a", class_="do").text == "Write a furnish"
    assert not page.all("button", class_="as-link", type="submit")[:-1], "only to sign out"


def test_putting_them_away_twice_writes_one_entry(owner_client):
    for _ in range(2):
        assert owner_client.post("/first-steps/away/").status_code == 302
    (entry,) = Entry.objects.filter(act="put away first steps")
    assert entry.request_key == firststeps.AWAY
    assert entry.by.get_username()


@pytest.mark.roles
@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_nobody_else_puts_them_away(request, who):
    client = request.getfixturevalue(who)
    assert client.post("/first-steps/away/").status_code == 403
    assert "Put these steps away" not in said(look(client, "/"))
    assert not Entry.objects.exists()


# --- short pages


def test_a_short_page_keeps_what_can_wait_under_one_line(owner_client):
    make_furnish({make_fibre(): "1"})
    page = look(owner_client, "/sheets/new/?short=1")
    (folded,) = [one for one in page.all("details", class_="wait") if "Retree" in one.text]
    assert "open" not in folded.attrs
    assert "Grammage" not in folded.text
    assert not look(owner_client, "/sheets/new/").all("details", class_="wait")


def test_a_fault_in_what_can_wait_unfolds_it_and_loses_nothing(owner_client):
    furnish = make_furnish({make_fibre(): "1"})
    address = "/sheets/new/?short=1"
    data = form_data(
        look(owner_client, address), name="Note", size="A5", grammage="120",
        furnish=furnish.pk, broke="140",
    )  # fmt: skip
    answer = owner_client.post(address, data)
    assert answer.status_code == 200
    page = Page(answer.content.decode())
    (folded,) = [one for one in page.all("details", class_="wait") if "Retree" in one.text]
    assert "open" in folded.attrs
    assert page.one("input", name="name").attrs["value"] == "Note"
    assert page.one("input", name="broke").attrs["value"] == "140"
    assert not Sheet.objects.exists()


def test_what_can_wait_keeps_the_values_it_starts_with(owner_client):
    make_fibre(name="White office paper", is_scrap=True)
    fibre = Fibre.objects.get()
    send(
        owner_client, "/scrap/log/?short=1", fibre=fibre.pk, measured="weighed", mass="3.2",
        mass_unit="kg",
    )  # fmt: skip
    lot = Lot.objects.get()
    assert lot.moisture == fibre.usual_moisture
    assert not lot.is_confidential


def test_a_furnish_of_what_came_last_is_one_press(owner_client):
    make_lot(make_fibre(name="Kraft bags"))
    fibre = Fibre.objects.get()
    address = f"/furnishes/new/?short=1&fibre={fibre.pk}"
    page = look(owner_client, address)
    assert "May be replaced by" not in said(page)
    assert f"/furnishes/new/?fibre={fibre.pk}" in [a.attrs["href"] for a in page.all("a")]
    send(owner_client, address)
    furnish = Furnish.objects.get()
    assert furnish.name == "Kraft bags"
    assert [(part.fibre, part.share) for part in furnish.parts.all()] == [(fibre, 1)]


@pytest.mark.hostile
@pytest.mark.parametrize("brought", ["", "x", "0", "9" * 40, "-1", "²"])
def test_a_furnish_page_takes_no_harm_of_what_an_address_brings(owner_client, brought):
    make_fibre()
    page = look(owner_client, "/furnishes/new/", fibre=brought)
    assert not page.one("input", name="name").attrs.get("value")


@pytest.mark.hostile
def test_a_sheet_page_takes_no_harm_of_what_an_address_brings(owner_client):
    make_furnish({make_fibre(): "1"})
    for brought in ("x", "9" * 40, "-1"):
        page = look(owner_client, "/sheets/new/", furnish=brought)
        start = page.elements.index(page.one("select", name="furnish"))
        chosen = [one for one in page.elements[start : start + 3] if "selected" in one.attrs]
        assert [one.attrs["value"] for one in chosen if one.tag == "option"] in ([], [""])


def test_with_a_client_to_choose_a_short_commission_asks_for_one_of_the_two(owner_client):
    sheet = make_sheet(make_furnish({make_fibre(): "1"}))
    address = f"/commissions/new/?short=1&sheet={sheet.pk}"
    assert "Or a new client" not in said(look(owner_client, address))
    data = form_data(
        look(owner_client, address), title="Notes", good_quantity="5", due="2030-01-15"
    )
    told = owner_client.post(address, {**data, "request_key": str(uuid.uuid4())}).content.decode()
    assert "Fill this in." in told
    make_client()
    assert "Or a new client" in said(look(owner_client, address))
