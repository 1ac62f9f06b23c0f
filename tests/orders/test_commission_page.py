import uuid
from decimal import Decimal

import pytest
from django.db import OperationalError

from fibres.models import Addition, Offer
from orders import services
from orders.models import Commission
from studio.models import Entry
from tests.builders import (
    day,
    make_commission,
    make_furnish,
    make_lot,
    make_mould,
    make_sheet,
    make_source,
    make_studio,
)
from tests.orders.looking import heads, look, said, same_queries_for_1_and_20
from tests.studio.pages import uncoded

State = Commission.State


# --- one commission


def test_the_page_says_what_is_short_and_the_ways_out(owner_client, fibre, asked):
    make_lot(fibre, as_is_mg=500_000)
    page = look(owner_client, "/commissions/C-101/")
    # By hand: 460 g oven-dry, 437 g usable; 7.3285 g a pull makes 59 pulls and 51 good.
    assert "0.419 kg oven-dry of Abaca sheet pulp is missing" in said(page)
    assert "51 of 100 good sheets can be made" in said(page)
    listed = [
        item.text.replace("\u00a0", " ") for item in page.all("li") if "ood sheets" in item.text
    ]
    assert "Two ways out." in page.one("main").text
    assert any("Send 51 good sheets by" in item and "and 49 later." in item for item in listed)
    assert "There is no plan without a purchase." in said(page)


def test_the_page_says_which_fibre_binds_and_by_how_much(owner_client, fibre, asked):
    held = make_lot(fibre, as_is_mg=500_000)
    text = said(look(owner_client, "/commissions/C-101/"))
    # By hand: 835.45 g usable are needed and 437 g held.
    assert "C-101 needs 0.835 kg usable of Abaca sheet pulp by" in text
    assert f"lot {held.ref} holds 0.437 kg; 0.398 kg is missing." in text


def test_the_page_says_in_how_many_tries_the_store_covers_it(owner_client, fibre, asked):
    make_lot(fibre)
    # Ten kilograms lie there, and not one is needed.
    assert "The store covers all 100 in more than 99 of 100 tries" in said(
        look(owner_client, "/commissions/C-101/")
    )


def offered(fibre, **terms):
    source = make_source(name="Sallow Fibre", lead_days=4, freight_minor=650, **terms)
    return Offer.objects.create(
        source=source, fibre=fibre, form="sheets", pack_mg=1_000_000, moisture=Decimal("0.1"),
        minor_per_kg=1900,
    )  # fmt: skip


def test_the_owner_reads_the_cheapest_offer_with_its_price(owner_client, fibre, asked):
    offered(fibre)
    text = said(look(owner_client, "/commissions/C-101/"))
    # By hand: one pack of 1 kg is 19.00, and 6.50 of freight.
    assert "Cheapest in time: 1 pack of Abaca sheet pulp from Sallow Fibre, £25.50" in text


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_reads_by_when_to_order_and_no_offer(request, who, fibre, asked):
    offered(fibre)
    page = look(request.getfixturevalue(who), "/commissions/C-101/")
    assert "it is in time." in said(page)
    assert "Sallow" not in page.one("html").text
    assert "£" not in page.one("html").text


def test_another_turn_names_who_loses(owner_client, fibre, sheet, asked):
    make_lot(fibre, as_is_mg=1_000_000)
    make_commission(sheet, ref="C-090", priority=1)
    text = said(look(owner_client, "/commissions/C-101/"))
    assert "Serve it before C-090. Others lose by it: C-090 would be short" in text


def test_the_page_says_what_to_weigh_out_as_is(hand_client, fibre, asked):
    held = make_lot(fibre)
    page = look(hand_client, "/commissions/C-101/")
    link = page.one("a", href=f"/lots/{held.ref}/")
    assert link.text == held.ref
    # By hand: 835.45 g usable / 0.95 / 0.92 is 955.9 g as is.
    assert "0.956 kg of" in said(page)


def test_the_page_shows_how_it_is_worked_out(hand_client, fibre, asked):
    make_lot(fibre)
    page = look(hand_client, "/commissions/C-101/")
    summaries = [one.text for one in page.all("summary")]
    assert summaries == [
        "How much of each fibre",
        "How many to pull, and the fibre for them",
        "How the days are counted",
        # Under "How this is worked out".
        "Pulls",
        "Fibre needed, set aside and short",
        "Covered, just covered or short",
        "When it can be packed",
    ]
    assert "114 on average" in said(page)


def test_cautions_of_fibres_and_additions_are_told(hand_client, sheet, asked):
    Addition.objects.create(
        furnish=sheet.furnish, name="Iron oxide", kind="pigment", dose=Decimal("0.02")
    )
    page = look(hand_client, "/commissions/C-101/")
    assert "Dust when it is torn dry." in said(page)
    assert "Iron oxide: keep powder out of the air" in said(page)
    assert "safety data sheet" in said(page)


