"""What a client limits: the form, the door in services, the live panel and the page."""

from datetime import date

import pytest
from django.utils import timezone

from orders import services
from orders.models import Commission
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import (
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_offer,
    make_purchase,
    make_sheet,
    make_studio,
)
from tests.orders.looking import form_data, look, said, same_queries_for_1_and_20
from tests.studio.pages import uncoded

EDIT = "/commissions/C-101/edit/"


@pytest.fixture
def lot(fibre):
    return make_lot(fibre)


def send(client, address=EDIT, /, *, lots=(), **changes):
    data = form_data(look(client, address), **changes)
    return client.post(address, {**data, "only_lots": [lot.pk for lot in lots]})


def panel(client, /, *, lots=(), **changes):
    data = {**form_data(look(client, EDIT), **changes), "only_lots": [lot.pk for lot in lots]}
    return client.post(EDIT, data, headers={"HX-Request": "true"}).content.decode()


def offered(page):
    return {box.attrs["value"] for box in page.all("input", name="only_lots")}


# --- the form


def test_all_limits_are_kept(owner_client, asked, lot):
    other = make_lot(lot.fibre)
    answer = send(
        owner_client, lots=[lot, other], no_scrap="on", all_or_nothing="on",
        not_before=day(-5).isoformat(),
    )  # fmt: skip
    assert answer.status_code == 302
    asked.refresh_from_db()
    assert set(asked.only_lots.all()) == {lot, other}
    assert (asked.no_scrap, asked.all_or_nothing, asked.not_before) == (True, True, day(-5))
    assert Entry.objects.filter(act="changed commission").count() == 1


def test_a_new_commission_is_entered_with_its_lots(owner_client, sheet, lot):
    answer = send(
        owner_client, "/commissions/new/", lots=[lot], new_client="Harbour Songbook",
        title="Song sheets", sheet=sheet.pk, good_quantity=10, due=day(-20).isoformat(),
        state="agreed",
    )  # fmt: skip
    assert answer.status_code == 302
    assert list(Commission.objects.get().only_lots.all()) == [lot]


def test_no_lot_ticked_is_any_lot(owner_client, asked, lot):
    asked.only_lots.add(lot)
    assert send(owner_client, lots=[]).status_code == 302
    assert not asked.only_lots.exists()


def test_lots_with_fibre_left_of_this_sheet_and_those_chosen_are_listed(
    owner_client, asked, fibre, lot
):
    gone, chosen, other = make_lot(fibre), make_lot(fibre), make_lot()
    type(lot).objects.filter(pk__in=[gone.pk, chosen.pk]).update(oven_dry_mg=0)
    asked.only_lots.add(chosen)
    page = look(owner_client, EDIT)
    assert offered(page) == {str(lot.pk), str(chosen.pk)}
    ticked = [
        b.attrs["value"] for b in page.all("input", name="only_lots") if "checked" in b.attrs
    ]
    assert ticked == [str(chosen.pk)]
    assert f"{lot.ref}, 9.20 kg left" in said(page)
    # Before a sheet is chosen every lot with something in it is there to choose.
    assert offered(look(owner_client, "/commissions/new/")) == {str(lot.pk), str(other.pk)}


def test_lots_of_what_may_stand_in_are_listed(owner_client, asked, sheet):
    stand_in = make_lot()
    sheet.furnish.parts.get().substitutes.add(stand_in.fibre)
    assert offered(look(owner_client, EDIT)) == {str(stand_in.pk)}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"not_before": day(-60).isoformat()}, "This is after the day due. Give an earlier day."),
        ({"not_before": "soon"}, "Give a day such as"),
        ({"only_lots": ["99999"]}, "Choose one of those offered."),
        ({"only_lots": ["x"]}, "Choose one of those offered."),
    ],
)
def test_limits_that_cannot_be_are_said_once(owner_client, asked, changes, sentence):
    data = {**form_data(look(owner_client, EDIT)), **changes}
    text = owner_client.post(EDIT, data).content.decode()
    assert sentence in text
    assert "Put one thing right" in text
    assert not Entry.objects.exists()


def test_it_may_be_made_on_the_day_due(owner_client, asked):
    assert send(owner_client, not_before=asked.due.isoformat()).status_code == 302


@pytest.mark.parametrize("least", [None, "0.1", "0"])
def test_lots_have_to_hold_every_fibre_that_is_needed(owner_client, fibre, lot, least):
    linter = make_fibre(name="Linter")
    furnish = make_furnish({fibre: "0.6", linter: "0.4"})
    furnish.parts.filter(fibre=linter).update(least=least)
    furnish.parts.filter(fibre=fibre).update(most="1")
    make_commission(make_sheet(furnish, name="Print"), ref="C-101")
    answer = send(owner_client, lots=[lot])
    if least == "0":
        assert answer.status_code == 302
        return
    assert (
        "None of these lots holds Linter, and Print cannot be made without. Tick one of it as "
        "well, or none at all." in answer.content.decode()
    )
    assert send(owner_client, lots=[lot, make_lot(linter)]).status_code == 302


