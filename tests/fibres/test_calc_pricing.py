"""The price of fibre without its water and losses reverses the order of offers."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc.pricing import cost_of, paid_per_kg, price_per_oven_dry_kg, price_per_usable_kg
from studio.errors import RangeError

PRICES = st.integers(0, 10**7)
MOISTURES = st.integers(0, 99).map(lambda parts: Decimal(parts) / 100)
YIELDS = st.integers(1, 100).map(lambda parts: Decimal(parts) / 100)
BASES = st.sampled_from(["as-is", "air-dry", "oven-dry"])


def per_dry(price, moisture, basis="as-is"):
    return price_per_oven_dry_kg(price, basis=basis, moisture=Decimal(moisture))


@pytest.mark.parametrize(
    ("price", "moisture", "expected"),
    [
        (940, "0.08", "1021.74"),  # 940 / 0.92
        (810, "0.12", "920.45"),  # 810 / 0.88
        (860, "0.06", "914.89"),  # 860 / 0.94
        (995, "0.05", "1047.37"),  # 995 / 0.95
    ],
)
def test_as_is_price_by_hand(price, moisture, expected):
    assert round(per_dry(price, moisture), 2) == Decimal(expected)


def test_the_offer_that_looks_cheaper_is_dearer_once_dry():
    assert per_dry(810, "0.12") > per_dry(860, "0.06")


def test_the_bark_that_looks_cheaper_is_dearer_once_usable():
    # black: 2800 / (0.89 x 0.297) = 10592.82; white: 4600 / (0.90 x 0.55) = 9292.93
    black = price_per_usable_kg(
        2800, basis="as-is", moisture=Decimal("0.11"), preparation_yield=Decimal("0.297")
    )
    white = price_per_usable_kg(
        4600, basis="as-is", moisture=Decimal("0.10"), preparation_yield=Decimal("0.55")
    )
    assert (round(black), round(white)) == (10593, 9293)


def test_air_dry_price_ignores_the_moisture_of_the_lot():
    # a kilogram invoiced holds 0.9 kg: 990 / 0.9
    assert per_dry(990, "0.05", "air-dry") == per_dry(990, "0.20", "air-dry") == 1100


def test_oven_dry_price_is_itself():
    assert per_dry(990, "0.20", "oven-dry") == 990


def test_cost_by_hand():
    # 0.25 kg at 1021.74 the kg
    assert cost_of(250_000, Decimal("1021.74")) == Decimal("255.435")


def test_another_basis_is_refused():
    with pytest.raises(RangeError, match="per kg as-is, air-dry or oven-dry, got 'wet'"):
        per_dry(990, "0.1", "wet")


def test_a_negative_price_is_refused():
    with pytest.raises(RangeError, match="The price must be 0 per kg or more, got -1"):
        per_dry(-1, "0.1")
    with pytest.raises(RangeError, match="The price must be 0 per kg or more"):
        cost_of(1, Decimal(-1))


def test_a_float_price_is_refused():
    with pytest.raises(RangeError, match="The price must be a Decimal or an int"):
        per_dry(9.9, "0.1")


def test_moisture_and_yield_outside_their_limits_are_refused():
    with pytest.raises(RangeError, match="Moisture must be from 0 up to 1"):
        per_dry(990, "8")
    with pytest.raises(RangeError, match="Preparation yield must be more than 0"):
        price_per_usable_kg(
            990, basis="as-is", moisture=Decimal("0.1"), preparation_yield=Decimal(0)
        )


def test_cost_of_a_negative_mass_is_refused():
    with pytest.raises(RangeError, match="The oven-dry mass must be 0 mg or more"):
        cost_of(-1, 100)


@given(PRICES, BASES, MOISTURES, YIELDS)
def test_usable_fibre_is_never_cheaper_than_dry_nor_dry_than_bought(price, basis, moisture, share):
    dry = price_per_oven_dry_kg(price, basis=basis, moisture=moisture)
    usable = price_per_usable_kg(price, basis=basis, moisture=moisture, preparation_yield=share)
    assert price <= dry <= usable


@given(PRICES, MOISTURES, st.integers(1, 10**6))
def test_what_is_paid_for_a_lot_does_not_depend_on_how_it_is_reckoned(price, moisture, kilograms):
    paid = price * kilograms
    dry_kg = kilograms * (1 - moisture)
    reckoned = price_per_oven_dry_kg(price, basis="as-is", moisture=moisture) * dry_kg
    assert abs(reckoned - paid) <= Decimal("1e-12")


def test_price_of_a_lot_by_the_kilogram():
    # By hand: 116.44 paid for 13.135 kg oven-dry, 11644 / 13.135.
    price = paid_per_kg(11_644, 13_135_000)
    assert price is not None
    assert round(price, 2) == Decimal("886.49")


@pytest.mark.parametrize(("paid", "mass"), [(None, 1_000_000), (500, 0), (None, 0)])
def test_price_is_not_known_where_nothing_was_told_or_nothing_came(paid, mass):
    assert paid_per_kg(paid, mass) is None


def test_nothing_paid_is_a_price_of_nothing():
    assert paid_per_kg(0, 1_000_000) == 0


@pytest.mark.parametrize(("paid", "mass"), [(-1, 1_000_000), (5, -1)])
def test_price_and_mass_below_nothing_are_refused(paid, mass):
    with pytest.raises(RangeError, match="must"):
        paid_per_kg(paid, mass)
