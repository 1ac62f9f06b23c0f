"""Air-dry mass and the claim for water, against outside figures; money parted to the last unit.

Each published check names its source; the keys stand in fixtures/published/SOURCES.md.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc.claims import claim_for_water, saleable_mg
from fibres.calc.moisture import oven_dry_mg
from fibres.calc.parting import part_by_mass, part_of_packs
from studio.errors import RangeError

KG = 1_000_000
GRAM = 1_000
TENTH, FOURTEEN = Decimal("0.10"), Decimal("0.14")


def claim(**changes):
    usual = {"agreed": TENTH, "found": FOURTEEN, "goods_minor": 90_000}
    return claim_for_water(1000 * KG, **{**usual, **changes})


# --- published ----------------------------------------------------------------------------------

# Gross kilograms, moisture, and the invoiced air-dry kilograms to the gram as printed.
PUBLISHED = [
    # ISO801, gross × dryness ÷ 0.90; terms seen in previews, formula from a trade page.
    pytest.param(800, "0.19", "720", id="P2-ISO801"),
    # AIRDRY: air-dry pulp is invoiced as it weighs; derived from P1.
    pytest.param(1000, "0.10", "1000", id="P3-AIRDRY"),
    # ISO801, derived: a lot at 95 % dryness.
    pytest.param(1000, "0.05", "1055.556", id="P4-ISO801"),
    # ISO801, derived: a lot at 87 % dryness.
    pytest.param(1000, "0.13", "966.667", id="P5-ISO801"),
    # ISO801, derived: a bale of 250 kg at 91 % dryness.
    pytest.param(250, "0.09", "252.778", id="P6-ISO801"),
]


@pytest.mark.parametrize(("gross_kg", "moisture", "invoiced_kg"), PUBLISHED)
def test_air_dry_mass_is_what_the_trade_invoices(gross_kg, moisture, invoiced_kg):
    found = saleable_mg(gross_kg * KG, Decimal(moisture))
    # Half of the last printed digit, which is a gram.
    assert abs(found - int(Decimal(invoiced_kg) * KG)) <= 500


def test_an_air_dry_tonne_holds_900_kg_of_dry_fibre():
    # P1, AIRDRY, producer's air-dry calculator page and handbook, seen: 900 kg and 100 kg water.
    # P6, ISO801, derived: the bale of 250 kg holds 227.5 kg.
    assert oven_dry_mg(1000 * KG, TENTH) == 900 * KG
    assert oven_dry_mg(250 * KG, Decimal("0.09")) == 227_500 * GRAM


def test_a_mill_may_leave_out_a_hundredth_for_the_way():
    # P7-D, AIRDRY, one producer's page, seen: shipping mass is gross less 1 %.
    assert saleable_mg(1000 * KG, TENTH, allowance=Decimal("0.01")) == 990 * KG


def test_mechanical_pulp_was_sold_at_88_percent():
    # P8, a question-and-answer page, seen: 12 % moisture, 88 % dry, is neutral there.
    eighty_eight = Decimal("0.88")
    assert saleable_mg(1000 * KG, Decimal("0.12"), dryness=eighty_eight) == 1000 * KG
    # By default air-dry is 90 %, so the same pulp is invoiced by less.
    assert saleable_mg(1000 * KG, Decimal("0.12")) < 1000 * KG


def test_recovered_paper_at_14_percent_is_paid_as_955_556_kg():
    # P9, CLAIM: the rule seen in the trade press, 1000 × 0.86 ÷ 0.90 derived.
    found = claim()
    assert abs(found.payable_mg - 955_556 * GRAM) <= 500
    # By hand: 900.00 × (1 − 0.86 ÷ 0.90) = 900.00 × 0.0444… = 40.00.
    assert found.claim_minor == 4000


# --- by hand ------------------------------------------------------------------------------------


def test_claim_sets_air_dry_mass_invoiced_against_delivered():
    found = claim()
    # By hand: 1000 × 0.90 ÷ 0.90 = 1000 kg; 1000 × 0.86 ÷ 0.90 = 955.556 kg; short 44.444 kg.
    assert found.invoiced_mg == 1000 * KG
    assert (found.delivered_mg + 500) // GRAM == 955_556
    assert (found.short_mg + 500) // GRAM == 44_444
    assert found.is_due


def test_claim_does_not_hang_on_what_the_trade_calls_air_dry():
    assert claim(dryness=Decimal("0.88")).claim_minor == claim().claim_minor
    assert claim(dryness=Decimal("0.88")).invoiced_mg > claim().invoiced_mg


@pytest.mark.parametrize("found", ["0.10", "0.0999", "0"])
def test_nothing_is_claimed_for_what_came_no_wetter(found):
    drier = claim(found=Decimal(found))
    assert (drier.claim_minor, drier.short_mg, drier.payable_mg) == (0, 0, 1000 * KG)
    assert not drier.is_due


def test_working_says_every_step_and_ends_with_the_claim():
    lines = claim().lines("GBP")
    assert [(line.label, line.value) for line in lines] == [
        ("Weighed, as is", "1000.00\xa0kg"),
        ("Moisture agreed", "10\xa0%"),
        ("Moisture found", "14\xa0%"),
        ("Air-dry mass invoiced", "1000.00\xa0kg"),
        ("Air-dry mass delivered", "955.56\xa0kg"),
        ("Air-dry mass short", "44.44\xa0kg"),
        ("To pay for, as is", "955.56\xa0kg"),
        ("Price of the goods", "£900.00"),
        ("To claim", "£40.00"),
    ]
    assert lines[-1].kind == "answer"
    assert "÷ 90\xa0%, as agreed" in lines[3].because


# --- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        ({"found": Decimal(1)}, "Moisture found must be from 0 up to 1"),
        ({"agreed": Decimal(8)}, "Moisture agreed must be from 0 up to 1"),
        ({"dryness": Decimal(0)}, "Dryness must be more than 0"),
        ({"goods_minor": -1}, "The price must be 0 minor units or more"),
        ({"goods_minor": 1.5}, "The price must be a whole number of minor units"),
    ],
)
def test_what_cannot_be_is_refused(changes, fault):
    with pytest.raises(RangeError, match=fault):
        claim(**changes)


def test_allowance_of_everything_is_refused():
    with pytest.raises(RangeError, match="Allowance must be from 0 up to 1"):
        saleable_mg(KG, TENTH, allowance=Decimal(1))


# --- parted money -------------------------------------------------------------------------------

MONEY = st.integers(min_value=0, max_value=10**12)
MASSES = st.lists(st.integers(min_value=0, max_value=10**12), min_size=1, max_size=12)


@given(MONEY, MASSES.filter(any))
def test_freight_parted_by_mass_adds_up_and_is_never_off_by_a_unit(amount, masses):
    shares = part_by_mass(amount, masses)
    assert sum(shares) == amount
    for share, mass in zip(shares, masses, strict=True):
        assert abs(share - Fraction(amount * mass, sum(masses))) <= 1


@given(
    MONEY, st.lists(st.integers(min_value=0, max_value=500), min_size=1, max_size=12).filter(any)
)
def test_a_line_split_over_any_receipts_adds_up(amount, split):
    packs, before, paid = sum(split), 0, 0
    for come in split:
        paid += part_of_packs(amount, packs=packs, before=before, come=come)
        before += come
    assert paid == amount


def test_parts_of_money_by_hand():
    # By hand: a third of 10.00 is 3.33; two thirds end at 6.67.
    assert part_by_mass(1000, (1, 1, 1)) == (333, 334, 333)
    assert part_by_mass(1000, (0, 3)) == (0, 1000)
    assert part_of_packs(1000, packs=3, before=2, come=1) == 333


@pytest.mark.parametrize(
    ("packs", "before", "come"), [(3, 2, 2), (3, 0, 4), (0, 0, 0), (3, -1, 1), (3, 0, -1)]
)
def test_more_packs_than_there_are_cannot_be_priced(packs, before, come):
    with pytest.raises(RangeError, match="packs"):
        part_of_packs(1000, packs=packs, before=before, come=come)


def test_money_cannot_be_parted_over_nothing():
    with pytest.raises(RangeError, match="no mass at all"):
        part_by_mass(1000, (0, 0))
    with pytest.raises(RangeError, match="The amount must be 0"):
        part_by_mass(-1, (1,))


def test_working_names_what_was_invoiced_where_the_scales_show_another_mass():
    lines = claim(invoiced_as_is_mg=1010 * KG).lines("GBP")
    assert (lines[1].label, lines[1].value) == ("Invoiced, as is", "1010.00\xa0kg")
    assert lines[1].because == "what the price is for"