def test_lots_that_somebody_else_chose_meanwhile_are_told(owner_client, asked, lot):
    data = form_data(look(owner_client, EDIT), title="New title")
    asked.only_lots.add(lot)
    text = uncoded(owner_client.post(EDIT, data).content.decode())
    assert "Somebody changed this after the page was opened." in text
    assert f"Only these lots: {lot.ref}" in text
    asked.refresh_from_db()
    assert asked.title == "Song sheets"


# --- the door


def test_lots_are_left_be_where_nothing_is_said_of_them(asked, lot):
    asked.only_lots.add(lot)
    services.enter_commission(asked, by=None)
    assert list(asked.only_lots.all()) == [lot]


def test_an_empty_lot_is_refused_and_nothing_is_written(asked, lot):
    type(lot).objects.filter(pk=lot.pk).update(oven_dry_mg=0)
    asked.title = "Changed"
    with pytest.raises(StudioError, match=f"{lot.ref} has nothing left") as refusal:
        services.enter_commission(asked, by=None, only_lots=[lot])
    assert refusal.value.field == "only_lots"
    asked.refresh_from_db()
    assert asked.title == "Song sheets"
    assert not asked.only_lots.exists()


def test_a_lot_that_ran_out_since_stays_chosen(asked, lot):
    asked.only_lots.add(lot)
    type(lot).objects.filter(pk=lot.pk).update(oven_dry_mg=0)
    services.enter_commission(asked, by=None, only_lots=[lot])
    assert list(asked.only_lots.all()) == [lot]


# --- the panel


def test_the_panel_goes_by_the_lots_that_are_ticked_not_by_those_kept(
    owner_client, asked, fibre, lot
):
    small = make_lot(fibre, as_is_mg=10_000)
    asked.only_lots.add(small)
    assert '<span class="mark short">Short</span>' in panel(owner_client, lots=[small])
    assert '<span class="mark covered">Covered</span>' in panel(owner_client, lots=[lot])
    assert '<span class="mark covered">Covered</span>' in panel(owner_client, lots=[])
    assert list(asked.only_lots.all()) == [small]


# --- the page


def test_the_page_tells_every_limit(owner_client, asked, lot):
    asked.only_lots.add(lot)
    asked.no_scrap = asked.all_or_nothing = True
    asked.not_before = asked.due
    asked.save()
    text = said(look(owner_client, "/commissions/C-101/"))
    for words in (
        "No scrap or broke in it", f"Only these lots{lot.ref}", "Not made before",
        "Without all its fibre none is set aside",
    ):  # fmt: skip
        assert words in text


def test_the_page_leads_to_the_purchase_that_fibre_comes_with(owner_client, asked, fibre):
    make_purchase(make_offer(fibre), expected_on=day(-1))
    page = look(owner_client, "/commissions/C-101/")
    (link,) = [one for one in page.all("a") if one.text == "P-001/1"]
    assert link.attrs["href"] == "/purchases/P-001/"
    assert "of P-001/1, on its way" in said(page)


def test_the_page_without_limits_names_none(owner_client, asked):
    text = said(look(owner_client, "/commissions/C-101/"))
    for words in ("Only these lots", "Not made before", "not at all"):
        assert words not in text


@pytest.mark.parametrize(
    ("changes", "preparation", "sentence"),
    [
        ({}, 0, "Fibre needed bySat 27 Mar: 7 days to form, dry and pack"),
        ({}, 1, "Fri 26 Mar: 7 days to form, dry and pack, 1 day to prepare it"),
        ({"not_before": date(2027, 3, 31)}, 0, "Wed 31 Mar: it is not made before then"),
    ],
)
def test_the_page_says_by_when_fibre_is_needed(
    owner_client, asked, fibre, monkeypatch, changes, preparation, sentence
):
    # Scenario H1: due on 3 April, 7 days to make and dry.
    monkeypatch.setattr(timezone, "localdate", lambda: date(2027, 3, 1))
    make_studio(making_days=7)
    type(fibre).objects.update(preparation_days=preparation)
    Commission.objects.update(due=date(2027, 4, 3), **changes)
    assert sentence in said(look(owner_client, "/commissions/C-101/"))


def test_what_is_over_needs_no_fibre(owner_client, asked):
    Commission.objects.update(state=Commission.State.SENT)
    assert "Fibre needed by" not in said(look(owner_client, "/commissions/C-101/"))


def test_the_form_asks_the_database_as_often_for_20_lots_as_for_1(owner_client, asked, fibre):
    same_queries_for_1_and_20(owner_client, EDIT, lambda: asked.only_lots.add(make_lot(fibre)))
