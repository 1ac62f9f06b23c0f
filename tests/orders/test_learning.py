"""What finished makings teach, and what they cannot tell apart."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres.models import Drying
from orders import learning
from orders.learning.figures import Figure
from orders.makings import log
from orders.makings.finish import finish
from orders.models import Making, TrialSheet
from tests.builders import (
    KG,
    day,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_mould,
    make_sheet,
    make_studio,
)
from tests.orders.learnings import found, linter, make_done, take_over

pytestmark = pytest.mark.django_db
D = Decimal


# --- yield and retention


def test_yield_of_a_fibre_is_learned_with_the_retention_held():
    # 100 pulls of 7 g is 700 g; at 96 % that is 729.17 g, of 800 g and of 760 g issued.
    fibre, lot, sheet = linter()
    make_done(sheet, lots={lot: 800_000})
    make_done(sheet, lots={lot: 760_000})
    one = found(Figure.YIELD, f"fibre {fibre.pk}")
    assert [seen.value for seen in one.seen] == [D("0.911458"), D("0.959430")]
    assert one.value == D("0.9354")
    # Two makings say little: 12.7 × s / √2.
    assert one.low < D("0.7")
    assert one.high == 1
    assert "96\u00a0%" in one.given
    assert (one.stands, one.origin) == (D("0.95"), "set")


def test_retention_of_the_sheet_is_learned_with_the_yield_held():
    # 700 g of 800 g × 95 % less a heel of 10 g at 90 % water, 1 g: 700 / 759.
    _, lot, sheet = linter()
    heel = {"heel": "thrown", "heel_as_is_mg": 10_000, "heel_moisture": D("0.9")}
    make_done(sheet, lots={lot: 800_000}, **heel)
    one = found(Figure.RETENTION, f"sheet {sheet.pk}")
    assert one.seen[0].value == D("0.922266")
    assert one.low is None
    assert "after two" in one.refusal


def test_taking_over_the_yield_leaves_retention_as_it_stands(owner):
    fibre, lot, sheet = linter()
    for mass in (800_000, 800_000):
        make_done(sheet, lots={lot: mass})
    assert found(Figure.RETENTION, f"sheet {sheet.pk}").value == D("0.9211")
    take_over(Figure.YIELD, f"fibre {fibre.pk}", by=owner)
    again = found(Figure.RETENTION, f"sheet {sheet.pk}")
    assert again.value == D("0.9600")
    assert again.refusal == "It stands at this already."


def test_a_making_of_two_fibres_teaches_no_yield_but_retention():
    cotton, abaca = make_fibre(name="Cotton"), make_fibre(name="Hemp", preparation_yield=D("0.8"))
    sheet = make_sheet(make_furnish({cotton: "0.5", abaca: "0.5"}))
    lots = {make_lot(cotton, as_is_mg=5 * KG): 400_000, make_lot(abaca, as_is_mg=5 * KG): 500_000}
    make_done(sheet, lots=lots)
    assert found(Figure.YIELD, f"fibre {cotton.pk}") is None
    # 400 × 0.95 + 500 × 0.8 = 780 g; 700 / 780.
    assert found(Figure.RETENTION, f"sheet {sheet.pk}").seen[0].value == D("0.897436")


def test_a_lot_with_its_own_yield_teaches_none_to_its_fibre():
    fibre, _, sheet = linter()
    own = make_lot(fibre, as_is_mg=5 * KG, preparation_yield=D("0.9"))
    make_done(sheet, lots={own: 800_000})
    assert found(Figure.YIELD, f"fibre {fibre.pk}") is None
    assert found(Figure.RETENTION, f"sheet {sheet.pk}").seen[0].value == D("0.972222")


def test_filler_in_the_sheet_is_not_fibre():
    fibre = make_fibre()
    sheet = make_sheet(make_furnish({fibre: "1"}), non_fibre_share=D("0.1"))
    make_done(sheet, lots={make_lot(fibre): 800_000})
    # 630 g of 760 g.
    assert found(Figure.RETENTION, f"sheet {sheet.pk}").seen[0].value == D("0.828947")


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"lots": {}}, "No fibre was issued to it."),
        ({"counts": (0, 88, 4, 8)}, "No pull was counted."),
        ({"sheet_mg": None}, "No sheet was dried and weighed."),
        ({"heel": "thrown"}, "What was left in the vat was not weighed."),
        ({"heel": ""}, "What was left in the vat was not weighed."),
        (
            {"heel": "kept", "heel_as_is_mg": 10 * KG, "heel_moisture": D("0.8")},
            "More was left in the vat than went in.",
        ),
    ],
)
def test_a_making_that_was_not_weighed_through_is_left_out_and_says_why(changes, why):
    _, lot, sheet = linter()
    making = make_done(sheet, **{"lots": {lot: 800_000}, **changes})
    page = learning.learn()
    assert page.left_out == ((making.ref, making.get_absolute_url(), why),)
    assert not {Figure.YIELD, Figure.RETENTION} & {one.figure for one in page.figures}


def test_more_than_all_of_it_cannot_be_taken_over():
    fibre, lot, sheet = linter()
    for _ in range(2):
        make_done(sheet, lots={lot: 700_000})
    # 700 g at 96 % took 729 g, and 700 g were issued.
    assert "more than all cannot be left" in found(Figure.YIELD, f"fibre {fibre.pk}").refusal


def test_what_was_logged_at_the_vat_and_finished_teaches(owner):
    _, lot, sheet = linter()
    making = make_making(sheet)
    log.start(making, by=owner)
    log.issue(making, lot, as_is_mg=1_000_000, by=owner)
    for what, number in (("pulls", 100), ("good", 90), ("broke", 10)):
        log.tap(making, what, post=1, change=number, by=owner)
    trial = TrialSheet(number=1, mass_mg=9_000, moisture=D("0.06"))
    log.weigh_trial(making, trial, by=owner)
    log.note_heel(making, "none", by=owner)
    finish(making, by=owner)
    # 100 pulls of 8.46 g; 1 kg at 8 % moisture and 95 % yield is 874 g: 846 / 874.
    one = found(Figure.RETENTION, f"sheet {sheet.pk}")
    assert one.seen[0].value == D("0.967963")
    assert found(Figure.BROKE, f"sheet {sheet.pk}").seen[0].value == D("0.1")


def test_only_finished_makings_teach():
    _, lot, sheet = linter()
    for state in (Making.State.PLANNED, Making.State.AT_THE_VAT, Making.State.GIVEN_UP):
        making = make_done(sheet, lots={lot: 800_000})
        Making.objects.filter(pk=making.pk).update(state=state)
    assert learning.learn() == learning.Page((), 0, ())


# --- broke, retree, minutes


def test_broke_and_retree_are_learned_over_makings():
    sheet = make_sheet()
    for counts in ((100, 90, 4, 6), (100, 80, 2, 18), (100, 88, 3, 9)):
        make_done(sheet, counts=counts)
    broke, retree = (found(name, f"sheet {sheet.pk}") for name in ("broke", "retree"))
    # Three makings at 6, 18 and 9 %, and two at the 8 % that were set: 9.8 %.
    assert broke.value == D("0.0980")
    assert retree.value == D("0.0340")
    assert (broke.makings, broke.stands_in, broke.set_at) == (3, 2, D("0.08"))
    assert broke.low < broke.value < broke.high
    assert [seen.of for seen in broke.seen] == [100] * 3


def test_what_was_learned_does_not_stand_in_for_what_was_set(owner):
    sheet = make_sheet()
    for _ in range(2):
        make_done(sheet, counts=(100, 70, 4, 26))
    before = found(Figure.BROKE, f"sheet {sheet.pk}").value
    take_over(Figure.BROKE, f"sheet {sheet.pk}", by=owner)
    sheet.refresh_from_db()
    assert sheet.broke == before
    # Asked again, the same makings say the same, not more of it.
    again = found(Figure.BROKE, f"sheet {sheet.pk}")
    assert (again.value, again.set_at) == (before, D("0.08"))
    assert again.refusal == "It stands at this already."


def test_broke_set_by_hand_since_is_what_stands_in(owner):
    sheet = make_sheet()
    make_done(sheet, counts=(100, 70, 4, 26))
    take_over(Figure.BROKE, f"sheet {sheet.pk}", by=owner)
    sheet.refresh_from_db()
    sheet.broke = D("0.05")
    sheet.save()
    assert found(Figure.BROKE, f"sheet {sheet.pk}").set_at == D("0.05")


def test_minutes_a_pull_leave_setting_up_out():
    sheet = make_sheet()
    make_done(sheet, minutes={"set up": 75, "form": 300, "press": 120})
    make_done(sheet, minutes={"form": 440})
    make_done(sheet, minutes={"sort": 60})  # nobody timed the forming
    one = found(Figure.MINUTES, f"sheet {sheet.pk}")
    assert [seen.value for seen in one.seen] == [D("4.2"), D("4.4")]
    assert (one.value, one.stands, one.origin) == (D("4.30"), None, "usual")


# --- moulds and shrinkage


def test_draw_comes_of_weighed_sheets_whose_vat_is_known():
    mould = make_mould(width_um=210_000, height_um=297_000)
    sheet = make_sheet(mould=mould)
    # 6.237 g over 0.06237 m² is 100 g/m²; at 5 g a kilogram that is 20 mm of vat.
    making = make_done(sheet, sheet_mg=6_237, trial={"consistency": D("0.005")})
    TrialSheet.objects.create(making=making, number=9, mass_mg=5_000, moisture=D(0))
    make_done(sheet, sheet_mg=5_613, consistency=D("0.0045"))  # as charged: its first pull
    one = found(Figure.DRAW, f"mould {mould.pk}")
    assert [seen.value for seen in one.seen] == [20_000, 19_999]
    assert one.stands is None
    # Half to even.
    assert one.value == 20_000


def weighed_at_the_vat(sheet, *trials, **changes):
    """Log trial sheets as the page does, and close the making."""
    making = log.start(make_making(sheet, **changes), by=None)
    for trial in trials:
        log.weigh_trial(making, trial, by=None)
    Making.objects.filter(pk=making.pk).update(state=Making.State.FINISHED, finished_on=day())
    return making


def plain(mould, **changes):
    """Return a sheet of 100 g/m² that is all fibre, and neither shrinks nor holds water."""
    return make_sheet(
        make_furnish(shrinkage=("0", "0"), drying="restraint"), mould=mould, width_um=210_000,
        height_um=297_000, grammage=100, sheet_moisture=0, non_fibre_share=0, **changes,
    )  # fmt: skip


def test_first_pull_teaches_by_what_the_sheet_charged_from_the_draw():
    # Charged for 100 g/m² by a draw of 20 mm: 5 g/L. The first sheet weighs 6.860 g on
    # 0.06237 m², 109.99 g/m²: the mould draws 22 mm.
    mould = make_mould(width_um=210_000, height_um=297_000, draw_um=20_000)
    first = TrialSheet(number=1, mass_mg=6_860, moisture=D(0))
    later = TrialSheet(number=9, mass_mg=5_000, moisture=D(0))
    making = weighed_at_the_vat(plain(mould), first, later, mould=mould)
    assert [one.consistency for one in making.trial_sheets.all()] == [D("0.005"), None]
    # Taken over or set by hand since: what the vat was charged with that day stays.
    type(mould).objects.filter(pk=mould.pk).update(draw_um=25_000)
    one = found(Figure.DRAW, f"mould {mould.pk}")
    assert [seen.value for seen in one.seen] == [pytest.approx(21_998, abs=1)]


def test_first_pull_teaches_the_first_draw_by_the_usual_consistency():
    make_studio(vat_consistency=D("0.004"))
    mould = make_mould(width_um=210_000, height_um=297_000)
    first = TrialSheet(number=1, mass_mg=6_237, moisture=D(0))
    weighed_at_the_vat(plain(mould), first, mould=mould)
    # 100 g/m² at 4 g/L.
    assert found(Figure.DRAW, f"mould {mould.pk}").seen[0].value == 25_000


def test_what_was_measured_goes_before_what_was_charged():
    mould = make_mould(width_um=210_000, height_um=297_000, draw_um=20_000)
    first = TrialSheet(number=1, mass_mg=6_237, moisture=D(0), consistency=D("0.004"))
    weighed_at_the_vat(plain(mould), first, mould=mould)
    assert found(Figure.DRAW, f"mould {mould.pk}").seen[0].value == 25_000


def test_kept_heel_is_that_of_its_lot_as_it_was_put_right():
    # 700 g formed of 760 g usable; a heel first weighed as 1 g and put right to 60 g leaves 700.
    fibre, lot, sheet = linter()
    kept = make_lot(fibre, as_is_mg=10_000, moisture=D("0.9"))
    heel = {"heel": "kept", "heel_as_is_mg": 10_000, "heel_moisture": D("0.9")}
    making = make_done(sheet, lots={lot: 800_000}, **heel)
    assert found(Figure.RETENTION, f"sheet {sheet.pk}").seen[0].value == D("0.922266")
    Making.objects.filter(pk=making.pk).update(heel_lot=kept)
    type(kept).objects.filter(pk=kept.pk).update(received_oven_dry_mg=60_000, as_is_mg=600_000)
    assert found(Figure.RETENTION, f"sheet {sheet.pk}").seen[0].value == 1


def test_sheets_of_one_making_count_as_one_making():
    mould = make_mould(width_um=210_000, height_um=297_000)
    making = make_done(make_sheet(mould=mould), sheet_mg=6_237, trial={"consistency": D("0.005")})
    for number in (2, 3):
        TrialSheet.objects.create(
            making=making, number=number, mass_mg=3_118, moisture=D(0), consistency=D("0.005")
        )
    one = found(Figure.DRAW, f"mould {mould.pk}")
    assert one.makings == 1
    # 20 mm and twice 9.998 mm.
    assert one.value == pytest.approx(13_332, abs=1)


def test_shrinkage_is_learned_both_ways_by_furnish_and_drying():
    furnish, mould = make_furnish(shrinkage=("0.02", "0.01"), drying="loft"), make_mould()
    sheet = make_sheet(furnish, mould=mould)
    for across in (304_000, 300_800):
        trial = {"width_um": across, "height_um": 441_000}
        make_done(sheet, drying=Drying.LOFT, trial=trial)
    make_done(sheet, drying=Drying.AIR, trial={"width_um": 300_000})
    one = found("across", f"furnish {furnish.pk} loft")
    assert [seen.value for seen in one.seen] == [D("0.05"), D("0.06")]
    assert (one.value, one.stands) == (D("0.0550"), D("0.02"))
    assert found("along", f"furnish {furnish.pk} loft").value == D("0.0200")
    assert found("along", f"furnish {furnish.pk} air") is None


def test_a_sheet_that_grew_cannot_be_taken_over():
    furnish, mould = make_furnish(), make_mould()
    for _ in range(2):
        make_done(make_sheet(furnish, mould=mould), trial={"width_um": 330_000})
    one = found("across", f"furnish {furnish.pk} restraint")
    assert "a shrinkage is from 0 to 60\u00a0%" in one.refusal


# --- reading


def test_reading_takes_the_same_queries_for_1_and_20_makings():
    def read():
        with CaptureQueriesContext(connection) as counted:
            learning.learn()
        return len(counted)

    def add(number):
        mould = make_mould()
        fibre = make_fibre()
        sheet = make_sheet(make_furnish({fibre: "1"}), mould=mould)
        make_done(
            sheet,
            heel=Making.Heel.KEPT,
            heel_lot=make_lot(fibre, as_is_mg=10_000, moisture=D("0.9")),
            lots={make_lot(fibre): 800_000},
            minutes={"form": 300},
            trial={"consistency": D("0.005"), "width_um": 300_000, "height_um": 440_000},
            finished_on=day(number),
        )

    add(0)
    few = read()
    for number in range(1, 20):
        add(number)
    assert read() == few


def test_makings_are_told_in_the_order_they_were_finished():
    sheet = make_sheet()
    late, early = make_done(sheet), make_done(sheet, finished_on=day() - timedelta(days=40))
    one = found(Figure.BROKE, f"sheet {sheet.pk}")
    assert [seen.ref for seen in one.seen] == [early.ref, late.ref]


def test_a_planned_making_is_no_history():
    make_making()
    assert learning.learn().makings == 0