def test_the_owner_reads_cost_and_price(owner_client, fibre, asked):
    make_studio(price_by="margin", price_rate=Decimal("0.3"), tax_rate=Decimal("0.2"))
    held = make_lot(fibre, paid_minor=10_000)
    page = look(owner_client, "/commissions/C-101/")
    assert [head.strip() for head in heads(page, "Cost of a good sheet, in")][-1] == (
        "Cost of a good sheet"
    )
    assert "30 % of the price kept as margin" in said(page)
    assert f"book cost of {held.ref}" in said(page)
    assert heads(page, "Price at several") == ["10", "25", "50", "100", "250"]
    assert "sheets tax of 20 % adds" in said(page)


def test_a_commissions_own_number_is_among_the_prices(owner_client, sheet):
    make_commission(sheet, ref="C-101", good_quantity=73)
    page = look(owner_client, "/commissions/C-101/")
    assert heads(page, "Price at several") == ["10", "25", "50", "73", "100", "250"]


def test_what_has_no_price_is_told(owner_client, asked):
    page = look(owner_client, "/commissions/C-101/")
    assert "No price known. Abaca sheet pulp: counted as nothing." in said(page)


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_reads_none_and_only_planning_asks_what_lots_cost(
    request, who, fibre, sheet, asked, django_assert_max_num_queries
):
    make_lot(fibre, paid_minor=10_000)
    Addition.objects.create(
        furnish=sheet.furnish, name="Chalk", kind="filler", dose=Decimal("0.05"), minor_per_kg=300
    )
    client = request.getfixturevalue(who)
    with django_assert_max_num_queries(41) as counted:
        page = look(client, "/commissions/C-101/")
    assert "£" not in page.one("html").text
    assert "Price" not in [one.text for one in page.all("h2")]
    # What lots cost decides which are set aside, and everybody is told the same ones.
    asked_for = [query["sql"] for query in counted.captured_queries]
    assert sum("paid_minor" in sql for sql in asked_for) == 1
    assert not any("minor_per_kg" in sql for sql in asked_for)


def test_an_enquiry_is_answered_as_if_it_were_agreed(owner_client, sheet):
    make_commission(sheet, ref="C-101", state=State.ENQUIRY)
    assert "If it were agreed: short by" in said(look(owner_client, "/commissions/C-101/"))


def test_an_enquiry_says_whose_fibre_it_would_take(owner_client, fibre, sheet):
    make_lot(fibre, as_is_mg=1_000_000)
    make_commission(sheet, ref="C-101")
    make_commission(sheet, ref="C-102", state=State.ENQUIRY, priority=1)
    page = look(owner_client, "/commissions/C-102/")
    assert "It takes fibre that is set aside: C-101 would be short" in said(page)


def test_what_is_over_has_nothing_set_aside(owner_client, sheet):
    make_commission(sheet, ref="C-101", state=State.CLOSED)
    page = look(owner_client, "/commissions/C-101/")
    assert "nothing is set aside for it" in said(page)
    assert not page.all("button", class_="do")


def test_what_cannot_be_reckoned_says_why(owner_client, sheet, asked):
    sheet.furnish.parts.all().delete()
    assert "has no fibre yet" in said(look(owner_client, "/commissions/C-101/"))


def test_the_page_takes_the_same_queries_for_1_and_20_rows(owner_client, fibre, asked):
    def add():
        make_lot(fibre, as_is_mg=20_000, paid_minor=100)
        make_commission(make_sheet(make_furnish({fibre: "1"})), priority=9)

    same_queries_for_1_and_20(owner_client, "/commissions/C-101/", add)


def test_an_unknown_commission_is_not_found(owner_client):
    assert owner_client.get("/commissions/C-999/").status_code == 404


def test_limits_and_tolerance_are_among_the_facts(hand_client, sheet):
    make_commission(sheet, ref="C-101", no_scrap=True, tolerance_over=Decimal("0.05"))
    text = said(look(hand_client, "/commissions/C-101/"))
    assert "No scrap or broke in it" in text
    assert "up to 5 % more" in text


def test_a_price_made_by_markup_is_named_so(owner_client, asked):
    make_studio(price_by="markup", price_rate=Decimal("0.25"))
    page = look(owner_client, "/commissions/C-101/")
    assert "25 % of the cost added as markup" in said(page)
    assert "No tax is added" in said(page)


def test_a_fibre_that_waits_for_a_receipt_says_from_when(hand_client, fibre, asked):
    # A lot may be entered today for a commission that was due before.
    type(asked).objects.filter(pk=asked.pk).update(due=day(3))
    held = make_lot(fibre)
    type(held).objects.filter(pk=held.pk).update(received_on=day(-4))
    page = look(hand_client, "/commissions/C-101/")
    assert "Covered from" in said(page)
    assert any(mark.text.startswith("From ") for mark in page.all("span", class_="order"))


