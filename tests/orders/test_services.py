from decimal import Decimal

import pytest

from fibres.models import FurnishPart, Lot
from orders import costings, prices, services, workings
from orders.calc.costing import FibrePrice
from studio.errors import StudioError
from studio.models import Studio
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
    make_studio,
)
from tests.orders.plans import answer as cover_of_plan
from tests.orders.plans import lot, promise

pytestmark = pytest.mark.django_db


@pytest.fixture
def fibre():
    return make_fibre(name="Abaca sheet pulp", sorting_minutes_per_kg=Decimal(3))


@pytest.fixture
def sheet(fibre):
    return make_sheet(make_furnish({fibre: "1"}))


def price(fibre, picks=(), usable_mg=None) -> FibrePrice:
    """Price what is set aside and no more, or so much usable fibre."""
    parts = list(FurnishPart.objects.select_related("fibre"))
    (found,) = prices.fibre_prices(
        prices.priced_parts(parts, picks),
        usable_mg or sum(pick.usable_mg for pick in picks) or KG,
    )
    return found


def picks_of(commission):
    return services.cover(day()).of(commission.ref).picks


# --- where a price is from


def test_what_is_set_aside_counts_at_its_book_cost(fibre, sheet):
    # By hand: 92.00 for 9.2 kg oven-dry is 10.00 a kilogram.
    held = make_lot(fibre, paid_minor=9200)
    found = price(fibre, picks_of(make_commission(sheet)))
    assert (found.minor_per_kg, found.basis) == (1000, f"book cost of {held.ref}")


def test_book_costs_of_two_lots_are_weighed_by_what_is_taken(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000, paid_minor=460, received_on=day(40))
    make_lot(fibre, paid_minor=18_400, received_on=day(20))
    picks = picks_of(make_commission(sheet))
    first, second = (Decimal(pick.oven_dry_mg) for pick in picks)
    # By hand: 10.00 a kilogram in the first lot, 20.00 in the second.
    expected = (first * 1000 + second * 2000) / (first + second)
    assert price(fibre, picks).minor_per_kg == expected


def test_what_is_not_set_aside_counts_at_the_newest_price_and_says_so(fibre, sheet):
    make_lot(fibre, paid_minor=4600, received_on=day(40))
    newest = make_lot(fibre, paid_minor=9200, received_on=day(20))
    make_lot(fibre, received_on=day(10))
    found = price(fibre)
    assert found.minor_per_kg == 1000
    assert found.basis.startswith(f"newest price, paid for {newest.ref} on ")


def test_a_lot_of_unknown_price_among_the_picks_falls_back_to_the_newest(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000, received_on=day(40))
    make_lot(fibre, paid_minor=9200, received_on=day(20))
    found = price(fibre, picks_of(make_commission(sheet)))
    assert found.minor_per_kg == 1000
    assert "newest price" in found.basis


def test_a_fibre_without_any_price_says_so(fibre, sheet):
    found = price(fibre)
    assert found.minor_per_kg is None
    assert "no price known" in found.basis
    # By hand: 3 minutes a kilogram as is, of which 92 % is no water.
    assert found.sorting_minutes_per_kg == Decimal(3) / Decimal("0.92")


def test_a_gift_costs_nothing_and_its_sorting_counts(fibre, sheet):
    make_lot(fibre, paid_minor=0, sorting_minutes=Decimal(46))
    found = price(fibre, picks_of(make_commission(sheet)))
    # By hand: 46 minutes over 9.2 kg oven-dry is 5 a kilogram.
    assert (found.minor_per_kg, found.sorting_minutes_per_kg) == (0, 5)


def test_costs_ask_the_database_as_often_for_one_number_as_for_many(
    sheet, django_assert_num_queries
):
    for numbers in ([10], range(1, 30)):
        with django_assert_num_queries(6):
            services.costs_of(sheet, numbers)


def test_a_furnish_without_fibre_cannot_be_costed(sheet):
    sheet.furnish.parts.all().delete()
    with pytest.raises(StudioError, match="has no fibre yet"):
        services.costs_of(sheet, [10])


def test_a_sheet_with_minutes_of_its_own_is_costed_by_them(fibre):
    make_studio(hourly_rate_minor=2000, minutes_per_pull=Decimal(6), setup_minutes=60)
    slow = make_sheet(make_furnish({fibre: "1"}), minutes_per_pull=Decimal(12), setup_minutes=30)
    usual = costings.rates_of(Studio.current(), make_sheet())
    own = costings.rates_of(Studio.current(), slow)
    assert (usual.minutes_per_pull, usual.setup_minutes) == (6, 60)
    assert (own.minutes_per_pull, own.setup_minutes) == (12, 30)


def test_of_two_kinds_of_lots_the_yield_is_that_of_what_is_taken(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000, paid_minor=460, received_on=day(40))
    good = make_lot(fibre, paid_minor=9200, received_on=day(20))
    Lot.objects.filter(pk=good.pk).update(preparation_yield=Decimal("0.5"))
    picks = picks_of(make_commission(sheet))
    usable = sum(pick.usable_mg for pick in picks)
    oven_dry = sum(pick.oven_dry_mg for pick in picks)
    assert price(fibre, picks).preparation_yield == Decimal(usable) / oven_dry
    plans = services.plan_by_fibre(services.cover(day()).commissions[0])
    # By hand: 460 g at 95 % give 437 g; the 398.446 g missing of 835.446 g take 796.893 g at
    # 50 %. 835.446 / 1256.893 is 66.5 %.
    assert "/ 66.5 % preparation yield" in (
        workings.fibre_lines(plans, "metric")[0].because.replace("\u00a0", " ")
    )


