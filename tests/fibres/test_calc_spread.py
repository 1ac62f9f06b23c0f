"""How far a lot and a yield may be off; figures by hand, the rest as refusals and properties."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc.spread import MOISTURE_SPREADS, lot_spread, yield_spread
from studio.errors import RangeError

SHARES = st.decimals("0", "0.99", places=4)


@pytest.mark.parametrize(
    ("moisture", "known", "band", "spread"),
    [
        # By hand: half a point over 0.8; one point over 0.9; two points over 0.5.
        ("0.20", "weighed", "0", "0.006250"),
        ("0.10", "label", "0", "0.011111"),
        ("0.50", "assumed", "0", "0.040000"),
        # By hand: 3-4-5, with a band of 6 % as two spreads of 3 %, and 2 points over 0.5.
        ("0.50", "assumed", "0.06", "0.050000"),
        # Nearly all water: the fibre may be twice as much or none.
        ("0.999", "assumed", "0", "1.000000"),
    ],
)
def test_spread_of_a_lot(moisture, known, band, spread):
    found = lot_spread(Decimal(moisture), known=known, band=Decimal(band))
    assert found == Decimal(spread)


def test_what_was_weighed_is_surer_than_a_label_and_that_than_a_guess():
    assert MOISTURE_SPREADS["weighed"] < MOISTURE_SPREADS["label"] < MOISTURE_SPREADS["assumed"]


@given(moisture=SHARES, band=SHARES)
def test_a_band_never_makes_a_lot_surer(moisture, band):
    plain = lot_spread(moisture, known="label", band=Decimal(0))
    assert lot_spread(moisture, known="label", band=band) >= plain


def test_spread_of_a_yield_is_over_the_yield_and_never_above_all():
    assert yield_spread(Decimal("0.03"), preparation_yield=Decimal("0.6")) == Decimal("0.05")
    assert yield_spread(Decimal("0.3"), preparation_yield=Decimal("0.000001")) == 1


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"moisture": Decimal(1)}, "Moisture must be from 0 up to 1"),
        ({"moisture": Decimal(8)}, "Moisture must be from 0 up to 1"),
        ({"known": "felt"}, "weighed, label, assumed, got 'felt'"),
        ({"band": Decimal("-0.1")}, "The band must be 0"),
    ],
)
def test_a_lot_that_cannot_be_is_refused(changes, match):
    given = {"moisture": Decimal("0.1"), "known": "label", "band": Decimal(0), **changes}
    with pytest.raises(RangeError, match=match):
        lot_spread(given.pop("moisture"), **given)


def test_a_yield_that_cannot_be_is_refused():
    with pytest.raises(RangeError, match="Preparation yield must be more than 0"):
        yield_spread(Decimal("0.02"), preparation_yield=Decimal(0))
