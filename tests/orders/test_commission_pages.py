import json
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest

from fibres.models import Addition
from orders.models import Client, Commission
from studio.models import Entry
from tests.builders import (
    KG,
    day,
    make_client,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
    make_studio,
)
from tests.orders.looking import form_data, heads, look, said, same_queries_for_1_and_20

State = Commission.State


@pytest.fixture
def fibre(db):
    return make_fibre(name="Abaca sheet pulp", cautions="Dust when it is torn dry.")


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}), name="Text A4")


@pytest.fixture
def asked(sheet):
    return make_commission(sheet, ref="C-101", title="Song sheets")


# --- the list


def test_the_list_shows_state_and_cover(owner_client, fibre, sheet, asked):
    make_lot(fibre, as_is_mg=960_000)
    make_commission(sheet, ref="C-102", state=State.ENQUIRY)
    page = look(owner_client, "/commissions/")
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-101", "C-102"]
    assert [mark.text for mark in page.all("span", class_="mark")] == [
        "Agreed", "Just covered", "Enquiry",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("query", "refs"),
    [
        ({"state": "open"}, ["C-101", "C-102"]),
        ({"state": "promised"}, ["C-101"]),
        ({"state": "closed"}, ["C-103"]),
        ({"words": "song sheets"}, ["C-101"]),
        ({"words": "harbour"}, ["C-102"]),
        ({"sort": "-due"}, ["C-102", "C-101", "C-103"]),
        ({"sort": "state"}, ["C-101", "C-103", "C-102"]),
        ({"sort": "nonsense"}, ["C-103", "C-101", "C-102"]),
    ],
)
def test_the_list_is_narrowed_and_put_in_order(owner_client, sheet, asked, query, refs):
    harbour = make_client(name="Harbour Songbook")
    make_commission(sheet, harbour, ref="C-102", state=State.ENQUIRY, due=day(-60))
    make_commission(sheet, ref="C-103", state=State.CLOSED, due=day(60))
    page = look(owner_client, "/commissions/", **query)
    assert [head[:5] for head in heads(page, "Commissions")] == refs


def test_the_list_is_narrowed_by_client_and_days(owner_client, sheet, asked):
    late = make_commission(sheet, ref="C-102", due=asked.due + timedelta(days=10))
    page = look(owner_client, "/commissions/", client=late.client_id)
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-102"]
    page = look(owner_client, "/commissions/", due_to=asked.due.isoformat())
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-101"]
    page = look(owner_client, "/commissions/", due_from=late.due.isoformat())
    assert [head[:5] for head in heads(page, "Commissions")] == ["C-102"]


def test_a_filter_that_cannot_be_read_keeps_what_was_typed(owner_client, asked):
    page = look(owner_client, "/commissions/", due_to="soon")
    assert page.one("input", name="due_to").attrs["value"] == "soon"
    assert "Give a day such as" in said(page)


def test_a_viewer_neither_reads_nor_searches_clients(viewer_client, asked):
    page = look(viewer_client, "/commissions/")
    assert asked.client.name not in page.one("html").text
    assert not page.all("select", name="client")
    page = look(viewer_client, "/commissions/", words=asked.client.name)
    assert "Nothing fits" in said(page)
    assert not look(viewer_client, "/commissions/").all("a", class_="do")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_list_is_taken_along_as_a_file(hand_client, viewer_client, asked, kind):
    answer = hand_client.get(f"/commissions/?format={kind}")
    assert answer.status_code == 200
    assert "attachment" in answer.headers["Content-Disposition"]
    assert viewer_client.get(f"/commissions/?format={kind}").status_code == 403


def test_a_title_that_a_spreadsheet_would_reckon_is_exported_as_text(owner_client, sheet):
    make_commission(sheet, ref="C-101", title="=1+1")
    answer = owner_client.get("/commissions/?format=csv")
    assert "'=1+1" in b"".join(answer).decode("utf-8-sig")


def test_the_list_takes_the_same_queries_for_1_and_20_rows(owner_client, fibre):
    def add():
        make_lot(fibre)
        make_commission(make_sheet(make_furnish({fibre: "1"})))

    same_queries_for_1_and_20(owner_client, "/commissions/", add)


def test_nothing_entered_says_so(owner_client):
    assert "No commission is entered yet." in said(look(owner_client, "/commissions/"))


# --- one commission


def test_the_page_says_what_is_short_and_the_ways_out(owner_client, fibre, asked):
    make_lot(fibre, as_is_mg=500_000)
    page = look(owner_client, "/commissions/C-101/")
    # By hand: 460 g oven-dry, 437 g usable; 7.3285 g a pull makes 59 pulls and 51 good.
    assert "0.419 kg oven-dry of Abaca sheet pulp is missing" in said(page)
    assert "51 of 100 good sheets can be made" in said(page)
    assert "Two ways out." in said(page)
    assert "Send 51 good sheets by the day and 49 later." in said(page)


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
    assert summaries == ["How much of each fibre", "How many to pull, and the fibre for them"]
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
    assert "tax adds" in said(page)


