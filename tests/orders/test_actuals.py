"""What a making cost beside its reckoning: fibre by the book, hours, doses, what was kept."""

from decimal import Decimal

import pytest

from fibres import services as store
from fibres.models import Addition, Lot
from orders import actuals
from orders.makings import finish, log
from orders.models import Commission, Making
from tests.builders import (
    KG,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_making,
    make_sheet,
    make_studio,
)
from tests.orders.looking import look, queries, said
from tests.orders.vatdays import broke_fibre, count

pytestmark = pytest.mark.django_db


@pytest.fixture
def rates():
    """Pay of 20.00 an hour and nothing else, so that sums can be made by hand."""
    return make_studio(
        hourly_rate_minor=2000, overhead_minor_per_hour=300, setup_minutes=60,
        minutes_per_pull=Decimal(6), trial_pulls=0, packing_minor_per_sheet=5,
        energy_kwh_per_kg=Decimal(0), energy_kwh_per_pull=Decimal("0.1"),
        energy_minor_per_kwh=Decimal(30), water_litres_per_pull=Decimal(0),
        price_by="margin", price_rate=Decimal("0.5"),
    )  # fmt: skip


@pytest.fixture
def asked(rates):
    """Two lots of one fibre, the first at 10.00 and the second at 20.00 a kilogram."""
    fibre = make_fibre(name="Abaca", preparation_yield=Decimal(1))
    make_lot(fibre, as_is_mg=KG, moisture="0", paid_minor=1_000)
    make_lot(fibre, as_is_mg=10 * KG, moisture="0", paid_minor=20_000)
    furnish = make_furnish({fibre: "1"})
    furnish.additions.create(name="Chalk", kind="filler", dose="0.05", minor_per_kg=400)
    sheet = make_sheet(furnish)
    return make_commission(sheet, ref="C-101", state=Commission.State.MAKING)


def run(commission, *, issued=((1, 2 * KG),), good=90, retree=4, pulls=110, minutes=None, **kept):
    """Log and finish a making for a commission: issues by the number of the lot."""
    making = log.start(make_making(commission=commission, mould=None), by=None)
    lots = list(Lot.objects.filter(fibre__furnish_parts__isnull=False).order_by("pk"))
    for number, mass in issued:
        log.issue(making, lots[number], as_is_mg=mass, by=None)
    count(making, pulls=pulls, good=good, retree=retree)
    for operation, spent in (minutes or {}).items():
        log.spend(making, operation, Decimal(spent), by=None)
    if "broke" in kept:
        log.note_broke(
            making, as_is_mg=kept["broke"], moisture=Decimal(0), fibre=broke_fibre(), by=None
        )
    log.note_heel(making, Making.Heel.NONE, by=None)
    return finish.finish(making, by=None)


def line(found, label):
    return next(one for one in found.lines if one.label.startswith(label))


def plain(words):
    return words.replace("\u00a0", " ")


# --- by hand -----------------------------------------------------------------------------------


def test_before_a_making_is_finished_there_is_nothing_to_compare(asked):
    make_making(commission=asked)
    assert actuals.of_commission(asked) is None


def test_fibre_is_that_issued_at_its_book_cost(asked):
    # By hand: 2 kg out of the second lot; first in first out they are 1 kg at 10.00, 1 at 20.00.
    run(asked)
    found = actuals.of_commission(asked)
    assert found.actual.fibre_mg == 2 * KG
    assert line(found, "Fibre issued").actual == 3_000


def test_on_average_it_is_at_the_price_of_all(asked):
    # By hand: 210.00 for 11 kg is 19.0909 a kilogram.
    make_studio(book_cost="average")
    run(asked)
    found = line(actuals.of_commission(asked), "Fibre issued")
    assert round(found.actual, 4) == round(Decimal(2 * 21_000) / 11, 4)


