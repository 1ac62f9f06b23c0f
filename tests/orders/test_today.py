from unittest.mock import Mock

import pytest
import time_machine

from orders import reordering
from orders.models import Commission, Making
from orders.views import today as today_page
from orders.wording import day as worded
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_offer,
    make_sheet,
    make_source,
)
from tests.orders.looking import heads, look, said, same_queries_for_1_and_20

State = Commission.State


@pytest.fixture
def fibre(db):
    return make_fibre(name="Abaca sheet pulp")


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}))


def first_deed(client):
    return look(client, "/").one("a", class_="do").text


# --- from nothing to the first answer


def test_from_an_empty_database_the_first_step_is_the_filled_button(owner_client):
    page = look(owner_client, "/")
    assert page.one("a", class_="do").text == "Take over the usual fibres"
    assert "Nothing is entered yet. 5 steps lead to the first answer." in said(page)


def test_steps_that_are_done_are_ticked_in_words(owner_client, fibre):
    make_lot(fibre)
    page = look(owner_client, "/")
    assert "Done: take over the usual fibres" in said(page)
    assert "Done: enter a lot" in said(page)


def test_each_step_leads_on_to_the_next_until_there_is_an_answer(owner_client, fibre):
    seen = [first_deed(owner_client)]
    make_lot(fibre)
    seen.append(first_deed(owner_client))
    furnish = make_furnish({fibre: "1"})
    seen.append(first_deed(owner_client))
    sheet = make_sheet(furnish)
    seen.append(first_deed(owner_client))
    make_commission(sheet)
    assert seen == ["Log scrap", "Write a furnish", "Enter a sheet", "Enter a commission"]
    assert "The store covers the one promise." in said(look(owner_client, "/"))


def test_a_step_that_the_role_cannot_take_has_no_link(viewer_client):
    page = look(viewer_client, "/")
    assert "Enter a sheet (the owner does this)" in said(page)
    assert not page.all("a", class_="do")


# --- the answers


