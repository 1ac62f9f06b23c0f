from decimal import Decimal

import pytest

from orders.models import Sheet
from studio.models import Entry
from tests.builders import (
    make_commission,
    make_fibre,
    make_furnish,
    make_mould,
    make_sheet,
    make_studio,
)
from tests.orders.looking import form_data, heads, look, said, same_queries_for_1_and_20
from tests.studio.pages import Page


@pytest.fixture
def furnish(db):
    return make_furnish(
        {make_fibre(name="Flax, beaten"): "1"}, shrinkage=("0.208", "0.25"), drying="air"
    )


def given(furnish, /, **changes):
    return {
        "name": "Invitation card",
        "size": "130 x 180 mm",
        "grammage": "130",
        "furnish": furnish.pk,
        "drying": "air",
        **changes,
    }


def post(client, address, /, **changes):
    return client.post(address, form_data(look(client, address), **changes))


# --- the list


def test_the_list_shows_size_grammage_and_furnish(viewer_client, furnish):
    make_sheet(furnish, name="Text A4")
    page = look(viewer_client, "/sheets/")
    assert heads(page, "Sheets") == ["Text A4Deckle edges, as pulled"]
    assert "210 × 297 mm" in said(page)
    assert not page.all("a", class_="do")


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ({"words": "card"}, ["Card"]),
        ({"closed": "yes"}, ["Text"]),
        ({"closed": "no"}, ["Card"]),
        ({"sort": "-size"}, ["Text", "Card"]),
        ({"sort": "grammage"}, ["Card", "Text"]),
        ({"sort": "drying"}, ["Card", "Text"]),
    ],
)
def test_the_list_is_narrowed_and_put_in_order(owner_client, furnish, query, names):
    make_sheet(furnish, name="Card", width_um=100_000, grammage=Decimal(90))
    make_sheet(furnish, name="Text", closed_on="2026-01-05")
    page = look(owner_client, "/sheets/", **query)
    assert [head.split("Deckle")[0] for head in heads(page, "Sheets")] == names


def test_the_list_in_inches(owner_client, furnish):
    make_studio(units="US")
    make_sheet(furnish, width_um=215_900, height_um=279_400)
    assert "8.5 × 11 in" in said(look(owner_client, "/sheets/"))


def test_the_list_is_taken_along_in_millimetres(owner_client, furnish):
    make_sheet(furnish)
    answer = owner_client.get("/sheets/?format=csv")
    assert "210\u00a0×\u00a0297\u00a0mm" in b"".join(answer).decode("utf-8-sig")


def test_the_list_takes_the_same_queries_for_1_and_20_rows(owner_client):
    same_queries_for_1_and_20(
        owner_client, "/sheets/", lambda: make_sheet(make_furnish(), mould=make_mould())
    )


# --- one sheet


def test_the_page_says_what_a_hundred_take_and_which_mould_to_choose(hand_client, furnish):
    make_mould(name="Card mould", width_um=165_000, height_um=240_000)
    make_mould(name="Large", width_um=178_000, height_um=254_000)
    sheet = make_sheet(
        furnish, width_um=130_000, height_um=180_000, grammage=Decimal(130), drying="air"
    )
    page = look(hand_client, f"/sheets/{sheet.pk}/")
    # Little Sprent Card Mill (invented), worked out by hand: 2.859 g; mould of 165 × 240 mm.
    assert "2.86 g" in said(page)
    assert "It takes an opening of 164.1 × 240 mm or more." in said(page)
    assert "The smallest here is Card mould: it dries to 130.7 × 180 mm." in said(page)


def test_the_page_says_that_no_mould_is_large_enough(hand_client, furnish):
    make_mould(width_um=100_000, height_um=100_000)
    sheet = make_sheet(furnish)
    assert "no mould here is that large" in said(look(hand_client, f"/sheets/{sheet.pk}/"))


def test_the_page_says_when_the_mould_gives_another_size(hand_client, furnish):
    mould = make_mould(name="Foolscap", width_um=340_000, height_um=430_000)
    sheet = make_sheet(furnish, mould=mould)
    page = look(hand_client, f"/sheets/{sheet.pk}/")
    assert "Look again. The mould gives 340 × 430 mm dry, not 210 × 297 mm." in said(page)


