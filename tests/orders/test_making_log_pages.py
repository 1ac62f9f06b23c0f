"""The log on a phone: what stands on it, its short forms, and where it leads on to."""

from __future__ import annotations

import re
import uuid
from decimal import Decimal
from unittest.mock import patch

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from orders.makings import log, weighing
from orders.makings.finish import finish
from orders.models import Making
from studio.models import Entry
from studio.reading import read_quantity
from studio.units import show_mass, to_mg
from tests.builders import (
    KG,
    day,
    make_commission,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
)
from tests.orders.taps import key_of, number_at, page_of, tap
from tests.orders.vatdays import broke_fibre, count, logged, making_and_lot
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db


def send(client, route: str, making, **fields):
    given = {"request_key": str(uuid.uuid4()), **fields}
    return client.post(reverse(route, args=[making.ref]), given, follow=True)


def test_a_planned_making_is_started_from_its_log(hand_client):
    making = make_making(commission=make_commission())
    sent = {"page_key": key_of(hand_client, making)}
    answer = hand_client.post(reverse("making_start", args=[making.ref]), sent, follow=True)
    assert "is at the vat" in answer.content.decode()
    making.refresh_from_db()
    assert making.state == Making.State.AT_THE_VAT


def test_a_closed_tab_loses_nothing(hand_client, owner_client):
    making, lot = making_and_lot()
    tap(hand_client, making, "count:pulls:5")
    send(hand_client, "making_issue", making, lot=lot.pk, mass="2 kg")
    answer = owner_client.get(log.page_of(making))
    assert number_at(answer, "count-pulls") == "5"
    assert lot.ref in answer.content.decode()


def test_an_issue_takes_the_book_s_moisture_where_none_is_given(hand_client):
    making, lot = making_and_lot()
    answer = send(hand_client, "making_issue", making, lot=lot.pk, mass="2 kg")
    assert "1.84\u00a0kg oven-dry" in answer.content.decode()
    assert making.issues.get().by is not None


def test_more_than_the_lot_holds_comes_back_to_the_form(hand_client):
    making, lot = making_and_lot()
    answer = send(hand_client, "making_issue", making, lot=lot.pk, mass="20 kg")
    assert "Give 10.00\u00a0kg or less" in answer.content.decode()
    assert not making.issues.exists()


def test_a_lot_that_the_commission_excludes_is_not_offered(hand_client):
    commission = make_commission(no_scrap=True)
    making = log.start(make_making(commission=commission), by=None)
    scrap = make_lot(broke_fibre())
    answer = send(hand_client, "making_issue", making, lot=scrap.pk, mass="1 kg")
    assert "Choose one of those offered" in answer.content.decode()
    assert not making.issues.exists()


def test_the_form_starts_from_what_the_making_sheet_asks_for(hand_client):
    making, lot = making_and_lot()
    words = hand_client.get(reverse("making_issue", args=[making.ref])).content.decode()
    assert "The making sheet still asks for" in words
    assert lot.ref in words


def offered(client, making, route: str, field: str, **asked: str) -> str:
    """Return what a form of the log starts from in one of its fields."""
    page = Page(client.get(reverse(route, args=[making.ref]), asked).content.decode())
    return page.one("input", name=field).attrs.get("value", "")


def unit_offered(client, making) -> str:
    page = Page(client.get(reverse("making_issue", args=[making.ref])).content.decode())
    return next(
        one.attrs["value"]
        for one in page.all("option")
        if "selected" in one.attrs and one.attrs["value"] in {"kg", "lb"}
    )