def test_hours_are_those_noted(asked):
    # By hand: 60 + 540 minutes are 10 h at 20.00 and at 3.00.
    run(asked, minutes={"set up": 60, "form": 540})
    found = actuals.of_commission(asked)
    assert found.actual.minutes == 600
    assert line(found, "Hours").actual == 20_000
    assert line(found, "Rooms").actual == 3_000


def test_where_no_minutes_were_noted_the_usual_ones_stand_in_and_it_is_said(asked):
    # By hand: 110 pulls of 6 minutes and 60 to set up are 720 minutes, 12 h.
    run(asked)
    found = actuals.of_commission(asked)
    assert found.actual.minutes == 720
    assert "no minutes were noted of" in line(found, "Hours").reason


def test_sorting_of_the_fibre_that_was_issued_is_counted(asked):
    # By hand: 30 minutes of sorting for 10 kg; the 2 kg issued took 6 of them.
    Lot.objects.filter(paid_minor=20_000).update(sorting_minutes=30)
    run(asked, minutes={"set up": 60, "form": 540})
    found = actuals.of_commission(asked)
    assert found.actual.minutes == 606
    assert "sorting of its fibre counted" in line(found, "Hours").reason


def test_a_set_up_that_was_not_noted_counts_as_usual(asked):
    run(asked, minutes={"form": 540})
    found = actuals.of_commission(asked)
    assert found.actual.minutes == 600
    assert "was not noted: the usual minutes" in line(found, "Hours").reason


def test_doses_cost_what_was_dosed(asked):
    # By hand: 50 g of chalk at 4.00 a kilogram.
    making = log.start(make_making(commission=asked), by=None)
    log.issue(making, Lot.objects.order_by("pk")[1], as_is_mg=2 * KG, by=None)
    log.dose(making, "Chalk", kind=Addition.Kind.FILLER, mass_mg=50_000, by=None)
    log.dose(making, "Onion skins", kind=Addition.Kind.PIGMENT, mass_mg=1_000, by=None)
    count(making, pulls=110, good=90)
    log.note_heel(making, Making.Heel.NONE, by=None)
    finish.finish(making, by=None)
    found = actuals.of_commission(asked)
    assert line(found, "Sizing").actual == 20
    assert "50.00 g of Chalk" in plain(line(found, "Sizing").reason)
    assert found.missing == ("Onion skins",)


def test_broke_that_was_kept_is_told_and_stands_at_nothing(asked):
    run(asked, broke=100_000)
    found = actuals.of_commission(asked)
    assert found.actual.recovered_minor == 0
    note = dict(found.actual.notes)["recovered"]
    assert "which the book has at nothing" in note
    # Given a price by the owner, it is taken off here and paid for by the next making.
    Lot.objects.filter(broke_of__isnull=False).update(paid_minor=150)
    found = actuals.of_commission(asked)
    assert found.actual.recovered_minor == 150
    assert line(found, "Heel and broke").actual == -150


def test_energy_packing_and_the_whole_add_up(asked):
    # By hand: 110 pulls × 0.1 kWh × 0.30 = 3.30; 90 good × 0.05 = 4.50; fibre 30.00; 720 min at
    # 20.00 + 3.00 an hour = 276.00. In all 313.80, 3.4867 a good sheet.
    run(asked)
    found = actuals.of_commission(asked)
    assert line(found, "Energy").actual == 330
    assert line(found, "Packing").actual == 450
    assert found.actual.total_minor == 3_000 + 27_600 + 330 + 450
    assert sum(one.actual for one in found.lines) == found.actual.total_minor
    assert sum(one.difference for one in found.lines) == (
        found.actual.total_minor - found.reckoned.total_minor
    )
    assert found.words[0] == "90 good sheets came of 100 that were reckoned with, and 4 retree."
    assert "A good sheet cost £3.49" in found.words[1]


def test_what_is_reckoned_is_the_cost_of_the_commission(asked):
    run(asked)
    found = actuals.of_commission(asked)
    from orders import services

    cost = services.cost_of(asked)
    assert round(found.reckoned.total_minor, 6) == round(cost.total_minor_per_sheet * 100, 6)


