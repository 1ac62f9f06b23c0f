import pytest
import time_machine

from orders.models import Commission
from orders.views import today as today_page
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
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
