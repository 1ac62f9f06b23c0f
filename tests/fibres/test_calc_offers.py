"""What an offer says: the price of a pack, price breaks, packs for a need, goods and freight."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc.offers import (
    Offering,
    Terms,
    freight_of,
    goods_minor,
    kilograms_priced,
    pack_breaks,
    pack_price,
    packs_for,
)
from fibres.calc.offerwords import PER_WORDS, READ_AS_PER, pack_lines
from fibres.models import Offer
from studio.errors import RangeError

D = Decimal
KG = 1_000_000
TODAY = date(2027, 9, 1)


def offering(price=1000, *, pack=KG, moisture="0", **more):
    return Offering("X", pack, D(moisture), price, **more)


# --- the price of a pack ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("basis", "expected"),
    [
        ("as-is", 250_000),  # 250 kg
        ("air-dry", 252_778),  # 252.778 kg, P6 of the reference: ISO 801, wording from memory
        ("oven-dry", 227_500),  # 227.5 kg, same row
    ],
)
def test_bale_of_250_kg_at_91_percent_dry(basis, expected):
    price = pack_price(1000, pack_mg=250 * KG, moisture=D("0.09"), price_per=basis)
    assert price == expected


@pytest.mark.parametrize(
    ("moisture", "air_dry"),
    # P3 to P5 of the reference: 1000 kg at 90, 95 and 87 % dry; ISO 801, wording from memory
    [("0.10", "1000"), ("0.05", "1055.556"), ("0.13", "966.667")],
)
def test_pack_is_priced_by_its_saleable_mass(moisture, air_dry):
    price = pack_price(100, pack_mg=1000 * KG, moisture=D(moisture), price_per="air-dry")
    assert price == round(D(air_dry) * 100)


def test_price_of_a_pack_is_rounded_once_to_even():
    # 0.5 kg at 1 and at 3 minor units: 0.5 and 1.5
    assert pack_price(1, pack_mg=KG // 2, moisture=D(0)) == 0
    assert pack_price(3, pack_mg=KG // 2, moisture=D(0)) == 2


def test_breaks_are_prices_of_a_pack_from_the_fewest_sold_on():
    found = pack_breaks(offering(750, pack=2 * KG, breaks=((4, 575), (10, 500)), least_packs=2))
    assert found == ((2, 1500), (4, 1150), (10, 1000))


def test_break_below_the_fewest_sold_is_the_first_price():
    assert pack_breaks(offering(breaks=((2, 900), (5, 800)), least_packs=3)) == (
        (3, 900),
        (5, 800),
    )


# --- packs --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("need", "least", "expected"), [(0, 1, 1), (4_600_000, 1, 1), (4_600_001, 1, 2), (1, 3, 3)]
)
def test_packs_are_whole_and_never_too_few(need, least, expected):
    offer = offering(pack=5 * KG, moisture="0.08", least_packs=least)
    assert packs_for(need, offer) == expected


@given(
    st.integers(0, 10**12),
    st.integers(1, 10**9),
    st.integers(0, 999).map(lambda parts: Decimal(parts) / 1000),
)
def test_packs_hold_the_need_and_one_fewer_does_not(need, pack, moisture):
    offer = Offering("X", pack, moisture, 1)
    packs = packs_for(need, offer)
    dry = pack * (1 - Fraction(moisture))
    assert packs * dry >= need
    assert packs == 1 or (packs - 1) * dry < need


# --- goods and freight --------------------------------------------------------------------------


def test_all_units_and_incremental_by_hand():
    # 1500 up to three packs, 1150 from the fourth on
    for breaks_are, expected in (
        ("all units", [1500, 3000, 4500, 4600, 5750]),
        ("incremental", [1500, 3000, 4500, 5650, 6800]),
    ):
        offer = offering(1500, breaks=((4, 1150),), breaks_are=breaks_are)
        assert [goods_minor(packs, offer) for packs in range(1, 6)] == expected


def test_incremental_over_three_steps_by_hand():
    # 2 at 100, 2 at 90, then 2 at 70: 200 + 180 + 140
    offer = offering(100, breaks=((3, 90), (5, 70)), breaks_are="incremental")
    assert goods_minor(6, offer) == 520


def test_fewer_packs_than_are_sold_have_no_price():
    with pytest.raises(RangeError, match="The packs must be 3 or more, got 2"):
        goods_minor(2, offering(least_packs=3))


def test_freight_is_free_from_the_very_amount():
    terms = Terms(freight_minor=3500, free_freight_from_minor=50_000)
    assert [freight_of(goods, terms) for goods in (0, 49_999, 50_000)] == [3500, 3500, 0]
    assert freight_of(10**9, Terms(freight_minor=3500)) == 3500


def test_every_basis_of_a_price_is_worded_and_can_be_written_in_a_list():
    assert set(PER_WORDS) == set(READ_AS_PER.values()) == set(Offer.PricePer.values)
    # What the page words, a list may say, but for the share that stands behind it.
    assert {READ_AS_PER[words.split(",")[0]] for words in PER_WORDS.values()} == set(PER_WORDS)


def test_pack_in_lines_on_every_basis():
    offer = offering(
        990,
        pack=2 * KG,
        moisture="0.05",
        price_per="air-dry",
        breaks=((4, 900),),
        preparation_yield=D("0.5"),
    )
    lines = {line.label: line.value for line in pack_lines(offer, currency="GBP")}
    # 1.9 kg dry are 2.111 kg air-dry, 2.1111 x 9.90 = 20.90; from four 2.1111 x 9.00 = 19.00;
    # 20.90 / 2 = 10.45, 20.90 / 1.9 = 11.00, half of it usable: 22.00
    assert lines["Oven-dry in a pack"] == "1.90\u00a0kg"
    assert lines["Price of a pack"] == "£20.90"
    assert lines["A pack from 4 packs on"] == "£19.00"
    assert lines["A kilogram as sold"] == "£10.45"
    assert lines["A kilogram air-dry, 90 % fibre"] == "£9.90"
    assert lines["A kilogram oven-dry"] == "£11.00"
    assert lines["A kilogram usable"] == "£22.00"


# --- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"pack_mg": 0}, "A pack must be more than 0 mg"),
        ({"moisture": D(1)}, "Moisture must be from 0 up to 1"),
        ({"moisture": 0.1}, "Moisture must be a Decimal or an int"),
        ({"minor_per_kg": -1}, "The price must be 0 per kg or more"),
        ({"breaks": ((4, -5),)}, "The price must be 0 per kg or more"),
        ({"breaks": ((4, 5), (4, 4))}, "Price breaks must go up"),
        ({"least_packs": 0}, "The fewest packs must be more than 0"),
        ({"price_per": "wet"}, "got 'wet' and 'all units'"),
        ({"breaks_are": "some"}, "got 'as-is' and 'some'"),
        ({"preparation_yield": D(0)}, "Preparation yield must be more than 0"),
    ],
)
def test_offer_that_cannot_be_is_refused(wrong, said):
    with pytest.raises(RangeError, match=said):
        replace(offering(), **wrong)


def test_need_below_nothing_is_refused():
    with pytest.raises(RangeError, match="The oven-dry mass wanted must be 0 mg or more"):
        packs_for(-1, offering())


def test_price_per_what_nobody_sells_by_is_refused():
    with pytest.raises(RangeError, match="per kg as-is, air-dry, oven-dry, got 'a sack'"):
        kilograms_priced(KG, D("0.1"), "a sack")