def test_the_page_is_content_with_a_mould_that_fits_turned_round(hand_client, furnish):
    mould = make_mould(width_um=297_000, height_um=210_000)
    sheet = make_sheet(furnish, mould=mould)
    assert "Look again" not in said(look(hand_client, f"/sheets/{sheet.pk}/"))


def test_the_page_counts_the_sheets_cut_from_a_pull(hand_client, furnish):
    mould = make_mould(name="Foolscap", width_um=430_000, height_um=340_000)
    sheet = make_sheet(
        furnish, mould=mould, width_um=148_000, height_um=210_000, edges="trimmed", trim_um=5_000
    )
    page = look(hand_client, f"/sheets/{sheet.pk}/")
    assert "Cut to size, 5 mm off each side" in said(page)
    # By hand: 420 × 330 mm holds two rows of two A5 lying, 420 × 296 mm.
    assert "Sheets per pullstraight cuts, the best there is; 5 mm off each side first4" in said(
        page
    )


def test_the_page_of_a_sheet_that_cannot_be_made_says_why(hand_client, furnish):
    mould = make_mould(width_um=100_000, height_um=100_000)
    sheet = make_sheet(furnish, mould=mould, edges="trimmed")
    assert "It cannot be reckoned. Not one sheet" in said(
        look(hand_client, f"/sheets/{sheet.pk}/")
    )


def test_the_page_lists_who_wants_it(viewer_client, furnish):
    asked = make_commission(make_sheet(furnish), ref="C-101")
    page = look(viewer_client, f"/sheets/{asked.sheet_id}/")
    assert heads(page, "Commissions")[0].startswith("C-101")
    assert asked.client.name not in said(page)


def test_the_page_takes_the_same_queries_for_1_and_20_rows(owner_client, furnish):
    sheet = make_sheet(furnish)
    same_queries_for_1_and_20(
        owner_client, f"/sheets/{sheet.pk}/", lambda: (make_commission(sheet), make_mould())
    )


# --- entering and changing


def test_a_sheet_is_entered(owner_client, furnish):
    answer = post(owner_client, "/sheets/new/", **given(furnish, grammage="80 lb cover"))
    sheet = Sheet.objects.get()
    assert answer.headers["Location"] == f"/sheets/{sheet.pk}/"
    assert (sheet.width_um, sheet.height_um) == (130_000, 180_000)
    # 80 lb cover is 216 g/m² (see the published checks of basis weight).
    assert round(sheet.grammage) == 216
    assert (sheet.broke, sheet.retree, sheet.trim_um) == (Decimal("0.08"), Decimal("0.04"), 0)
    assert Entry.objects.get().said == "Added sheet Invitation card"


