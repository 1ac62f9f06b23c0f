"""A making is planned, changed, given up; its sheet says which lots it is weighed out of."""

import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres.models import Addition, Drying, Fibre, Movement
from orders.makings import planning
from orders.makings.lots import drawing_for
from orders.makings.sheet import sheet_of
from orders.models import Commission, Issue, Making
from studio.entries import AlreadyEnteredError
from studio.errors import StudioError
from studio.models import Entry
from tests.builders import (
    KG,
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

pytestmark = pytest.mark.django_db
# Of one making sheet, whatever else is open.
QUERIES = 26


@pytest.fixture
def studio():
    return make_studio(trial_pulls=0, heel_mg=0)


@pytest.fixture
def linter():
    return make_fibre(name="Linter", preparation_yield=Decimal("0.98"), family="seed hair")


@pytest.fixture
def abaca():
    return make_fibre(name="Abaca", preparation_yield=Decimal("0.97"))


def usable_mg(making):
    """Return what a making takes in all, before lots."""
    return drawing_for(making, day()).forming.total_mg


def grams(mass_mg):
    return round(mass_mg / 1000)


# --- H5: a tiny order, its heel and its shrinkage ------------------------------------------------


@pytest.fixture
def cards(studio):
    """Scenario H5: flax at 0.90 yield, 8 % moisture; 40 cards, 49 pulls, a vat of 60 litres."""
    flax = make_fibre(
        name="Flax", family=Fibre.Family.BAST, preparation_yield=Decimal("0.9"),
        cautions="Long fibre wraps round the roll.", keeps_wet_days=10,
    )  # fmt: skip
    make_lot(flax, as_is_mg=2_600_000, moisture="0.08", place="shelf B2")
    mould = make_mould(name="Card mould", width_um=165_000, height_um=240_000)
    sheet = make_sheet(
        make_furnish({flax: "1"}, shrinkage=("0.208", "0.250"), drying=Drying.AIR),
        width_um=130_000, height_um=180_000, grammage=Decimal(130), mould=mould,
        drying=Drying.AIR, broke=Decimal("0.12"), retree=Decimal("0.05"),
        retention=Decimal("0.95"),
    )  # fmt: skip
    commission = make_commission(sheet, good_quantity=40)
    return make_making(
        commission=commission, wanted_good=40, pulls=49, mould=mould, drying=Drying.AIR,
        vat=make_vat(name="Small vat"), planned_on=day(-3),
    )  # fmt: skip


def test_h5_the_vat_takes_twice_what_the_order_does(cards):
    found = sheet_of(cards, day())
    forming = found.forming
    masses = (forming.order_mg, forming.heel_mg, forming.total_mg)
    assert [grams(mass) for mass in masses] == [147, 300, 447]
    assert any("smaller vat or a deckle box" in note for note in found.notes)


def test_h5_one_beater_load(cards):
    """Scenario H5: the smallest load is 340 g; one load of about 450 g is right."""
    found = sheet_of(cards, day())
    assert (found.beater.count, grams(found.beater.each_mg), found.blender) == (1, 447, None)


def test_h5_what_is_weighed_out(cards):
    """By hand: 447.4 g / 0.90 yield = 497.1 g oven-dry; / 0.92 = 0.540 kg as it lies."""
    (row,) = sheet_of(cards, day()).weigh
    assert (row.fibre, row.place, row.moisture) == ("Flax", "shelf B2", Decimal("0.08"))
    assert (grams(row.oven_dry_mg), grams(row.as_is_mg)) == (497, 540)


def test_h5_the_heel_keeps_for_ten_days(cards):
    found = sheet_of(cards, day())
    assert found.heel_keeps.until == day(-13)
    assert "Wet, as Flax, it keeps 10 days from the day the making is" in found.vat_words()[-1]


def test_h5_below_the_smallest_load_it_goes_through_the_blender(cards):
    cards.vat = None
    found = sheet_of(cards, day())
    assert (found.beater, found.blender.count) == (None, 6)
    assert "blend" in " ".join(found.cautions).lower()


# --- what is added -------------------------------------------------------------------------------


def test_h4_pigment_is_dosed_on_the_fibre_in_the_vat(studio, linter):
    """Scenario H4: 205 pulls of A3 take 3.766 kg of fibre; 1.8 % pigment on it are 67.8 g."""
    make_lot(linter)
    furnish = make_furnish({linter: "1"})
    Addition.objects.create(furnish=furnish, name="Blue", kind="pigment", dose=Decimal("0.018"))
    Addition.objects.create(furnish=furnish, name="Chalk", kind="filler", dose=Decimal("0.04"))
    sheet = make_sheet(
        furnish, width_um=297_000, height_um=420_000, grammage=Decimal(160),
        non_fibre_share=Decimal("0.06"),
    )  # fmt: skip
    found = sheet_of(make_making(sheet, pulls=205), day())
    assert round(found.forming.total_mg / KG, 3) == 3.766
    assert [dose.name for dose in found.doses] == ["Chalk", "Blue"]
    assert round(found.doses[1].mass_mg / 1000, 1) == 67.8


# --- which lots ----------------------------------------------------------------------------------


def test_a_making_takes_its_fibre_by_the_shares_of_the_furnish(studio, linter, abaca):
    make_lot(linter), make_lot(abaca)
    making = make_making(make_sheet(make_furnish({linter: "0.8", abaca: "0.2"})))
    rows = sheet_of(making, day()).weigh
    total = usable_mg(making)
    taken = {row.fibre: row.oven_dry_mg for row in rows}
    assert taken["Linter"] == pytest.approx(total * 0.8 / 0.98, abs=2)
    assert taken["Abaca"] == pytest.approx(total * 0.2 / 0.97, abs=2)


def test_what_is_promised_before_is_left_alone(studio, linter):
    """Another commission of higher rank wants the whole lot; a free making finds nothing."""
    make_lot(linter, as_is_mg=KG)
    sheet = make_sheet(make_furnish({linter: "1"}))
    make_commission(sheet, good_quantity=5000)
    making = make_making(sheet)
    found = sheet_of(making, day())
    assert found.weigh == ()
    (lack,) = found.missing
    # By hand: all of it is missing, turned back to oven-dry by the yield.
    assert lack.oven_dry_mg == pytest.approx(usable_mg(making) / 0.98, rel=1e-6)


def test_a_commissions_making_takes_from_what_is_set_aside_for_it(studio, linter):
    """The store holds enough for the commission alone; its making finds its share all there."""
    sheet = make_sheet(make_furnish({linter: "1"}))
    commission = make_commission(sheet, good_quantity=400)
    make_lot(linter, as_is_mg=4 * KG)
    making = make_making(commission=commission, wanted_good=200, pulls=228)
    found = sheet_of(making, day())
    assert found.missing == ()
    held = sum(row.oven_dry_mg for row in found.weigh)
    assert held == pytest.approx(usable_mg(making) / 0.98, rel=1e-6)


def test_two_makings_of_one_commission_never_take_the_same_fibre(studio, linter):
    sheet = make_sheet(make_furnish({linter: "1"}))
    commission = make_commission(sheet, good_quantity=400)
    lots = [make_lot(linter, as_is_mg=1_300_000) for _ in range(3)]
    halves = [
        make_making(commission=commission, wanted_good=200, pulls=228, planned_on=day(-ahead))
        for ahead in (0, 1)
    ]
    rows = [row for making in halves for row in sheet_of(making, day()).weigh]
    taken = {}
    for row in rows:
        taken[row.lot] = taken.get(row.lot, 0) + row.oven_dry_mg
    # Each pick is rounded to a milligram of its own.
    assert all(taken.get(lot.ref, 0) <= lot.oven_dry_mg + 1 for lot in lots)
    assert sum(taken.values()) == pytest.approx(2 * usable_mg(halves[0]) / 0.98, rel=1e-6)


def test_limits_of_the_commission_hold_for_its_making(studio, linter):
    sheet = make_sheet(make_furnish({linter: "1"}))
    commission = make_commission(sheet, good_quantity=100)
    make_lot(linter)
    only = make_lot(linter)
    commission.only_lots.add(only)
    found = sheet_of(make_making(commission=commission), day())
    assert {row.lot for row in found.weigh} == {only.ref}


def test_scrap_stays_out_where_the_commission_says_so(studio):
    scrap = make_fibre(is_scrap=True, family="waste paper", source_class="post-consumer")
    make_lot(scrap)
    sheet = make_sheet(make_furnish({scrap: "1"}))
    commission = make_commission(sheet, no_scrap=True)
    assert sheet_of(make_making(commission=commission), day()).weigh == ()


def test_what_is_weighed_out_already_is_shown_and_not_asked_for_again(studio, linter):
    lot = make_lot(linter)
    making = make_making(make_sheet(make_furnish({linter: "1"})))
    first = sheet_of(making, day()).weigh[0]
    Issue.objects.create(
        making=making, lot=lot, as_is_mg=first.as_is_mg, moisture=lot.moisture,
        oven_dry_mg=first.oven_dry_mg,
    )  # fmt: skip
    (row,) = sheet_of(making, day()).weigh
    assert (row.is_done, row.as_is_mg) == (True, first.as_is_mg)


def test_what_another_making_weighed_out_is_off_the_lot(studio, linter):
    lot = make_lot(linter, as_is_mg=2 * KG)
    sheet = make_sheet(make_furnish({linter: "1"}))
    other = make_making(sheet, pulls=10)
    Issue.objects.create(
        making=other, lot=lot, as_is_mg=1_900_000, moisture=lot.moisture, oven_dry_mg=1_748_000
    )
    found = sheet_of(make_making(sheet), day())
    assert sum(row.oven_dry_mg for row in found.weigh) <= lot.oven_dry_mg - 1_748_000
    assert found.missing


def test_of_a_making_that_is_over_the_sheet_shows_what_was_weighed(studio, linter):
    lot = make_lot(linter)
    making = make_making(make_sheet(make_furnish({linter: "1"})), state=Making.State.GIVEN_UP)
    Issue.objects.create(
        making=making, lot=lot, as_is_mg=700_000, moisture=lot.moisture, oven_dry_mg=644_000
    )
    assert [row.as_is_mg for row in sheet_of(making, day()).weigh] == [700_000]


def test_a_making_of_a_furnish_without_fibre_is_refused(studio):
    furnish = make_furnish()
    sheet = make_sheet(furnish)
    furnish.parts.all().delete()
    with pytest.raises(StudioError, match="has no fibre yet"):
        sheet_of(make_making(sheet), day())


def test_a_sheet_asks_as_often_however_many_makings_are_open(studio, linter):
    make_lot(linter)
    sheet = make_sheet(make_furnish({linter: "1"}))

    def add():
        wanted = make_commission(sheet, good_quantity=10)
        return make_making(commission=wanted, pulls=12, wanted_good=10)

    def asked():
        making = Making.objects.select_related("sheet__furnish", "commission", "mould").first()
        with CaptureQueriesContext(connection) as counted:
            assert sheet_of(making, day()).weigh
        return len(counted)

    add(), add()
    few = asked()
    for _ in range(8):
        add()
    assert asked() == few


# --- planning ------------------------------------------------------------------------------------


def planned(sheet, **changes):
    rest = {"wanted_good": 51, "pulls": None, "planned_on": day(-1), **changes}
    return planning.plan_making(Making(sheet=sheet, **rest), by=None)


def test_pulls_are_those_of_the_safe_count(studio):
    """Published: 61 pulls give 51 good ones at 90 % with 95 % assurance, as in test_calc_culls."""
    make_studio(assurance=Decimal("0.95"))
    sheet = make_sheet(broke=Decimal("0.1"), retree=Decimal(0))
    assert planned(sheet).pulls == 61


def test_makings_are_numbered_and_entered_in_the_book(studio):
    sheet = make_sheet()
    first, second = planned(sheet), planned(sheet)
    assert (first.ref, second.ref) == ("M-001", "M-002")
    assert Entry.objects.filter(act="planned making").count() == 2


def test_one_key_plans_one_making(studio):
    sheet = make_sheet()
    making = planned(sheet)
    key = Entry.objects.get(act="planned making").request_key
    with pytest.raises(AlreadyEnteredError):
        planning.plan_making(
            Making(sheet=sheet, wanted_good=1, pulls=1, planned_on=day()), by=None, key=key
        )
    assert Making.objects.get() == making


def test_a_making_for_a_commission_is_of_its_sheet(studio):
    commission = make_commission()
    with pytest.raises(StudioError, match="asks for"):
        planned(make_sheet(), commission=commission)


def test_nothing_is_planned_for_a_commission_that_is_no_promise(studio):
    commission = make_commission(state=Commission.State.ENQUIRY)
    with pytest.raises(StudioError, match="agreed or being made"):
        planned(commission.sheet, commission=commission)


def test_still_to_make_leaves_out_what_is_made_or_planned(studio):
    commission = make_commission(good_quantity=100)
    make_making(commission=commission, wanted_good=30)
    done = make_making(commission=commission, wanted_good=40, state=Making.State.FINISHED)
    entry = Entry.objects.create(
        request_key="00000000-0000-4000-8000-000000000001", act="a", said="b", page="/"
    )
    done.sheet_movements.create(
        quality="good", kind="made", sheets=25, happened_on=day(), entry=entry
    )
    assert planning.still_to_make(commission) == 45


def test_giving_up_moves_nothing(studio, linter):
    lot = make_lot(linter)
    making = make_making(make_sheet(make_furnish({linter: "1"})), state=Making.State.AT_THE_VAT)
    Issue.objects.create(
        making=making, lot=lot, as_is_mg=700_000, moisture=lot.moisture, oven_dry_mg=644_000
    )
    before = Movement.objects.count()
    planning.give_up(making, by=None)
    assert (Movement.objects.count(), Making.objects.get().state) == (before, "given up")


def test_what_is_over_is_neither_changed_nor_given_up(studio):
    making = make_making(state=Making.State.FINISHED)
    with pytest.raises(StudioError, match="is finished, so it is not changed"):
        planning.change_making(making, by=None)
    with pytest.raises(StudioError, match="is finished, so it is not given up"):
        planning.give_up(making, by=None)


def test_a_page_kept_open_cannot_take_a_making_back_to_planned(studio):
    making = make_making()
    Making.objects.update(state=Making.State.AT_THE_VAT)
    making.pulls = 99
    planning.change_making(making, by=None)
    kept = Making.objects.get()
    assert (kept.state, kept.pulls) == (Making.State.AT_THE_VAT, 99)


# --- the command ---------------------------------------------------------------------------------


def printed(*arguments, **options):
    out = StringIO()
    call_command("making", *arguments, stdout=out, **options)
    return out.getvalue().replace("\u00a0", " ")


def test_the_command_prints_the_sheet(cards):
    cards.dryer = make_dryer(name="Line", drying=Drying.AIR, pulls_per_load=30)
    cards.save()
    text = printed(cards.ref)
    assert "0.540 kg  Flax, lot" in text
    assert "shelf B2; 8 % moisture, 0.497 kg oven-dry" in text
    assert "Charge it with 15 L of stuff and 45 L of water: 0.300 kg of fibre" in text
    assert "Line: 2 loads of 30 pulls, 4 days" in text
    assert "Flax: soak it overnight before it is cooked" in text
    assert "Never pulp down a drain" in text
    assert "Flax: Long fibre wraps round the roll." in text


def test_the_command_and_the_sheet_give_the_same_figures(cards):
    assert json.loads(printed(cards.ref, json=True)) == sheet_of(cards, day()).as_json()


def test_the_command_finds_a_making_however_it_is_typed(cards):
    assert printed(f" {cards.ref.lower()} ") == printed(cards.ref)


def test_the_command_says_which_makings_there_are(cards):
    with pytest.raises(CommandError, match=f"No making is called 'M-9'. There are: {cards.ref}."):
        printed("M-9")
