"""The pages of makings: the list, planning one, its page, its sheet for the wall, giving it up."""

from decimal import Decimal

import pytest
from django.urls import reverse

from fibres.models import Drying
from orders.models import Commission, Making
from studio.qr import qr_path
from tests.builders import (
    day,
    make_commission,
    make_dryer,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
    make_vat,
)
from tests.orders.looking import form_data, heads, look, said, same_queries_for_1_and_20
from tests.studio.pages import Page

pytestmark = pytest.mark.django_db


@pytest.fixture
def linter():
    return make_fibre(name="Linter", family="seed hair", preparation_yield=Decimal("0.98"))


@pytest.fixture
def sheet(linter):
    make_studio(trial_pulls=2)
    return make_sheet(make_furnish({linter: "1"}), name="Text A4")


@pytest.fixture
def commission(sheet):
    return make_commission(sheet, ref="C-101", title="Song sheets", good_quantity=51)


@pytest.fixture
def making(commission, linter):
    lot = make_lot(linter, place="shelf B2")
    made = make_making(commission=commission, wanted_good=51, pulls=61, vat=make_vat())
    made.lot = lot
    return made


def plan(client, query="", **typed):
    address = reverse("making_new")
    page = look(client, f"{address}{query}")
    return client.post(address, form_data(page, **typed))


# --- pulls that cannot be enough -----------------------------------------------------------------


def ticks(page):
    return page.all("input", name="is_right")


def test_far_too_few_pulls_are_asked_about_and_kept_with_a_tick(owner_client, sheet):
    query = f"?sheet={sheet.pk}"
    answer = plan(owner_client, query, wanted_good=120, pulls=5)
    page = Page(answer.content.decode())
    # By hand: of 5 pulls 8 % are broke and 4 % retree as usual, which leaves 4.4 sheets.
    assert "5 pulls give about 4 good sheets, and 120 are wanted." in said(page)
    assert "left empty, that is taken. If it is right, tick so below." in said(page)
    assert "Good sheets on average" in said(page)
    assert not Making.objects.exists()

    (tick,) = ticks(page)
    assert "checked" not in tick.attrs
    plan(owner_client, query, wanted_good=120, pulls=5, is_right=tick.attrs["value"])
    made = Making.objects.get()
    assert made.pulls == 5
    assert "in 5 pulls, which give about 4." in said(look(owner_client, made.get_absolute_url()))
    # What was kept all the same stands on its page and on its sheet for the wall.
    for address in (made.get_absolute_url(), reverse("making_sheet", args=[made.ref])):
        assert "5 pulls give about 4 good sheets, and 120 are wanted." in said(
            look(owner_client, address)
        )


def test_pulls_that_may_just_be_enough_are_not_asked_about(owner_client, sheet):
    plan(owner_client, f"?sheet={sheet.pk}", wanted_good=120, pulls=120)
    made = Making.objects.get()
    words = said(look(owner_client, made.get_absolute_url()))
    assert "120 pulls give about 105 good sheets, and 120 are wanted." in words


def test_enough_pulls_bring_no_doubt(owner_client, sheet):
    plan(owner_client, f"?sheet={sheet.pk}", wanted_good=120, pulls=137)
    page = look(owner_client, Making.objects.get().get_absolute_url())
    assert "good sheets, and 120" not in said(page)


# --- the list ------------------------------------------------------------------------------------


def test_open_makings_stand_first_the_next_before_the_later(owner_client, sheet):
    for ref, state, ahead in (
        ("M-001", "finished", 9), ("M-002", "planned", 5), ("M-003", "at the vat", 1),
        ("M-004", "given up", 3),
    ):  # fmt: skip
        make_making(sheet, ref=ref, state=state, planned_on=day(-ahead))
    page = look(owner_client, reverse("makings"))
    refs = [head.split()[0] for head in heads(page, "Makings")]
    assert refs == ["M-003", "M-002", "M-001", "M-004"]
    assert said(page).count("At the vat: M-003.") == 1
    assert [mark.text for mark in page.all("span", class_="mark")] == [
        "At the vat", "Planned", "Finished", "Given up",
    ]  # fmt: skip