@pytest.mark.parametrize(
    ("units", "words", "unit"),
    # 120 pulls of 7.035336 g over 96 % that stays, one trial pull more or not, and the usual heel.
    [("metric", r"[0-9]\.[0-9]{1,2}", "kg"), ("US", r"[0-9]\xa0lb\xa0[0-9.]{3,4}\xa0oz", "lb")],
)
def test_the_mass_to_weigh_is_written_as_a_person_writes_it(hand_client, units, words, unit):
    make_studio(units=units)
    making, _ = making_and_lot()
    wanted = weighing.still_to_weigh(making, day())[0].as_is_mg
    text = offered(hand_client, making, "making_issue", "mass")
    assert re.fullmatch(words, text)
    assert unit_offered(hand_client, making) == unit
    typed = to_mg(read_quantity(text, "mass", field="mass", unit=unit))
    # Never less than is needed, and by less than the last figure more: 10 g, or a tenth of an oz.
    assert wanted <= typed < wanted + 10_000


def test_a_lot_that_is_partly_weighed_says_what_is_still_to_weigh(hand_client):
    making, lot = making_and_lot()
    wanted = weighing.still_to_weigh(making, day())[0].as_is_mg
    log.issue(making, lot, as_is_mg=wanted // 4, by=None)
    rest = weighing.still_to_weigh(making, day())[0].as_is_mg
    assert abs(rest - (wanted - wanted // 4)) < 1000
    shown = show_mass(weighing.rounded_up(rest))
    page = page_of(hand_client, making)
    assert f"{shown} as is still to weigh" in page.one("section", id="issues").text
    log.issue(making, lot, as_is_mg=rest, by=None)
    assert "still to weigh" not in page_of(hand_client, making).one("section", id="issues").text


def test_weighing_out_comes_first_until_something_is_counted(hand_client):
    making, _ = making_and_lot()

    def order():
        return [one.attrs.get("id") for one in page_of(hand_client, making).all("section")][:2]

    assert order() == ["issues", "taps"]
    log.tap(making, "pulls", post=1, by=None)
    assert order() == ["taps", "issues"]


def test_finishing_stands_at_the_end_of_the_page_alone(hand_client):
    making = logged()
    page = page_of(hand_client, making)
    link = reverse("making_finish", args=[making.ref])
    links = [one for one in page.all("a") if one.attrs.get("href") == link]
    assert len(links) == 1
    *_, last, worked = page.all("section")
    assert last.attrs["id"] == "finish"
    # What follows is read, and nothing in it is pressed.
    assert "explained" in worked.attrs["class"]
    following = page.elements[page.elements.index(worked) :]
    assert not [one for one in following if one.tag == "form" and "main" in one.inside]
    assert "Finish the making" in page.one("section", id="finish").text


@pytest.mark.parametrize(
    ("pulls", "said"), [(1, "1 of 1 pull; 0 good"), (2, "1 of 2 pulls; 0 good")]
)
def test_one_is_said_as_one(hand_client, pulls: int, said: str):
    making = log.start(make_making(pulls=pulls, wanted_good=1), by=None)
    log.tap(making, "pulls", post=1, by=None)
    words = page_of(hand_client, making).one("main").text
    assert said in words
    assert f"1 of {pulls} pull{'s' if pulls > 1 else ''} in all posts" in words


def test_an_addition_entered_on_a_new_form_keeps_its_bottle(hand_client):
    making, _ = making_and_lot()
    log.dose(making, "Chalk", kind="filler", mass_mg=100_000, bottle="K 7", by=None)
    given = {"name": "chalk", "kind": "filler", "mass": "154 g", "bottle": ""}
    send(hand_client, "making_dose", making, **given)
    assert (making.doses.get().mass_mg, making.doses.get().bottle) == (154_000, "K 7")
    # On the form that shows the bottle an emptied field takes it off.
    assert offered(hand_client, making, "making_dose", "bottle", name="Chalk") == "K 7"
    address = f"{reverse('making_dose', args=[making.ref])}?name=Chalk"
    hand_client.post(address, {"request_key": str(uuid.uuid4()), **given})
    assert making.doses.get().bottle == ""


def test_a_finished_log_leads_on(hand_client, viewer_client):
    commission = make_commission()
    lot = make_lot(moisture="0.08")
    making = log.start(make_making(commission=commission), by=None)
    log.issue(making, lot, as_is_mg=2 * KG, by=None)
    count(making, pulls=10, good=10)
    own = broke_fibre()
    log.note_broke(making, as_is_mg=KG // 10, moisture=Decimal("0.65"), fibre=own, by=None)
    log.note_heel(
        making, Making.Heel.KEPT, fibre=own, as_is_mg=KG, moisture=Decimal("0.85"), by=None
    )
    done = finish(making, by=None)

    def links(client):
        return [one.attrs.get("href", "") for one in page_of(client, done).all("a")]

    sends = reverse("delivery_new", args=[commission.ref])
    labels = [reverse("lot_label", args=[one.ref]) for one in (done.broke_lot, done.heel_lot)]
    again = reverse("making_repeat", args=[done.ref])
    assert {sends, *labels, again, "#balance"} <= set(links(hand_client))
    seen = set(links(viewer_client))
    assert {*labels, "#balance"} <= seen
    assert not {sends, again} & seen


def test_what_was_weighed_out_is_put_back_by_one_tap(hand_client):
    making, lot = making_and_lot()
    found = log.issue(making, lot, as_is_mg=KG, by=None)
    back = reverse("making_issue_back", args=[making.ref, found.pk])
    hand_client.post(back, {"page_key": key_of(hand_client, making)})
    assert not making.issues.exists()


def test_litres_thrown_away_hold_what_the_consistency_says(hand_client):
    making, _ = making_and_lot()
    Making.objects.filter(pk=making.pk).update(consistency=Decimal("0.005"))
    send(hand_client, "making_heel", making, heel="thrown", litres="60", litres_unit="L")
    making.refresh_from_db()
    # H5: a vat of 60 L at 0.5 % holds 300 g.
    assert (making.heel_as_is_mg, making.heel_moisture) == (60 * KG, Decimal("0.995"))


def charged_from_the_draw():
    """Start a making of 100 g/m², all fibre, with a mould that draws 20 mm: 5 g/L."""
    mould = make_mould(width_um=210_000, height_um=297_000, draw_um=20_000)
    sheet = make_sheet(
        make_furnish(shrinkage=("0", "0"), drying="restraint"), mould=mould, width_um=210_000,
        height_um=297_000, grammage=100, sheet_moisture=0, non_fibre_share=0,
    )  # fmt: skip
    return log.start(make_making(sheet, mould=mould), by=None)


def test_litres_thrown_away_hold_what_the_sheet_charged_from_the_draw(hand_client):
    make_studio(vat_consistency=Decimal("0.003"))
    making = charged_from_the_draw()
    send(hand_client, "making_heel", making, heel="thrown", litres="60", litres_unit="L")
    making.refresh_from_db()
    assert (making.heel_as_is_mg, making.heel_moisture) == (60 * KG, Decimal("0.995"))


def test_weighed_sheet_starts_from_what_the_vat_was_charged_with(hand_client):
    making = charged_from_the_draw()

    def offered():
        address = reverse("making_trial", args=[making.ref])
        fields = Page(hand_client.get(address).content.decode()).all("input")
        return next(one.attrs for one in fields if one.attrs.get("name") == "consistency")

    assert offered()["value"] == "0.5"
    # Of a later pull nobody knows it but who measured it.
    log.tap(making, "pulls", post=1, change=9, by=None)
    assert not offered().get("value")


def test_dose_sheet_broke_and_minutes_are_noted_on_their_forms(hand_client):
    making, _ = making_and_lot()
    own = broke_fibre()
    send(hand_client, "making_dose", making, name="Chalk", kind="filler", mass="154 g")
    send(hand_client, "making_trial", making, mass="7.5 g", moisture="6", number="1", size="A4")
    send(hand_client, "making_broke", making, mass="1 kg", moisture="65", fibre=own.pk)
    send(hand_client, "making_spend", making, operation="sort", minutes="7.5", way="add")
    answer = hand_client.get(log.page_of(making))
    for said in ("154", "7.50\u00a0g", "0.350\u00a0kg oven-dry"):
        assert said in answer.content.decode()
    assert number_at(answer, "minutes-sort") == "7.5"


def test_finishing_shows_the_sum_and_then_posts_it(hand_client):
    making = logged()
    shown = hand_client.get(reverse("making_finish", args=[making.ref])).content.decode()
    assert "Lost in preparation and forming" in shown
    assert not Entry.objects.filter(act="finish making").exists()
    answer = send(hand_client, "making_finish", making, happened_on=day().isoformat())
    assert "is finished, and the store is up to date" in answer.content.decode()
    assert Entry.objects.filter(act="finish making").count() == 1


def test_a_finish_sent_twice_leads_to_what_the_first_did(hand_client):
    making, key = logged(), str(uuid.uuid4())
    for _ in range(2):
        answer = send(
            hand_client, "making_finish", making, request_key=key, happened_on=day().isoformat()
        )
    assert "entered already" in answer.content.decode()
    assert Entry.objects.filter(act="finish making").count() == 1


def test_what_keeps_it_from_being_finished_stands_on_the_page(hand_client):
    making, _ = making_and_lot()
    answer = send(hand_client, "making_finish", making, happened_on=day().isoformat())
    assert "Nothing has been weighed out for it" in answer.content.decode()
    making.refresh_from_db()
    assert making.state == Making.State.AT_THE_VAT


def test_too_much_is_accepted_with_a_tick(hand_client):
    making = logged(as_is_mg=KG // 2)
    given = {"happened_on": day().isoformat()}
    assert "More came out" in send(hand_client, "making_finish", making, **given).content.decode()
    send(hand_client, "making_finish", making, **given, accept_over="on")
    making.refresh_from_db()
    assert making.state == Making.State.FINISHED


def test_a_finished_log_shows_corrections_to_the_owner_alone(owner_client, hand_client, owner):
    done = finish(logged(), by=owner)
    pk = done.issues.get().movement_id
    link = reverse("movement_correct", args=[pk])
    assert link in owner_client.get(log.page_of(done)).content.decode()
    assert link not in hand_client.get(log.page_of(done)).content.decode()


def test_a_viewer_reads_the_log_and_finds_no_button(viewer_client):
    making, _ = making_and_lot()
    count(making, pulls=3)
    page = page_of(viewer_client, making)
    taps = [one for one in page.all("button") if one.attrs.get("name") == "tap"]
    assert taps == []
    assert "3 of 120 pulls" in page.one("main").text


def queries_for(client, posts: int) -> int:
    making, lot = making_and_lot()
    for _ in range(posts):
        log.issue(making, lot, as_is_mg=KG // 20, by=None)
        log.dose(making, f"Colour {making.doses.count()}", kind="pigment", mass_mg=1000, by=None)
        log.tap(making, "pulls", post=making.posts.count(), by=None)
        log.begin_post(making, by=None)
    with CaptureQueriesContext(connection) as asked:
        client.get(log.page_of(making))
    return len(asked)


def test_the_log_takes_the_same_queries_however_long_it_is(hand_client):
    hand_client.get("/")
    assert queries_for(hand_client, 1) == queries_for(hand_client, 12)


def test_no_lots_are_looked_for_once_all_is_weighed_out(hand_client):
    making, lot = making_and_lot()
    wanted = weighing.still_to_weigh(making, day())[0].as_is_mg
    log.issue(making, lot, as_is_mg=wanted, by=None)
    with patch.object(weighing, "sheet_of") as looked:
        hand_client.get(log.page_of(making))
    looked.assert_not_called()


def test_what_some_answers_need_is_not_called_optional(hand_client):
    making = logged()

    def label(route: str, of: str) -> str:
        page = Page(hand_client.get(reverse(route, args=[making.ref])).content.decode())
        return " ".join(page.one("label", for_=of).text.split())

    assert label("making_heel", "id_moisture") == "Moisture needed if kept"
    assert label("making_heel", "id_litres") == "Or volume thrown away optional"
    assert label("making_broke", "id_fibre") == "Kept as needed if kept"
    finish(making, by=None)
    assert label("sheets_count", "id_why") == "Why it differs needed if it does"
