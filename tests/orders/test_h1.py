"""A studio with plenty of fibre, and short of the minor one: worked out by hand beforehand.

Tarnlow Vat Yard is invented; its figures were computed apart from this code with the formulas
printed beside them. Every test goes from rows of the database to the answer.
"""

from datetime import date
from decimal import Decimal

import pytest

from orders import services, snapshot
from orders.calc.spec import SheetSpec
from studio.models import Studio
from studio.units import mg_to_kg
from tests.builders import (
    KG,
    make_client,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_mould,
    make_sheet,
    make_source,
)

pytestmark = pytest.mark.django_db

TODAY = date(2027, 3, 1)
DUE = {"C1": date(2027, 3, 6), "C2": date(2027, 3, 20), "C3": date(2027, 4, 3)}


@pytest.fixture
def yard():
    source = make_source(name="Sallow Fibre Merchants")
    linter = make_fibre(name="cotton linter", code="LI", preparation_yield=Decimal("0.98"))
    abaca = make_fibre(name="abaca", code="AB", preparation_yield=Decimal("0.97"))
    received = {"source": source, "received_on": date(2024, 11, 4)}
    make_lot(linter, as_is_mg=14_200_000, moisture="0.075", paid_minor=11_644, **received)
    make_lot(linter, as_is_mg=6 * KG, moisture="0.09", paid_minor=4_740, **received)
    make_lot(abaca, as_is_mg=4_500_000, moisture="0.10", paid_minor=7_425, **received)
    furnishes = {
        "C1": make_furnish({linter: "0.8", abaca: "0.2"}, name="80 linter, 20 abaca"),
        "C2": make_furnish({linter: "1"}, name="all linter"),
        "C3": make_furnish({linter: "0.6", abaca: "0.4"}, name="60 linter, 40 abaca"),
    }
    asked = [
        ("C1", "Ockle Press", 120, 559, 762, 250, "0.03"),
        ("C2", "Merrowby Bindery", 400, 210, 297, 120, "0"),
        ("C3", "Dunnard Print Room", 60, 457, 610, 200, "0"),
    ]
    for ref, client, good, width, height, grammage, filler in asked:
        sheet = make_sheet(
            furnishes[ref],
            name=f"Sheet of {ref}",
            width_um=width * 1000,
            height_um=height * 1000,
            grammage=Decimal(grammage),
            non_fibre_share=Decimal(filler),
        )
        make_commission(
            sheet,
            make_client(name=client),
            ref=ref,
            good_quantity=good,
            due=DUE[ref],
        )
    make_mould(name="Double elephant", width_um=572_000, height_um=780_000)
    return services.cover(TODAY)


def kilograms(milligrams):
    return round(mg_to_kg(milligrams), 3)


def test_short_of_abaca_by_0_360_kg_oven_dry(yard):
    found = yard.of("C3")
    assert found.state == "short"
    assert [(lack.fibres, kilograms(lack.oven_dry_mg)) for lack in found.short] == [
        (("abaca",), Decimal("0.360"))
    ]


def test_45_of_60_sheets_are_possible(yard):
    found = yard.of("C3")
    assert (found.covered_sheets, found.wanted) == (45, 60)


def test_the_others_are_covered(yard):
    assert [yard.of(ref).short for ref in ("C1", "C2")] == [(), ()]


def test_need_of_each_fibre_against_what_is_on_hand(yard):
    needs = {"cotton linter": 0, "abaca": 0}
    for found in yard.commissions:
        for plan in services.plan_by_fibre(found):
            needs[plan.fibre] += plan.needs_mg
    assert {name: kilograms(need) for name, need in needs.items()} == {
        "cotton linter": Decimal("17.020"),
        "abaca": Decimal("4.410"),
    }


def test_on_hand_exceeds_the_need_in_total_all_the_same(yard):
    on_hand = sum(lot.oven_dry_mg for lot in snapshot.read(TODAY).lots)
    need = sum(
        plan.needs_mg for found in yard.commissions for plan in services.plan_by_fibre(found)
    )
    assert kilograms(on_hand) == Decimal("22.645")
    # Printed as 21.431, the sum of figures of three places; half a gram for each of the five.
    assert abs(mg_to_kg(need) - Decimal("21.431")) <= Decimal("0.0025")
    assert on_hand > need


@pytest.mark.parametrize(
    ("ref", "fibre", "kg"),
    [
        ("C1", "cotton linter", "11.311"),
        ("C1", "abaca", "2.857"),
        ("C2", "cotton linter", "3.403"),
        ("C3", "cotton linter", "2.306"),
        ("C3", "abaca", "1.553"),
    ],
)
def test_oven_dry_fibre_of_each_commission(yard, ref, fibre, kg):
    (plan,) = [plan for plan in services.plan_by_fibre(yard.of(ref)) if plan.fibre == fibre]
    # Half the last digit printed, and the milligram that each pick is rounded up by.
    assert abs(mg_to_kg(plan.needs_mg) - Decimal(kg)) <= Decimal("0.000502")


@pytest.mark.parametrize(("ref", "kg"), [("C1", "13.857"), ("C2", "3.334"), ("C3", "3.767")])
def test_fibre_in_the_vat(yard, ref, kg):
    assert kilograms(yard.of(ref).need_mg) == Decimal(kg)


def test_swapping_the_days_of_c1_and_c3_makes_c1_the_short_one(yard):
    first, third = services.Commission.objects.filter(ref__in=["C1", "C3"]).order_by("ref")
    first.due, third.due = third.due, first.due
    first.save()
    third.save()
    after = services.cover(TODAY)
    assert {found.ref for found in after.commissions if found.short} == {"C1"}


def test_the_moulds_dry_size_by_2_3_percent():
    from orders.calc.moulds import dry_size
    from studio.sizes import Size

    dry = dry_size(Size(572_000, 780_000), shrinkage=(Decimal("0.023"), Decimal("0.023")))
    assert (round(dry.width_um / 1000), round(dry.height_um / 1000)) == (559, 762)


def test_specification_is_the_one_that_was_entered(yard):
    sheet = services.Commission.objects.select_related("sheet").get(ref="C1").sheet
    spec = snapshot.spec_of(sheet, Studio.current(), {})
    assert isinstance(spec, SheetSpec)
    assert round(float(spec.fibre_per_sheet_mg) / 1000, 2) == 97.10
