from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.costing import Cost, CostPart
from orders.calc.packing import Parcel, grammage_of, retree_price_minor
from studio.errors import RangeError
from studio.sizes import Size

A4 = Size(210_000, 297_000)
LETTER = Size(215_900, 279_400)


# --- grammage: mass over area, as ISO 536 defines it


def test_a_sheet_of_copy_paper_has_the_grammage_on_its_wrapper():
    # An A4 sheet of 80 g/m² weighs 4.9896 g, "about 5 g" (encyclopedia article on grammage).
    assert grammage_of(4_990, A4) == pytest.approx(80, abs=0.01)
    assert Parcel(1, A4, Decimal(80)).sheet_mg == Fraction(49896, 10)


def test_a_ream_of_copy_paper_weighs_what_is_printed_on_it():
    # 500 such sheets are 2.4948 kg (derived from the same).
    assert Parcel(500, A4, Decimal(80)).expected_mg == 2_494_800


def test_a_letter_sheet_of_twenty_pound_bond_weighs_a_five_hundredth_of_five_pounds():
    # A ream of 17 × 22 in weighs 20 lb; a letter sheet is a quarter of one: 453.59237 × 5 / 500 g.
    # Basis weight and 3.7597 g/m² a pound: trade paper guide, as in fixtures/published.
    assert grammage_of(4_536, LETTER) == pytest.approx(20 * 3.7597, rel=1e-3)


@given(st.integers(1, 10**7), st.integers(50_000, 10**6), st.integers(50_000, 10**6))
def test_a_sheet_of_the_grammage_measured_weighs_what_it_weighed(mass, width, height):
    size = Size(width, height)
    measured = grammage_of(mass, size)
    assert measured * size.area_um2 == Fraction(mass) * 10**9


@pytest.mark.parametrize("mass", [0, -5])
def test_a_sheet_that_weighs_nothing_is_refused(mass):
    with pytest.raises(RangeError, match="weighs something"):
        grammage_of(mass, A4)


# --- the parcel against what it should weigh


def parcel(**changes):
    # By hand: 40 sheets of 7.4 g are 296 g.
    usual = {"sheets": 40, "size": A4, "grammage": Decimal(120), "conditioned_mg": 7_400}
    return Parcel(**{**usual, **changes})


def test_what_is_left_of_a_parcel_is_boards_and_wrapping():
    found = parcel(parcel_mg=450_000)
    assert found.expected_mg == 296_000
    assert found.wrapping_mg == 154_000
    assert found.missing_sheets == 0


def test_a_parcel_lighter_than_its_sheets_lacks_some():
    # 296 − 280 = 16 g, more than two sheets of 7.4 g and less than three.
    assert parcel(parcel_mg=280_000).missing_sheets == 3
    assert parcel(parcel_mg=296_000 - 7_400).missing_sheets == 1
    assert parcel(parcel_mg=296_000).missing_sheets == 0
    assert parcel(parcel_mg=280_000).lines()[-1].label == "Lighter than its sheets by"
    assert parcel(parcel_mg=280_000).lines()[-1].value == "16.00\u00a0g"


def test_without_a_sheet_weighed_the_grammage_ordered_counts():
    found = parcel(conditioned_mg=None, parcel_mg=400_000)
    # 120 × 0.06237 = 7.4844 g.
    assert found.expected_mg == 299_376
    assert found.measured is None
    assert not found.is_too_light(Decimal(0))


def test_a_sheet_short_of_its_grammage_by_more_than_allowed_is_too_light():
    # 6.7 / 0.06237 = 107.4 g/m², 10.5 % below 120.
    light = parcel(conditioned_mg=6_700)
    assert light.is_too_light(Decimal("0.1"))
    assert not light.is_too_light(Decimal("0.11"))
    assert not parcel(conditioned_mg=9_000).is_too_light(Decimal("0.1"))


def test_the_lines_say_what_was_weighed_and_what_follows():
    lines = {line.label: line for line in parcel(parcel_mg=450_000).lines()}
    # 7.4 / 0.06237 = 118.6; 1.1 % below 120.
    assert lines["Grammage measured"].value == "118.6\u00a0g/m²"
    assert lines["Grammage measured"].because.endswith("1.1\u00a0% below")
    assert lines["Sheets weigh"].value == "0.296\u00a0kg"
    assert lines["Boards and wrapping"].value == "0.154\u00a0kg"


def test_the_lines_of_what_was_not_weighed_say_no_more_than_was_ordered():
    labels = [line.label for line in parcel(conditioned_mg=None).lines()]
    assert labels == ["Grammage ordered", "Sheets weigh"]


def test_the_client_is_told_of_boards_and_wrapping_but_not_of_a_doubt_of_the_studio():
    labels = [line.label for line in parcel(parcel_mg=450_000).told_lines()]
    assert labels[-2:] == ["Parcel weighs", "Boards and wrapping"]
    # 280 g is 16 g lighter than forty sheets of 7.4 g: some may be missing.
    labels = [line.label for line in parcel(parcel_mg=280_000).told_lines()]
    assert labels == ["Grammage ordered", "Grammage measured", "Sheets weigh"]


# --- retree: a share of the price of good; one tenth off is common practice, no source


def costing(minor, *, by="margin", rate="0.3"):
    return Cost(
        currency="GBP", quantity=100, pulls=114,
        parts=(CostPart("fibre", "Fibre", Decimal(minor), ""),),
        price_by=by, price_rate=Decimal(rate), price_minor_per_sheet=0, tax_minor=0,
        setup_minor=Decimal(0), missing=(), notes=(),
    )  # fmt: skip


def test_retree_costs_its_share_of_good():
    # 700 / (1 − 0.3) = 1000, and nine tenths of it 900.
    assert retree_price_minor(costing(700), Decimal("0.9")) == 900


def test_the_price_of_retree_is_rounded_once():
    # Half of 62.6 is 31.3. Rounded to 63 first, half of it would be 31.5 and end as 32.
    assert retree_price_minor(costing("62.6", by="markup", rate="0"), Decimal("0.5")) == 31


def test_retree_follows_markup_as_well():
    found = retree_price_minor(replace(costing(800), price_by="markup"), Decimal("0.9"))
    # 800 × 1.3 × 0.9.
    assert found == 936
