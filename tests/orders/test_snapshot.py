import json
from datetime import date
from decimal import Decimal

import pytest

from fibres.models import Fibre
from orders import services, snapshot
from orders.calc import cover, plan
from orders.models import Commission
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_mould,
    make_sheet,
    make_studio,
)

pytestmark = pytest.mark.django_db

State = Commission.State


def read(**changes):
    return snapshot.read(day(), **changes)


@pytest.mark.parametrize("rows", [1, 20])
def test_reading_takes_the_same_queries_for_1_and_20_rows(django_assert_num_queries, rows):
    fibre = make_fibre()
    for _ in range(rows):
        make_lot(fibre)
        make_commission(make_sheet(make_furnish({fibre: "1"}), mould=make_mould()))
    with django_assert_num_queries(6):
        read()


def test_what_is_read_survives_json():
    fibre = make_fibre(family=Fibre.Family.BROKE)
    make_lot(fibre, paid_minor=1000)
    make_commission(make_sheet(make_furnish({fibre: "1"})), no_scrap=True)
    found = read()
    assert plan.from_text(json.dumps(plan.to_json(found))) == found


@pytest.mark.parametrize(
    ("state", "counts"),
    [
        (State.ENQUIRY, False),
        (State.QUOTED, False),
        (State.AGREED, True),
        (State.MAKING, True),
        (State.SENT, False),
        (State.CLOSED, False),
        (State.WITHDRAWN, False),
    ],
)
def test_only_what_is_agreed_or_being_made_is_a_promise(state, counts):
    make_commission(state=state)
    assert len(read().commissions) == counts


def test_what_is_quoted_counts_by_choice():
    make_commission(state=State.QUOTED)
    assert len(read(with_quoted=True).commissions) == 1


def test_an_enquiry_counts_when_it_is_asked_about():
    asked = make_commission(state=State.ENQUIRY)
    assert [found.ref for found in read(extra=asked).commissions] == [asked.ref]


def test_what_is_typed_counts_in_place_of_what_is_kept():
    kept = make_commission(good_quantity=100)
    kept.good_quantity = 250
    assert [found.wanted for found in read(extra=kept).commissions] == [250]


def test_an_empty_lot_is_not_read():
    lot = make_lot()
    type(lot).objects.filter(pk=lot.pk).update(oven_dry_mg=0)
    assert read().lots == ()


def test_a_lot_in_usable_oven_dry_and_as_is_milligrams():
    # By hand: 10 kg less 8 % is 9.2 kg, of which 95 % is 8.74 kg; 20.00 over 8.74 is 229 a kg.
    make_lot(paid_minor=2000)
    (lot,) = read().lots
    assert (lot.usable_mg, lot.oven_dry_mg, lot.as_is_mg) == (8_740_000, 9_200_000, 10 * KG)
    assert lot.cost_minor_per_kg == 229


def test_a_lot_with_a_yield_of_its_own_goes_by_that():
    make_lot(preparation_yield=Decimal("0.5"))
    assert read().lots[0].usable_mg == 4_600_000


def test_a_gift_and_a_lot_of_unknown_price_cost_nothing_here():
    make_lot(paid_minor=0)
    make_lot()
    assert [lot.cost_minor_per_kg for lot in read().lots] == [0, 0]


def test_scrap_is_marked_and_excluded_where_the_client_wants_none():
    make_lot(make_fibre(is_scrap=True))
    make_commission(no_scrap=True)
    found = read()
    assert found.lots[0].marks == {"scrap"}
    assert found.commissions[0].excludes == {"scrap"}


def test_a_commission_without_fibre_in_its_furnish_is_left_out_by_name():
    sheet = make_sheet()
    sheet.furnish.parts.all().delete()
    asked = make_commission(sheet)
    found = read()
    assert found.commissions == ()
    assert found.left_out[0][0] == asked.ref
    assert "has no fibre yet" in found.left_out[0][1]


def test_a_sheet_that_its_mould_cannot_give_is_left_out_and_never_covered():
    mould = make_mould(width_um=100_000, height_um=100_000)
    asked = make_commission(make_sheet(mould=mould, edges="trimmed"))
    cover = services.cover(day())
    assert not cover.all_covered
    assert cover.left_out[0][0] == asked.ref
    assert "Not one sheet" in cover.left_out[0][1]


def test_a_cut_sheet_is_laid_out_in_its_mould_less_shrinkage():
    furnish = make_furnish(shrinkage=("0.04", "0.025"))
    sheet = make_sheet(
        furnish,
        width_um=148_000,
        height_um=210_000,
        mould=make_mould(width_um=520_000, height_um=391_000),
        edges="trimmed",
        trim_um=5_000,
    )
    make_commission(sheet)
    # By hand: 499.2 × 381.2 mm less 10 mm each way is 489.2 × 371.2 mm. Three A5 stand side by
    # side (444 × 210), and under them two lie (420 × 148).
    assert read().commissions[0].sheets_per_pull == 5


def test_the_moisture_of_the_sheet_is_the_studios_unless_it_has_its_own():
    make_studio(sheet_moisture=Decimal("0.08"))
    spec = snapshot.spec_of(make_sheet(), services.Studio.current(), {})
    own = snapshot.spec_of(make_sheet(sheet_moisture=Decimal("0.03")), make_studio(), {})
    assert (spec.sheet_moisture, own.sheet_moisture) == (Decimal("0.08"), Decimal("0.03"))


def test_the_yield_of_a_fibre_out_of_store_is_known():
    fibre = make_fibre(preparation_yield=Decimal("0.9"))
    assert read().yields[fibre.name] == Decimal("0.9")


def test_day_and_currency_are_the_studios():
    make_studio(currency="EUR")
    found = snapshot.read(date(2027, 3, 1))
    assert (found.today, found.currency) == (date(2027, 3, 1), "EUR")


def test_what_is_left_out_survives_json_so_that_nothing_is_taken_for_covered():
    sheet = make_sheet()
    make_commission(sheet, ref="C-101")
    sheet.furnish.parts.all().delete()
    found = read()
    again = plan.from_text(json.dumps(plan.to_json(found)))
    assert again == found
    assert not cover.allocate(again).all_covered
    assert [ref for ref, _ in again.left_out] == ["C-101"]


def test_nothing_left_out_is_not_written():
    make_commission()
    assert "left_out" not in plan.to_json(read())


def test_a_name_with_a_space_that_does_not_break_survives_json():
    make_lot(make_fibre(name="Abaca\u00a0sheet\u202fpulp"))
    assert plan.from_text(json.dumps(plan.to_json(read()))) == read()