def test_the_price_that_was_agreed_is_set_against_the_cost(asked):
    run(asked)
    assert "that is reckoned" in actuals.of_commission(asked).words[2]
    Commission.objects.filter(pk=asked.pk).update(agreed_price_minor=600)
    asked.refresh_from_db()
    found = actuals.of_commission(asked)
    # By hand: 6.00 less 3.49 is 2.51, 41.8 % of it.
    assert plain(found.words[2]) == (
        "At the price of £6.00 that is agreed, each leaves £2.51, 41.8 % of it."
    )
    Commission.objects.filter(pk=asked.pk).update(agreed_price_minor=300)
    asked.refresh_from_db()
    assert "each loses £0.49" in actuals.of_commission(asked).words[2]


def test_an_issue_that_was_put_right_later_counts_as_it_is_now(asked):
    making = run(asked)
    movement = making.issues.get().movement
    store.correct(movement, as_is_mg=KG, happened_on=making.finished_on, why="misread", by=None)
    # By hand: 1 kg at 10.00.
    found = actuals.of_commission(asked)
    assert (found.actual.fibre_mg, found.actual.fibre_minor) == (KG, 1_000)


def test_several_makings_are_added_up(asked):
    run(asked, issued=((0, KG),), good=40, retree=0, pulls=50)
    run(asked, issued=((1, KG),), good=50, retree=2, pulls=60)
    found = actuals.of_commission(asked)
    assert (found.actual.good, found.actual.retree, found.actual.pulls) == (90, 2, 110)
    assert found.actual.fibre_minor == 3_000
    assert found.reckoned.good == 200


def test_a_making_where_no_sheet_was_good_has_no_cost_of_one(asked):
    run(asked, good=0, retree=0)
    found = actuals.of_commission(asked)
    assert found.words[1] == "No good sheet came of it, so there is no cost of one."


def test_fibre_without_a_price_is_named(asked):
    Lot.objects.update(paid_minor=None)
    run(asked)
    assert "Abaca" in actuals.of_commission(asked).missing


# --- pages -------------------------------------------------------------------------------------


def test_the_owner_reads_it_on_the_making_and_on_its_commission(owner_client, asked):
    making = run(asked)
    for page in (f"/makings/{making.ref}/", "/commissions/C-101/"):
        text = said(look(owner_client, page))
        assert "90 good sheets came of 100" in text
        assert "no minutes were noted of" in text


def test_what_came_cheaper_is_no_lack(owner_client, asked):
    making = run(asked)
    page = look(owner_client, f"/makings/{making.ref}/")
    labels = {"Reckoned, £", "As it came, £", "Difference, £"}
    cells = [cell for cell in page.all("td") if cell.attrs.get("data-label") in labels]
    assert any(cell.text.strip().startswith("−") for cell in cells)
    assert any(cell.text.strip().startswith("+") for cell in cells)
    assert not any("off" in cell.attrs["class"].split() for cell in cells)


@pytest.mark.parametrize("who", ["hand_client", "viewer_client"])
def test_who_sees_no_money_reads_nothing_of_it(request, who, asked):
    making = run(asked)
    client = request.getfixturevalue(who)
    for page in (f"/makings/{making.ref}/", "/commissions/C-101/"):
        found = look(client, page)
        assert "As it came" not in [head.text for head in found.all("h2")]
        assert "£" not in found.one("html").text


def test_the_making_asks_as_often_for_one_issue_as_for_ten(owner_client, asked):
    one = run(asked, issued=((1, 200_000),), good=5, retree=0, pulls=6)
    ten = run(asked, issued=((1, 200_000),) * 10, good=5, retree=0, pulls=6)
    few, many = (queries(owner_client, f"/makings/{making.ref}/") for making in (one, ten))
    assert few == many