def test_a_commissions_own_number_is_among_the_prices(owner_client, sheet):
    make_commission(sheet, ref="C-101", good_quantity=73)
    page = look(owner_client, "/commissions/C-101/")
    assert heads(page, "Price at several") == ["10", "25", "50", "73", "100", "250"]


def test_what_has_no_price_is_told(owner_client, asked):
    page = look(owner_client, "/commissions/C-101/")
    assert "No price known. Abaca sheet pulp: counted as nothing." in said(page)


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_reads_none_and_none_is_asked_for(
    request, who, fibre, sheet, asked, django_assert_max_num_queries
):
    make_lot(fibre, paid_minor=10_000)
    Addition.objects.create(
        furnish=sheet.furnish, name="Chalk", kind="filler", dose=Decimal("0.05"), minor_per_kg=300
    )
    client = request.getfixturevalue(who)
    with django_assert_max_num_queries(40) as counted:
        page = look(client, "/commissions/C-101/")
    assert "£" not in page.one("html").text
    assert "Price" not in [one.text for one in page.all("h2")]
    asked_for = " ".join(query["sql"] for query in counted.captured_queries)
    assert "paid_minor" not in asked_for
    assert "minor_per_kg" not in asked_for


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
    from tests.builders import make_mould

    small = make_mould(width_um=100_000, height_um=100_000)
    sheet = make_sheet(make_furnish({fibre: "1"}), mould=small, edges="trimmed")
    make_commission(sheet, ref="C-101")
    page = look(owner_client, "/commissions/C-101/")
    assert "It cannot be reckoned yet: Not one sheet" in said(page)
    assert not page.all("summary")
    assert "Not one sheet" in said(look(owner_client, "/commissions/C-101/edit/"))


# --- the step to another state


def move(client, ref, to, key=None):
    return client.post(
        f"/commissions/{ref}/move/", {"to": to, "request_key": key or uuid.uuid4()}, follow=True
    )


def test_the_steps_offered_are_those_that_can_follow(owner_client, asked):
    page = look(owner_client, "/commissions/C-101/")
    offered = [button.text for button in page.all("button", name="to")]
    assert offered == ["Making begins", "It is quoted", "Withdraw it"]
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
    assert "C-101 is now making." in answer.content.decode()


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


# --- entering and changing


def post(client, address, /, **changes):
    return client.post(address, form_data(look(client, address), **changes))


def given(sheet, /, **changes):
    return {
        "new_client": "Harbour Songbook",
        "title": "Song sheets",
        "sheet": sheet.pk,
        "good_quantity": 250,
        "due": day(-20).isoformat(),
        "state": "agreed",
        **changes,
    }


def test_a_commission_is_entered_with_a_new_client(owner_client, sheet):
    answer = post(owner_client, "/commissions/new/", **given(sheet))
    entered = Commission.objects.get()
    assert answer.headers["Location"] == f"/commissions/{entered.ref}/"
    assert (entered.ref, entered.client.name, entered.state) == (
        "C-001", "Harbour Songbook", State.AGREED,
    )  # fmt: skip
    assert Entry.objects.get().said == "Entered C-001 Song sheets"


def test_a_client_that_is_known_by_that_name_is_taken(owner_client, sheet):
    known = make_client(name="Harbour Songbook")
    post(owner_client, "/commissions/new/", **given(sheet, new_client="harbour  songbook"))
    assert Commission.objects.get().client == known


def test_the_same_page_sent_twice_is_entered_once(owner_client, sheet):
    data = form_data(look(owner_client, "/commissions/new/"), **given(sheet))
    owner_client.post("/commissions/new/", data)
    answer = owner_client.post("/commissions/new/", data)
    assert Commission.objects.count() == 1
    assert answer.headers["Location"] == "/commissions/C-001/"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"good_quantity": "0"}, "Give 1 or more."),
        ({"good_quantity": ""}, "Give a whole number, 1 or more."),
        ({"good_quantity": "1e400"}, "whole number"),
        ({"good_quantity": "ten"}, "whole number"),
        ({"due": "soon"}, "Give a day such as"),
        ({"due": ""}, "Give a day."),
        ({"new_client": ""}, "Choose a client, or give a new name below."),
        ({"title": ""}, "Fill this in."),
        ({"title": "x" * 81}, "at most 80 characters"),
        ({"sheet": ""}, "Choose one."),
        ({"sheet": "99999"}, "Choose one of those offered."),
        ({"priority": "10"}, "Give 9 or fewer."),
        ({"state": "sent"}, "Choose one of those offered."),
        ({"tolerance_over": "120"}, "100"),
    ],
)
def test_what_is_wrong_is_said_once_and_nothing_is_written(owner_client, sheet, changes, sentence):
    typed = given(sheet, **changes)
    answer = post(owner_client, "/commissions/new/", **typed)
    page_text = answer.content.decode()
    assert answer.status_code == 200
    assert sentence in page_text
    assert "Put one thing right" in page_text
    assert "<title>1 error: " in page_text
    assert not Commission.objects.exists()
    assert not Client.objects.exists()
    assert not Entry.objects.exists()


