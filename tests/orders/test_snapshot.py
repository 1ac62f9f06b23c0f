import json
from datetime import date
from decimal import Decimal

import pytest

from fibres.models import Fibre
from orders import services, sheetsinhand, snapshot
from orders.calc import cover, plan
from orders.models import Commission
from studio.models import Studio
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_finished,
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
        lot = make_lot(fibre)
        furnish = make_furnish({fibre: "1"})
        furnish.parts.get().substitutes.add(make_fibre())
        asked = make_commission(make_sheet(furnish, mould=make_mould()))
        asked.only_lots.add(lot)
    with django_assert_num_queries(16):
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


def test_a_price_beyond_all_sense_stays_one_that_can_be_planned_with_and_read_back():
    make_lot(make_fibre(), as_is_mg=2, paid_minor=10**15)
    found = read()
    assert found.lots[0].cost_minor_per_kg == 10**12
    assert plan.from_text(json.dumps(plan.to_json(found))).lots == found.lots


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
    spec = snapshot.spec_of(make_sheet(), Studio.current(), {})
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


# --- what may vary, and what the client limits


def limited_furnish(fibre, other, /, **limits):
    furnish = make_furnish({fibre: "0.6", other: "0.4"})
    furnish.parts.filter(fibre=fibre).update(**limits)
    return furnish


def test_a_part_without_limits_is_its_share_and_nothing_else():
    make_commission(make_sheet(make_furnish({make_fibre(name="Abaca"): "1"})))
    assert read().commissions[0].furnish == (
        plan.Part(("Abaca",), least=Decimal(1), target=Decimal(1), most=Decimal(1)),
    )


def test_a_part_has_its_least_and_most_and_what_may_stand_in_for_it_by_name():
    linter, abaca = make_fibre(name="Linter"), make_fibre(name="Abaca")
    furnish = limited_furnish(linter, abaca, least=Decimal("0.5"), most=Decimal("0.7"))
    part = furnish.parts.get(fibre=linter)
    part.substitutes.set([make_fibre(name="Wood pulp"), make_fibre(name="Flax")])
    make_commission(make_sheet(furnish))
    assert read().commissions[0].furnish == (
        plan.Part(
            ("Linter", "Flax", "Wood pulp"),
            least=Decimal("0.5"), target=Decimal("0.6"), most=Decimal("0.7"),
        ),
        plan.Part(("Abaca",), least=Decimal("0.4"), target=Decimal("0.4"), most=Decimal("0.4")),
    )  # fmt: skip


def test_the_limits_of_a_client_are_read():
    asked = make_commission(all_or_nothing=True)
    lots = [make_lot(), make_lot()]
    asked.only_lots.set(lots)
    make_lot()
    free = make_commission()
    found = {promise.ref: promise for promise in read().commissions}
    assert found[asked.ref].only_lots == {lot.ref for lot in lots}
    assert found[asked.ref].all_or_nothing
    assert found[free.ref].only_lots is None
    assert not found[free.ref].all_or_nothing


def test_lots_chosen_in_a_form_count_in_place_of_those_that_are_kept():
    asked = make_commission()
    kept, chosen = make_lot(), make_lot()
    asked.only_lots.add(kept)

    def limited_to(**changes):
        return read(extra=asked, **changes).commissions[0].only_lots

    assert limited_to() == {kept.ref}
    assert limited_to(extra_only_lots=[chosen.ref]) == {chosen.ref}
    assert limited_to(extra_only_lots=[]) is None


def test_a_commission_that_is_not_kept_yet_is_limited_to_the_lots_of_its_form():
    kept = make_commission()
    typed = Commission(
        ref="new", client=kept.client, sheet=kept.sheet, good_quantity=10, due=day(-40)
    )
    found = {
        promise.ref: promise.only_lots
        for promise in read(extra=typed, extra_only_lots=["LI-2"]).commissions
    }
    assert found == {kept.ref: None, "new": {"LI-2"}}


# --- when fibre is needed


def due_27_april(preparation_days=0, **changes):
    fibre, quick = make_fibre(preparation_days=preparation_days), make_fibre(preparation_days=1)
    stand_in = make_fibre(preparation_days=90)
    furnish = make_furnish({fibre: "0.1", quick: "0.9"})
    furnish.parts.get(fibre=fibre).substitutes.add(stand_in)
    make_commission(make_sheet(furnish), due=date(2027, 4, 27), **changes)
    return snapshot.read(date(2027, 3, 1)).commissions[0].needed_on