def test_what_is_short_counts_at_the_newest_price_beside_the_book_cost(fibre, sheet):
    # By hand: 460 g oven-dry at 20.00 give 437 g usable. 836 g usable want 420 g more at 95 %,
    # at 10.00: (0.46 × 20.00 + 0.42 × 10.00) / 0.88 is 15.2273 a kilogram.
    held = make_lot(fibre, as_is_mg=500_000, paid_minor=920, received_on=day(40))
    newest = make_lot(fibre, as_is_mg=KG, paid_minor=920, received_on=day(20))
    Lot.objects.filter(pk=newest.pk).update(oven_dry_mg=0)
    found = price(fibre, picks_of(make_commission(sheet)), 836_000)
    assert found.minor_per_kg == Decimal(460 * 2000 + 420 * 1000) / 880
    assert found.preparation_yield == Decimal("0.95")
    assert found.basis.replace("\u00a0", " ") == (
        f"book cost of {held.ref} for 0.460 kg, the rest at the newest price, paid for "
        f"{newest.ref} on {newest.received_on:%d %b %Y}"
    )


def test_each_number_takes_what_it_needs_from_the_lots_set_aside(fibre, sheet):
    # 10 sheets fit in what is set aside for 100, 250 do not.
    make_lot(fibre, as_is_mg=KG, paid_minor=1840, received_on=day(40))
    newest = make_lot(fibre, paid_minor=9200, received_on=day(20))
    Lot.objects.filter(pk=newest.pk).update(oven_dry_mg=0)
    picks = picks_of(make_commission(sheet))
    few, many = services.costs_of(sheet, [10, 250], picks=picks)
    assert "newest price" not in few.notes[0]
    assert "the rest at the newest price" in many.notes[0]
    by_kg = {found.quantity: found.parts[0].because.split(" at ")[1] for found in (few, many)}
    # By hand: 20.00 / 0.95 for few. For 250 it is 285 pulls × 7.328475 g = 2088.616 g usable,
    # of which 835.447 g at 20.00 and 1253.169 g at 10.00, all over 0.95.
    assert by_kg == {10: "£21.05 a kg", 250: "£14.74 a kg"}


def test_a_gift_is_the_newest_price_only_of_what_was_never_bought(fibre, sheet):
    bought = make_lot(fibre, paid_minor=9200, received_on=day(40))
    make_lot(fibre, paid_minor=0, received_on=day(10))
    assert price(fibre).minor_per_kg == 1000
    Lot.objects.filter(pk=bought.pk).update(paid_minor=None)
    assert price(fibre).minor_per_kg == 0


def test_what_is_short_and_has_no_price_is_missing(fibre, sheet):
    make_lot(fibre, as_is_mg=500_000)
    found = services.cost_of(asked := make_commission(sheet), picks=picks_of(asked))
    assert found.missing == ("Abaca sheet pulp",)


def test_costs_are_worded_in_the_units_of_the_studio(fibre, sheet):
    make_studio(units="US", currency="USD", water_litres_per_pull=Decimal(10), heel_mg=KG)
    make_lot(fibre, paid_minor=9200)
    asked = make_commission(sheet)
    words = {
        part.key: part.because.replace("\u00a0", " ")
        for part in services.cost_of(asked, picks=picks_of(asked)).parts
    }
    # By hand: 835.446 g is 29.47 oz; 10.00 / 0.95 a kilogram × 0.45359237 is 4.77.
    assert words["fibre"] == "1 lb 13.5 oz in the vat at $4.77 a lb"
    assert words["waste"].endswith("2 lb 3.3 oz in the heel")
    assert words["energy_water"].endswith(" gal")
    assert not [said for said in words.values() if " kg" in said]


# --- fibre by fibre


def test_needs_are_what_is_set_aside_and_what_is_short():
    lots = [lot(usable=600, oven_dry_mg=700)]
    (plan,) = services.plan_by_fibre(cover_of_plan(lots, [promise()]).commissions[0])
    assert plan.needs_mg == plan.set_aside_mg + plan.short_mg
    assert (plan.fibre, plan.share, plan.set_aside_mg) == ("linter", 1, 700)


# --- steps


def test_every_state_has_its_steps_and_none_leads_nowhere():
    states = set(services.State)
    assert set(services.MOVES) == states
    assert all(set(following) <= states for following in services.MOVES.values())


@pytest.mark.parametrize(
    ("state", "to"),
    [(state, to) for state, allowed in services.MOVES.items() for to in services.State
     if to not in allowed],
)  # fmt: skip
def test_a_step_that_cannot_follow_is_refused(sheet, state, to):
    asked = make_commission(sheet, state=state)
    with pytest.raises(StudioError, match="after that it can become"):
        services.move(asked, to, by=None)
    asked.refresh_from_db()
    assert asked.state == state