def test_the_list_is_a_room_of_the_house(viewer_client):
    page = look(viewer_client, reverse("makings"))
    (room,) = [link for link in page.all("a") if link.attrs.get("aria-current") == "page"]
    assert (room.text, room.attrs["href"]) == ("Making", reverse("makings"))
    assert "Plan a making" not in said(page)


def test_the_list_can_be_narrowed(owner_client, sheet, commission):
    make_making(sheet, ref="M-001", state="finished")
    make_making(commission=commission, ref="M-002")
    page = look(owner_client, reverse("makings"), state="open")
    assert [head.split()[0] for head in heads(page, "Makings")] == ["M-002"]
    page = look(owner_client, reverse("makings"), words="song")
    assert [head.split()[0] for head in heads(page, "Makings")] == ["M-002"]


def test_the_list_asks_as_often_for_many(owner_client, sheet):
    same_queries_for_1_and_20(owner_client, reverse("makings"), lambda: make_making(sheet))


# --- planning ------------------------------------------------------------------------------------


def test_a_hand_plans_a_making_for_a_commission(hand_client, commission):
    mould = make_mould(name="A4 mould")
    commission.sheet.mould = mould
    commission.sheet.broke, commission.sheet.retree = Decimal("0.1"), Decimal(0)
    commission.sheet.save()
    vat, dryer = make_vat(), make_dryer()
    make_dryer(drying=Drying.LOFT)
    answer = plan(hand_client, "?commission=C-101")
    (made,) = Making.objects.all()
    assert answer["Location"] == made.get_absolute_url()
    assert (made.ref, made.commission, made.sheet) == ("M-001", commission, commission.sheet)
    # Published, as in test_calc_culls: 61 pulls give 51 good at 90 % with 95 % assurance.
    assert (made.wanted_good, made.pulls) == (51, 61)
    assert (made.mould, made.drying, made.vat, made.dryer) == (mould, "restraint", vat, dryer)


def test_a_making_can_be_planned_for_the_studio_itself(owner_client, sheet):
    plan(owner_client, f"?sheet={sheet.pk}", wanted_good=20, pulls=25)
    (made,) = Making.objects.all()
    assert (made.commission, made.sheet, made.pulls) == (None, sheet, 25)


def test_a_making_needs_a_sheet(owner_client, sheet):
    answer = plan(owner_client, wanted_good=20)
    assert "Choose the sheet, or a commission above." in answer.content.decode()
    assert not Making.objects.exists()


def test_only_promises_are_offered(owner_client, sheet):
    make_commission(sheet, ref="C-555", state=Commission.State.ENQUIRY)
    make_commission(sheet, ref="C-556")
    page = look(owner_client, reverse("making_new"))
    offered = page.one("select", name="commission").text
    assert "C-556" in offered
    assert "C-555" not in offered


def test_a_dryer_that_dries_another_way_is_refused(owner_client, sheet):
    loft = make_dryer(name="The loft", drying=Drying.LOFT)
    answer = plan(owner_client, f"?sheet={sheet.pk}", wanted_good=20, dryer=loft.pk)
    assert "The loft dries another way: loft, hung free." in answer.content.decode()


def test_a_mould_that_does_not_go_into_the_vat_is_refused(owner_client, sheet):
    mould = make_mould(name="Broadside", width_um=572_000, height_um=780_000)
    vat = make_vat(name="Card vat", width_um=450_000, height_um=400_000)
    answer = plan(owner_client, f"?sheet={sheet.pk}", wanted_good=20, mould=mould.pk, vat=vat.pk)
    assert "Broadside does not go into Card vat." in answer.content.decode()


def test_the_smallest_vat_that_takes_the_mould_is_offered(owner_client, sheet):
    sheet.mould = make_mould(width_um=300_000, height_um=500_000)
    sheet.save()
    make_vat(width_um=1_000_000, height_um=800_000)
    fits = make_vat(width_um=510_000, height_um=400_000)
    make_vat(width_um=450_000, height_um=400_000)
    plan(owner_client, f"?sheet={sheet.pk}", wanted_good=20)
    assert Making.objects.get().vat == fits


def test_stuff_no_thicker_than_the_vat_is_refused_beside_its_field(owner_client, sheet):
    answer = plan(
        owner_client, f"?sheet={sheet.pk}", wanted_good=20, consistency="3", thick_consistency="2"
    )
    assert "Top up with thicker stuff." in answer.content.decode()
    assert not Making.objects.exists()