def test_saving_a_sheet_untouched_changes_nothing(owner_client, furnish):
    sheet = make_sheet(
        furnish, width_um=215_900, height_um=279_400, grammage=Decimal("118.4"),
        trim_um=3_200, sheet_moisture=Decimal("0.055"), minutes_per_pull=Decimal("4.5"),
    )  # fmt: skip
    before = Sheet.objects.values().get()
    post(owner_client, f"/sheets/{sheet.pk}/edit/")
    assert Sheet.objects.values().get() == before


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"size": "big"}, "size"),
        ({"size": "0 x 180 mm"}, "outside what is allowed"),
        ({"size": ""}, "Give a size, such as A4"),
        ({"grammage": "80 lb"}, "lb"),
        ({"grammage": "-5"}, "grammage"),
        ({"grammage": "NaN"}, "grammage"),
        ({"furnish": ""}, "Choose one."),
        ({"broke": "60", "retree": "40"}, "Leave some good."),
        ({"retention": "0"}, "some must stay"),
        ({"edges": "trimmed"}, "Choose the mould"),
        ({"name": ""}, "Fill this in."),
        ({"broke": "8 kg"}, "8 kg"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_written(owner_client, furnish, changes, sentence):
    answer = post(owner_client, "/sheets/new/", **given(furnish, **changes))
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert not Sheet.objects.exists()
    assert not Entry.objects.exists()


def test_a_board_is_asked_about_once(owner_client, furnish):
    typed = form_data(look(owner_client, "/sheets/new/"), **given(furnish, grammage="1100"))
    page = Page(owner_client.post("/sheets/new/", typed).content.decode())
    assert "1100 g/m² is board. Did you mean 110?" in said(page)
    assert not Sheet.objects.exists()
    owner_client.post("/sheets/new/", form_data(page))
    assert Sheet.objects.get().grammage == 1100


def test_another_board_is_asked_about_again(owner_client, furnish):
    typed = form_data(look(owner_client, "/sheets/new/"), **given(furnish, grammage="1100"))
    page = Page(owner_client.post("/sheets/new/", typed).content.decode())
    answer = owner_client.post("/sheets/new/", form_data(page, grammage="2200"))
    assert "2200 g/m² is board. Did you mean 220?" in answer.content.decode()


def test_a_sheet_that_does_not_fit_its_mould_is_refused_beside_the_mould(owner_client, furnish):
    mould = make_mould(width_um=100_000, height_um=100_000)
    answer = post(owner_client, "/sheets/new/", **given(furnish, edges="trimmed", mould=mould.pk))
    page = Page(answer.content.decode())
    assert page.one("select", name="mould").attrs["aria-invalid"] == "true"
    assert "Not one sheet of 130 × 180 mm fits" in said(page)


def test_the_panel_reckons_what_is_typed(owner_client, furnish):
    make_mould(name="Card mould", width_um=165_000, height_um=240_000)
    data = form_data(look(owner_client, "/sheets/new/"), **given(furnish, name=""))
    answer = owner_client.post("/sheets/new/", data, headers={"HX-Request": "true"})
    text = answer.content.decode().replace("\u00a0", " ")
    assert "2.86 g" in text
    assert "The smallest here is Card mould" in text
    assert not Sheet.objects.exists()


def test_the_panel_waits_until_there_is_something_to_reckon(owner_client, furnish):
    data = form_data(look(owner_client, "/sheets/new/"), **given(furnish, size=""))
    answer = owner_client.post("/sheets/new/", data, headers={"HX-Request": "true"})
    assert "Not reckoned yet." in answer.content.decode()


def test_the_panel_of_a_kept_sheet_is_filled_from_the_start(owner_client, furnish):
    sheet = make_sheet(furnish)
    assert "7.04 g" in said(look(owner_client, f"/sheets/{sheet.pk}/edit/"))


def test_the_panel_of_a_kept_sheet_says_why_it_cannot_be_made(owner_client, furnish):
    mould = make_mould(width_um=100_000, height_um=100_000)
    sheet = make_sheet(furnish, mould=mould, edges="trimmed")
    assert "Not one sheet" in said(look(owner_client, f"/sheets/{sheet.pk}/edit/"))


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_only_the_owner_changes_sheets(request, who, furnish):
    client, sheet = request.getfixturevalue(who), make_sheet(furnish)
    for address in ("/sheets/new/", f"/sheets/{sheet.pk}/edit/", f"/sheets/{sheet.pk}/close/"):
        assert client.get(address).status_code == 403
        assert client.post(address).status_code == 403


# --- removing and closing


def test_a_sheet_that_nothing_hangs_on_is_removed(owner_client, furnish):
    sheet = make_sheet(furnish)
    owner_client.post(f"/sheets/{sheet.pk}/close/", {"deed": "remove"})
    assert not Sheet.objects.exists()


def test_a_sheet_with_a_commission_is_not_removed_but_can_be_closed(owner_client, furnish):
    sheet = make_commission(make_sheet(furnish)).sheet
    address = f"/sheets/{sheet.pk}/close/"
    assert "Close it, and it is hidden from choices" in said(look(owner_client, address))
    assert owner_client.post(address, {"deed": "remove"}).status_code == 409
    owner_client.post(address, {"deed": "close"})
    sheet.refresh_from_db()
    assert sheet.is_closed
    assert "Closed: kept for its history" in said(look(owner_client, f"/sheets/{sheet.pk}/"))