def test_a_sheet_that_its_mould_cannot_give_is_told_on_page_and_form(owner_client, fibre):
    small = make_mould(width_um=100_000, height_um=100_000)
    sheet = make_sheet(make_furnish({fibre: "1"}), mould=small, edges="trimmed")
    make_commission(sheet, ref="C-101")
    page = look(owner_client, "/commissions/C-101/")
    assert "It cannot be reckoned yet: Not one sheet" in said(page)
    assert not page.all("summary")
    assert "Not one sheet" in said(look(owner_client, "/commissions/C-101/edit/"))


@pytest.fixture
def too_small(fibre):
    """A sheet that was made once and no longer fits the mould it is cut from."""
    mould = make_mould(width_um=100_000, height_um=100_000)
    return make_sheet(make_furnish({fibre: "1"}), mould=mould, edges="trimmed")


@pytest.mark.parametrize("state", [State.SENT, State.CLOSED, State.WITHDRAWN])
def test_what_is_over_and_cannot_be_costed_any_more_says_why(owner_client, too_small, state):
    make_commission(too_small, ref="C-101", state=state)
    page = look(owner_client, "/commissions/C-101/")
    assert "It cannot be reckoned yet: Not one sheet" in said(page)
    assert "Price" not in [one.text for one in page.all("h2")]


def test_what_is_over_and_has_lost_its_fibres_says_so(owner_client, sheet):
    make_commission(sheet, ref="C-101", state=State.CLOSED)
    sheet.furnish.parts.all().delete()
    assert "has no fibre yet" in said(look(owner_client, "/commissions/C-101/"))


# --- the step to another state


def move(client, ref, to, key=None):
    return client.post(
        f"/commissions/{ref}/move/", {"to": to, "request_key": key or uuid.uuid4()}, follow=True
    )


def test_the_steps_offered_are_those_that_can_follow(owner_client, asked):
    page = look(owner_client, "/commissions/C-101/")
    offered = [button.text for button in page.all("button", name="to")]
    assert offered == ["Making begins", "It is not agreed yet", "Withdraw it"]
    assert [button.attrs["class"] for button in page.all("button", name="to")] == [
        "do plain", "as-link", "as-link",
    ]  # fmt: skip


def test_one_button_is_filled_where_the_store_covers_it(owner_client, fibre, asked):
    make_lot(fibre)
    page = look(owner_client, "/commissions/C-101/")
    assert [button.attrs["class"] for button in page.all("button", name="to")] == [
        "do", "do plain", "as-link",
    ]  # fmt: skip


def test_a_commission_moves_and_the_book_says_who_moved_it(owner_client, owner, asked):
    answer = move(owner_client, "C-101", State.MAKING)
    asked.refresh_from_db()
    entry = Entry.objects.get()
    assert asked.state == State.MAKING
    assert (entry.said, entry.by) == ("C-101 is now making", owner)
    assert "C-101 is now making." in uncoded(answer.content.decode())


def test_the_same_step_sent_twice_is_taken_once(owner_client, asked):
    key = uuid.uuid4()
    move(owner_client, "C-101", State.MAKING, key)
    answer = move(owner_client, "C-101", State.MAKING, key)
    assert "Nothing was written twice" in answer.content.decode()
    assert Entry.objects.count() == 1


@pytest.mark.parametrize("to", [State.CLOSED, State.ENQUIRY, "lost", ""])
def test_a_step_that_cannot_follow_is_refused(owner_client, asked, to):
    answer = move(owner_client, "C-101", to)
    asked.refresh_from_db()
    assert asked.state == State.AGREED
    assert "Not moved" in answer.content.decode()
    assert not Entry.objects.exists()


def test_a_step_is_not_taken_by_following_a_link(owner_client, asked):
    assert owner_client.get("/commissions/C-101/move/").status_code == 405


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_only_the_owner_moves_and_changes(request, who, asked):
    client = request.getfixturevalue(who)
    assert move(client, "C-101", State.MAKING).status_code == 403
    assert client.get("/commissions/new/").status_code == 403
    assert client.get("/commissions/C-101/edit/").status_code == 403
    assert not look(client, "/commissions/C-101/").all("button", name="to")


def test_a_database_that_takes_nothing_is_told_and_not_answered_with_a_fault(
    owner_client, asked, monkeypatch
):
    def locked(*args, **kwargs):
        raise OperationalError("database is locked")

    monkeypatch.setattr(services, "move", locked)
    answer = move(owner_client, "C-101", State.MAKING)
    assert answer.status_code == 200
    assert "Not moved: the database could not take the entry" in answer.content.decode()
