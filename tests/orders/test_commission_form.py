import json
import re

import pytest

from orders.models import Client, Commission
from studio.models import Entry
from tests.builders import KG, day, make_client, make_lot
from tests.orders.looking import form_data, look, said
from tests.studio.pages import Page, uncoded

State = Commission.State


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
        ({"good_quantity": "0"}, "Give 1 or more, got 0\u00a0sheets."),
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
        ({"priority": "10"}, "Give 9 or fewer, got 10."),
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
    answer = post(owner_client, "/commissions/new/", **given(sheet, good_quantity="many"))
    page = Page(answer.content.decode())
    assert page.one("input", name="good_quantity").attrs["value"] == "many"
    assert page.one("input", name="title").attrs["value"] == "Song sheets"
    assert "It is not entered yet." in said(page)


def test_two_clients_are_one_too_many(owner_client, sheet):
    known = make_client()
    answer = post(owner_client, "/commissions/new/", **given(sheet, client=known.pk))
    assert "not both" in answer.content.decode()


def sent_again(client, answer, /):
    """Send the page once more as it came back: it says what another person did meanwhile."""
    return client.post("/commissions/C-101/edit/", form_data(Page(answer.content.decode())))


def test_a_commission_is_changed_and_keeps_its_state(owner_client, asked):
    data = form_data(look(owner_client, "/commissions/C-101/edit/"), good_quantity=40)
    # Meanwhile somebody begins to make it.
    Commission.objects.filter(pk=asked.pk).update(state=State.MAKING)
    answer = owner_client.post("/commissions/C-101/edit/", data)
    assert sent_again(owner_client, answer).status_code == 302
    asked.refresh_from_db()
    assert (asked.good_quantity, asked.state) == (40, State.MAKING)


def test_what_is_over_is_not_changed(owner_client, asked):
    data = form_data(look(owner_client, "/commissions/C-101/edit/"), good_quantity=40)
    Commission.objects.filter(pk=asked.pk).update(state=State.SENT)
    answer = sent_again(owner_client, owner_client.post("/commissions/C-101/edit/", data))
    asked.refresh_from_db()
    assert "C-101 is sent, so nothing in it is changed any more." in uncoded(
        answer.content.decode()
    )
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


def test_the_panel_costs_the_lot_that_the_page_sets_aside(owner_client, fibre, asked):
    # Either lot is enough; the plan takes the cheaper, which came later.
    make_lot(fibre, paid_minor=90_000, received_on=day(9))
    make_lot(fibre, paid_minor=900, received_on=day(2))
    text = panel(owner_client, "/commissions/C-101/edit/")
    (each,) = re.findall(
        r"It costs (\S+) a good sheet", said(look(owner_client, "/commissions/C-101/"))
    )
    assert f">{each}<" in text


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
    text = panel(owner_client, **given(sheet, priority=1)).replace("</span>", "")
    assert "C-101 would be short" in text


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


def test_a_closed_client_is_not_taken_by_its_name(owner_client, sheet):
    known = make_client(name="Harbour Songbook", closed_on=day())
    answer = post(owner_client, "/commissions/new/", **given(sheet))
    assert "Harbour Songbook is closed. Open it again under Clients" in answer.content.decode()
    assert not known.commissions.exists()


def test_both_client_fields_say_that_one_of_them_is_needed(owner_client, sheet):
    text = said(look(owner_client, "/commissions/new/"))
    assert "This or a new client below; one of the two is needed." in text
    assert "Where none is chosen above: a name not in the list yet." in text