def test_what_was_typed_is_kept(owner_client, sheet):
    from tests.studio.pages import Page

    answer = post(owner_client, "/commissions/new/", **given(sheet, good_quantity="many"))
    page = Page(answer.content.decode())
    assert page.one("input", name="good_quantity").attrs["value"] == "many"
    assert page.one("input", name="title").attrs["value"] == "Song sheets"
    assert "It is not entered yet." in said(page)


def test_two_clients_are_one_too_many(owner_client, sheet):
    known = make_client()
    answer = post(owner_client, "/commissions/new/", **given(sheet, client=known.pk))
    assert "not both" in answer.content.decode()


def test_a_commission_is_changed_and_keeps_its_state(owner_client, asked):
    data = form_data(look(owner_client, "/commissions/C-101/edit/"), good_quantity=40)
    # Meanwhile somebody begins to make it.
    Commission.objects.filter(pk=asked.pk).update(state=State.MAKING)
    owner_client.post("/commissions/C-101/edit/", data)
    asked.refresh_from_db()
    assert (asked.good_quantity, asked.state) == (40, State.MAKING)


def test_what_is_over_is_not_changed(owner_client, asked):
    data = form_data(look(owner_client, "/commissions/C-101/edit/"), good_quantity=40)
    Commission.objects.filter(pk=asked.pk).update(state=State.SENT)
    answer = owner_client.post("/commissions/C-101/edit/", data)
    asked.refresh_from_db()
    assert "C-101 is sent, so nothing in it is changed any more." in answer.content.decode()
    assert asked.good_quantity == 100
    assert owner_client.get("/commissions/C-101/edit/").status_code == 302


def test_a_closed_sheet_is_not_offered_but_kept_where_it_is(owner_client, sheet, asked):
    type(sheet).objects.filter(pk=sheet.pk).update(closed_on=day())
    new = look(owner_client, "/commissions/new/")
    edit = look(owner_client, "/commissions/C-101/edit/")
    assert sheet.name not in new.one("select", name="sheet").text
    assert sheet.name in edit.one("select", name="sheet").text


def test_a_link_brings_sheet_and_client_along(owner_client, sheet):
    page = look(owner_client, "/commissions/new/", sheet=sheet.pk, good_quantity=30)
    assert form_data(page)["sheet"] == str(sheet.pk)
    assert form_data(page)["good_quantity"] == "30"


# --- the panel beside the form


def panel(client, address="/commissions/new/", /, **changes):
    data = form_data(look(client, address), **changes)
    return client.post(address, data, headers={"HX-Request": "true"}).content.decode()


def test_the_panel_answers_from_sheet_number_and_day_alone(owner_client, fibre, sheet):
    make_lot(fibre)
    before = Entry.objects.count()
    text = panel(owner_client, **given(sheet, title="", new_client=""))
    assert '<span class="mark covered">Covered</span>' in text
    assert "Cost of a good sheet" in text
    assert not Commission.objects.exists()
    assert Entry.objects.count() == before


def test_the_panel_says_what_is_short(owner_client, sheet):
    text = panel(owner_client, **given(sheet))
    assert '<span class="mark short">Short</span>' in text
    assert "Abaca sheet pulp, short by" in text


def test_the_panel_goes_by_what_is_typed_not_by_what_is_kept(owner_client, fibre, asked):
    make_lot(fibre)
    text = panel(owner_client, "/commissions/C-101/edit/", good_quantity=9000)
    assert "9000" in text
    assert '<span class="mark short">Short</span>' in text


def test_the_panel_says_whose_fibre_it_would_take(owner_client, fibre, sheet, asked):
    make_lot(fibre, as_is_mg=1_000_000)
    assert "C-101 would be short" in panel(owner_client, **given(sheet, priority=1))


def test_the_panel_waits_until_there_is_something_to_reckon(owner_client, sheet):
    assert "Not reckoned yet." in panel(owner_client, **given(sheet, good_quantity=""))


def test_the_panel_says_why_a_sheet_cannot_be_reckoned(owner_client, sheet):
    sheet.furnish.parts.all().delete()
    assert "has no fibre yet" in panel(owner_client, **given(sheet))


def test_without_script_a_button_works_it_out(owner_client, sheet):
    answer = post(owner_client, "/commissions/new/", **given(sheet, work_out="1"))
    assert "Good sheets covered" in answer.content.decode()
    assert not Commission.objects.exists()


def test_the_answer_of_page_command_and_json_is_one(owner_client, fibre, asked):
    from io import StringIO

    from django.core.management import call_command

    make_lot(fibre, as_is_mg=1 * KG // 2)
    out = StringIO()
    call_command("cover", "C-101", json=True, stdout=out)
    (row,) = json.loads(out.getvalue())["commissions"]
    text = said(look(owner_client, "/commissions/C-101/"))
    assert f"{row['covered_sheets']} of {row['wanted']} good sheets" in text
    assert f"{row['short'][0]['oven_dry_g'] / 1000:.3f} kg oven-dry" in text