def test_fibre_is_needed_before_the_sheets_are_made_and_the_slowest_fibre_prepared():
    make_studio(making_days=10)
    # By hand: 27 April less 10 days of making and 14 of preparing is 3 April. What may stand in
    # for a fibre does not count: it is not what is usually prepared.
    assert due_27_april(preparation_days=14) == date(2027, 4, 3)


@pytest.mark.parametrize(
    ("not_before", "needed"),
    [(date(2027, 4, 20), date(2027, 4, 20)), (date(2027, 4, 2), date(2027, 4, 16))],
)
def test_what_may_not_be_made_before_a_day_needs_its_fibre_no_earlier(not_before, needed):
    make_studio(making_days=10)
    assert due_27_april(not_before=not_before) == needed


def test_h1_needs_its_fibre_by_27_march():
    # Scenario H1: due on 3 April, and 7 days to make and dry.
    make_commission(due=date(2027, 4, 3))
    assert snapshot.read(date(2027, 3, 1)).commissions[0].needed_on == date(2027, 3, 27)


# --- how sure the figures are


@pytest.mark.parametrize(
    ("known", "spread"), [("weighed", "0.006250"), ("label", "0.012500"), ("assumed", "0.025000")]
)
def test_the_spread_of_a_lot_is_that_of_its_moisture_over_its_dry_share(known, spread):
    # By hand: at 20 % moisture a point more or less is 1/80 of the fibre; half a point, one point
    # and two points for weighed, label and assumed.
    make_lot(moisture="0.20", moisture_known=known)
    assert read().lots[0].spread == Decimal(spread)


def test_half_the_band_of_an_estimate_is_added_as_a_leg_to_a_leg():
    # By hand: a band of ± 12 % is two standard deviations of 6 %; with 2.5 % that makes 6.5 %.
    lot = make_lot(moisture="0.20", moisture_known="assumed")
    type(lot).objects.filter(pk=lot.pk).update(band=Decimal("0.12"))
    assert read().lots[0].spread == Decimal("0.065000")


def test_the_spread_of_a_yield_is_that_of_the_fibre_over_its_yield():
    fibre = make_fibre(preparation_yield=Decimal("0.8"), yield_spread=Decimal("0.02"))
    assert read().yield_spread == {fibre.name: Decimal("0.025000")}


def test_the_aims_are_the_studios():
    make_studio(aims="cost first")
    assert read().aims == "cost first"


# --- sheets that are made already


def test_a_commission_wants_only_what_is_not_made_for_it():
    asked = make_commission(good_quantity=100)
    make_finished(asked, good=45, retree=9)
    (promise,) = read().commissions
    assert promise.wanted == 55
    # As much as a commission for 55 would need from the start.
    other = make_commission(asked.sheet, good_quantity=55)
    (alike,) = [one for one in read().commissions if one.ref == other.ref]
    assert (promise.need_mg, promise.safe_need_mg) == (alike.need_mg, alike.safe_need_mg)


def test_a_commission_that_is_all_made_holds_no_fibre():
    asked = make_commission(good_quantity=60)
    make_finished(asked, good=60)
    assert read().commissions == ()
    assert read().left_out == ()
    assert read(extra=asked).commissions == ()


def test_sheets_sent_count_as_made_and_sheets_spoilt_do_not():
    asked = make_commission(good_quantity=60)
    making = make_finished(asked, good=30)
    rows = [sheetsinhand.Sending(making, "good", 20)]
    sheetsinhand.send(asked, rows, sheetsinhand.ParcelNote(sent_on=day()), by=None)
    sheetsinhand.spoil(making, "good", 4, happened_on=day(), why="damp", by=None)
    # 20 sent and 6 in hand.
    assert read().commissions[0].wanted == 34


def test_a_form_that_asks_for_more_is_told_what_is_left_to_make():
    asked = make_commission(good_quantity=60)
    make_finished(asked, good=60)
    asked.good_quantity = 80
    assert read(extra=asked).commissions[0].wanted == 20


@pytest.mark.parametrize("rows", [1, 20])
def test_sheets_made_take_one_query_however_many(django_assert_num_queries, rows):
    for _ in range(rows):
        make_finished(make_commission(), good=3)
    with django_assert_num_queries(1):
        sheetsinhand.made_for()