def test_the_panel_works_out_the_fibre_and_enters_nothing(owner_client, sheet):
    answer = plan(owner_client, f"?sheet={sheet.pk}", wanted_good=20, pulls=25, work_out="1")
    text = answer.content.decode().replace("\u00a0", " ")
    assert "Fibre to prepare" in text
    # By hand: 25 pulls × 7.035 g / 0.96 = 183.2 g.
    assert "0.183 kg" in text
    assert not Making.objects.exists()


def test_a_planned_making_is_changed(hand_client, making):
    address = reverse("making_edit", args=[making.ref])
    page = look(hand_client, address)
    answer = hand_client.post(address, form_data(page, pulls=70, remarks="Kite mark"))
    assert answer["Location"] == making.get_absolute_url()
    kept = Making.objects.get()
    assert (kept.pulls, kept.remarks, kept.commission) == (70, "Kite mark", making.commission)


def test_what_is_over_leads_back(hand_client, making):
    Making.objects.update(state=Making.State.FINISHED)
    for route in ("making_edit", "making_give_up"):
        answer = hand_client.get(reverse(route, args=[making.ref]))
        assert answer["Location"] == making.get_absolute_url()


def test_a_making_is_given_up(hand_client, making):
    address = reverse("making_give_up", args=[making.ref])
    page = look(hand_client, address)
    hand_client.post(address, form_data(page))
    assert Making.objects.get().state == Making.State.GIVEN_UP
    assert "Nothing in the store has moved" in said(look(hand_client, making.get_absolute_url()))


def test_a_promised_commission_leads_to_planning(hand_client, viewer_client, commission):
    wanted = f"{reverse('making_new')}?commission=C-101"

    def links(client):
        page = look(client, commission.get_absolute_url())
        return [link.attrs.get("href") for link in page.all("a")]

    assert wanted in links(hand_client)
    assert wanted not in links(viewer_client)


# --- the page and the sheet ----------------------------------------------------------------------


def test_the_page_says_what_to_weigh_out(viewer_client, making):
    page = look(viewer_client, making.get_absolute_url())
    assert heads(page, "Weigh out") == [f"{making.lot.ref} Linter", "In all"]
    text = said(page)
    assert "shelf B2" in text
    assert "Linter: soak it overnight" in text
    assert "Never pulp down a drain" in text
    assert "Give it up" not in text


def test_the_page_says_what_is_missing(owner_client, commission):
    making = make_making(commission=commission, wanted_good=51, pulls=61)
    # By hand: 63 pulls × 7.3285 g / 0.98 = 0.471 kg.
    text = said(look(owner_client, making.get_absolute_url()))
    assert "Missing: 0.471 kg oven-dry of Linter." in text


def test_a_making_that_cannot_be_reckoned_says_why(owner_client, making):
    making.sheet.furnish.parts.all().delete()
    for address in (making.get_absolute_url(), reverse("making_sheet", args=[making.ref])):
        assert "has no fibre yet" in said(look(owner_client, address))


def test_the_sheet_shows_the_same_figures_as_the_page(owner_client, making):
    page = said(look(owner_client, making.get_absolute_url()))
    sheet = said(look(owner_client, reverse("making_sheet", args=[making.ref])))
    for figure in ("Top up with", "7.48 g", "6.74 g"):
        assert figure in sheet
    assert page.split("Top up with")[1].split(".")[0] in sheet


def test_the_sheet_opens_the_log_on_a_phone(owner_client, making):
    page = look(owner_client, reverse("making_sheet", args=[making.ref]))
    log = reverse("making_log", args=[making.ref])
    path, _ = qr_path(f"http://testserver{log}")
    symbol = page.one("svg", class_="qr")
    assert making.ref in symbol.attrs["aria-label"]
    assert path in [drawn.attrs.get("d") for drawn in page.all("path")]
    assert [link.text for link in page.all("a", href=log)] == ["Log the run"]


def test_in_pounds_the_sheet_is_in_pounds(owner_client, making):
    make_studio(units="US")
    text = said(look(owner_client, reverse("making_sheet", args=[making.ref])))
    assert "oz" in text
    assert "gal" in text
    assert " kg" not in text
