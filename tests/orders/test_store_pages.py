from decimal import Decimal

import pytest

from orders import services
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_mould,
    make_sheet,
)
from tests.orders.looking import form_data, look, said, same_queries_for_1_and_20


@pytest.fixture
def office(db):
    return make_fibre(
        name="Office white, ours", is_scrap=True, family="waste paper",
        preparation_yield=Decimal("0.8"),
    )  # fmt: skip


# --- what is promised of each fibre


def test_what_is_promised_is_what_is_set_aside_and_what_is_short(office):
    sheet = make_sheet(make_furnish({office: "1"}))
    make_lot(office, as_is_mg=500_000)
    make_commission(sheet, due=day(-20))
    (promise,) = services.promised_by_fibre(day()).values()
    (plan,) = services.plan_by_fibre(services.cover(day()).commissions[0])
    assert promise.promised_mg == plan.needs_mg == plan.set_aside_mg + plan.short_mg
    # By hand: due in 20 days, less 7 days to form, dry and pack.
    assert promise.short_from == day(-13)


def test_the_first_day_on_which_a_promise_is_short_counts(office):
    sheet = make_sheet(make_furnish({office: "1"}))
    make_commission(sheet, due=day(-20))
    make_commission(sheet, due=day(-5))
    late = make_commission(sheet, due=day(3))
    (promise,) = services.promised_by_fibre(day()).values()
    assert promise.short_from == day()
    type(late).objects.filter(pk=late.pk).delete()
    (promise,) = services.promised_by_fibre(day()).values()
    # Due in 5 days, so its fibre is wanted at once.
    assert promise.short_from == day()


def test_the_store_shows_what_is_promised_and_from_when_it_is_short(viewer_client, office):
    make_lot(office, as_is_mg=500_000)
    make_commission(make_sheet(make_furnish({office: "1"})), due=day(-20))
    text = said(look(viewer_client, "/store/"))
    # By hand: 835.45 g usable at a yield of 80 % is 1.044 kg oven-dry.
    assert "1.04" in text
    assert "Short from" in text


def test_the_store_takes_the_same_queries_for_1_and_20_rows(owner_client):
    def add():
        fibre = make_fibre()
        make_lot(fibre)
        make_commission(make_sheet(make_furnish({fibre: "1"})))

    same_queries_for_1_and_20(owner_client, "/store/", add)


# --- the sheets that scrap makes


def worked_out(client, office, **changes):
    page = look(client, "/scrap/log/")
    data = form_data(page, fibre=office.pk, mass="5", mass_unit="kg", **changes)
    answer = client.post("/scrap/log/", data, headers={"HX-Request": "true"})
    return answer.content.decode().replace("\u00a0", " ")


def test_scrap_that_no_sheet_is_made_of_is_counted_in_plain_a4(hand_client, office):
    text = worked_out(hand_client, office)
    # By hand: 5 × 0.92 × 0.8 is 3.68 kg usable; × 0.96 / 7.03543 g is 502 pulls, 441 good.
    assert "Good sheets, about: A4, 120 g/m²" in text
    assert "441" in text


def test_scrap_is_counted_in_the_sheets_that_are_made_of_it(hand_client, office):
    make_sheet(make_furnish({office: "0.7", make_fibre(): "0.3"}), name="Note A4")
    make_sheet(name="Of something else")
    text = worked_out(hand_client, office)
    # By hand: 3.68 kg / 0.7 is 5.257 kg; × 0.96 / 7.03543 g is 717 pulls, 630 good.
    assert "Good sheets, about: Note A4" in text
    assert "630" in text
    assert "70 % of its fibre, if the rest is there" in text
    assert "Of something else" not in text


def test_a_sheet_of_scrap_alone_needs_no_rest(hand_client, office):
    make_sheet(make_furnish({office: "1"}), name="Note A4")
    text = worked_out(hand_client, office)
    assert "441" in text
    assert "if the rest is there" not in text


def test_closed_sheets_and_sheets_that_cannot_be_made_are_passed_over(hand_client, office):
    furnish = make_furnish({office: "1"})
    make_sheet(furnish, name="Closed", closed_on=day())
    small = make_mould(width_um=100_000, height_um=100_000)
    make_sheet(furnish, name="Too large", mould=small, edges="trimmed")
    text = worked_out(hand_client, office)
    assert "Good sheets, about: A4, 120 g/m²" in text


def test_three_sheets_at_most_are_named(hand_client, office):
    furnish = make_furnish({office: "1"})
    for number in range(5):
        make_sheet(furnish, name=f"Note {number}")
    assert worked_out(hand_client, office).count("Good sheets, about:") == 3


def test_a_gift_is_entered_and_covers_what_was_short(owner_client, office):
    make_commission(make_sheet(make_furnish({office: "1"})), ref="C-101")
    page = look(owner_client, "/scrap/log/")
    owner_client.post("/scrap/log/", form_data(page, fibre=office.pk, mass="5", mass_unit="kg"))
    assert services.cover(day()).all_covered
    assert KG < sum(lot.oven_dry_mg for lot in office.lots.all()) < 5 * KG