@pytest.fixture
def promised(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    return make_commission(sheet, ref="C-101", title="Song sheets", good_quantity=100)


def test_the_day_is_the_heading(owner_client, promised):
    with time_machine.travel("2026-11-25 10:00", tick=False):
        page = look(owner_client, "/")
    assert page.one("h1").text == "Wednesday 25 November"


def test_what_is_short_is_told_with_fibre_mass_and_day(owner_client, promised):
    page = look(owner_client, "/")
    assert "C-101 is short: 0.419 kg oven-dry of Abaca sheet pulp is missing" in said(page)
    assert heads(page, "Commissions that the store") == [
        "C-101 Song sheets100 sheets, 210\u00a0×\u00a0297\u00a0mm"
    ]
    (short,) = page.all("td", class_="off")
    # By hand: 114 pulls × 7.0354 g / 0.96 is 835.5 g usable, 879.4 g oven-dry at a yield of
    # 95 %; 460 g are there.
    assert short.text == "0.419"


def test_nothing_short_shows_no_table_of_shortages(owner_client, fibre, promised):
    make_lot(fibre)
    page = look(owner_client, "/")
    assert "Commissions that the store does not cover" not in said(page)
    assert "The store covers the one promise." in said(page)


def test_lots_to_use_soon_are_told_with_what_is_set_aside(owner_client, fibre, promised):
    Commission.objects.update(due=day(-10))
    soon = make_lot(fibre, received_on=day(10))
    type(soon).objects.filter(pk=soon.pk).update(keep_until=day(-14))
    later = make_lot(fibre, received_on=day(10))
    type(later).objects.filter(pk=later.pk).update(keep_until=day(-15))
    page = look(owner_client, "/")
    assert [head.split()[0] for head in heads(page, "Lots to use soon")] == [soon.ref]
    # The wet lot is taken first, and the commission needs 0.879 kg of it.
    assert "0.879 kg for C-101" in said(page)


def test_a_lot_past_its_day_is_still_told(owner_client, fibre, promised):
    past = make_lot(fibre, received_on=day(10))
    type(past).objects.filter(pk=past.pk).update(keep_until=day(1))
    page = look(owner_client, "/")
    assert heads(page, "Lots to use soon")[0].startswith(past.ref)
    assert "Nothing yet" in said(page)


def test_promises_stand_in_the_order_they_are_due(owner_client, sheet, promised):
    make_commission(sheet, ref="C-090", due=day(-5))
    make_commission(sheet, ref="C-080", state=State.ENQUIRY, due=day(-1))
    page = look(owner_client, "/")
    assert [head[:5] for head in heads(page, "Promises, the next")] == ["C-090", "C-101"]


def asked(client):
    page = look(client, "/")
    return [bold.text for bold in page.all("b") if "ul" in bold.inside]


def test_each_role_is_asked_what_it_may_do(owner_client, hand_client, viewer_client, promised):
    assert asked(owner_client) == ["Does stock cover it?", "What does it cost?", "Log scrap"]
    assert asked(hand_client) == [
        "Does stock cover it?", "Log scrap", "How many sheets is that?",
    ]  # fmt: skip
    assert asked(viewer_client) == ["Does stock cover it?", "How many sheets is that?"]


def test_a_viewer_reads_no_clients_name(viewer_client, hand_client, promised):
    assert promised.client.name in said(look(hand_client, "/"))
    page = look(viewer_client, "/")
    assert promised.client.name not in said(page)
    assert "a client" in said(page)


def test_today_takes_the_same_queries_for_1_and_20_rows(owner_client, fibre, sheet):
    def add():
        wet = make_lot(fibre, as_is_mg=KG)
        type(wet).objects.filter(pk=wet.pk).update(keep_until=day(-3))
        make_commission(sheet, good_quantity=5000)

    same_queries_for_1_and_20(owner_client, "/", add)


def test_a_sheet_that_cannot_be_reckoned_does_not_break_the_day(owner_client, sheet, promised):
    sheet.furnish.parts.all().delete()
    assert "C-101 cannot be reckoned" in said(look(owner_client, "/"))


def test_a_commission_that_moves_on_between_two_readings_is_passed_over(
    owner_client, promised, monkeypatch
):
    read = today_page._open_promises

    def moved_on(user):
        Commission.objects.update(state=State.SENT)
        return read(user)

    monkeypatch.setattr(today_page, "_open_promises", moved_on)
    look(owner_client, "/")


def test_many_shortages_are_read_and_shown_a_page_at_a_time(owner_client, sheet, monkeypatch):
    monkeypatch.setattr(today_page, "ROWS_SHOWN", 2)
    refs = [make_commission(sheet, good_quantity=100).ref for _ in range(3)]
    read = Mock(side_effect=today_page.Shorts._row, autospec=True)
    monkeypatch.setattr(today_page.Shorts, "_row", lambda *told: read(*told))
    first, second = (look(owner_client, f"/?page={number}") for number in (1, 2))
    assert read.call_count == 3
    shown = [
        [head.split()[0] for head in heads(page, "Commissions that the store")]
        for page in (first, second)
    ]
    assert shown == [refs[:2], refs[2:]]
    assert "3 commissions wait on one fibre" in said(first)
    assert "3 commissions wait on one fibre" in said(second)


# --- what has to be ordered


@pytest.fixture
def in_need(fibre, promised):
    """Return an offer that arrives in 9 days, for a promise due in 25: fibre is needed in 18."""
    Commission.objects.update(due=day(-25))
    return make_offer(fibre, make_source(lead_days=9), pack_mg=KG)


def test_a_fibre_to_order_within_a_fortnight_is_told_with_why_and_the_day(owner_client, in_need):
    page = look(owner_client, "/")
    assert heads(page, "Fibres to order") == ["Abaca sheet pulp"]
    assert f"Order by {worded(day(-9), day())}" in said(page)
    # By hand: 835.5 g are needed usable, and 95 % of 460 g are there.
    assert "C-101 lacks 0.398 kg usable" in said(page)
    assert f"Order Abaca sheet pulp by {worded(day(-9), day())} and it comes in time." in said(
        page
    )
    (link,) = [one for one in page.all("a") if one.attrs["href"].startswith("/reorder/?fibre=")]
    assert f'id="{link.attrs["href"].partition("#")[2]}"' in (
        owner_client.get("/reorder/").content.decode()
    )


def test_an_order_that_can_wait_longer_is_not_told_yet(owner_client, in_need):
    # Needed in 24 days and 9 on the way: 15 days are left.
    Commission.objects.update(due=day(-31))
    assert "Fibres to order" not in said(look(owner_client, "/"))


def test_a_fibre_that_comes_too_late_is_told_with_its_first_arrival(owner_client, in_need):
    Commission.objects.update(due=day(-12))
    page = said(look(owner_client, "/"))
    assert "Too late" in page
    assert f"arrives on {worded(day(-9), day())} at the earliest" in page


def test_a_fibre_that_nobody_offers_is_told_where_a_promise_lacks_it(owner_client, promised):
    assert "No offer known" in said(look(owner_client, "/"))


def test_a_minimum_that_nobody_offers_fibre_for_is_no_act(owner_client, fibre, promised):
    make_lot(fibre)
    kozo = make_fibre(name="Kozo", minimum_mg=KG)
    assert "Kozo" not in said(look(owner_client, "/"))
    make_offer(kozo)
    assert "Kozo" in said(look(owner_client, "/"))


def test_what_has_to_be_ordered_is_told_to_a_viewer_without_money(viewer_client, in_need):
    page = said(look(viewer_client, "/"))
    assert "C-101 lacks 0.398 kg usable" in page
    assert "£" not in page


@pytest.mark.parametrize("browser", ["owner_client", "viewer_client"])
def test_flags_take_the_same_queries_for_1_and_20_offers(request, browser, sheet):
    def add():
        fibre = make_fibre(minimum_mg=KG)
        make_offer(fibre, breaks={3: 900})
        make_commission(make_sheet(make_furnish({fibre: "1"})))

    same_queries_for_1_and_20(request.getfixturevalue(browser), "/", add)


def test_no_plan_is_worked_out_for_the_first_page(owner_client, in_need, monkeypatch):
    def refuse(*args, **kwargs):
        message = "Today looked for a plan"
        raise AssertionError(message)

    monkeypatch.setattr(reordering.buying, "plan", refuse)
    look(owner_client, "/")


# --- makings at hand


@pytest.mark.parametrize("browser", ["owner_client", "hand_client", "viewer_client"])
def test_a_making_at_the_vat_is_one_tap_away(request, browser, sheet):
    commission = make_commission(sheet)
    running = make_making(commission=commission, state=Making.State.AT_THE_VAT)
    soon = make_making(sheet, planned_on=day(-6))
    later = make_making(sheet, planned_on=day(-8))
    given_up = make_making(sheet, state=Making.State.GIVEN_UP)
    page = look(request.getfixturevalue(browser), "/")
    links = [one.attrs["href"] for one in page.all("a")]
    assert links.index(f"/makings/{running.ref}/") < links.index(f"/makings/{soon.ref}/")
    assert not {f"/makings/{one.ref}/" for one in (later, given_up)} & set(links)


def test_without_a_making_at_hand_today_does_not_speak_of_one(owner_client, promised):
    assert "At the vat" not in said(look(owner_client, "/"))


def test_makings_take_the_same_queries_for_1_and_20(owner_client, promised):
    same_queries_for_1_and_20(owner_client, "/", make_making)
