"""The mass of scrap by every method, with its band, and what it is worth as fibre."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc.estimates import estimate_of
from fibres.calc.scrap import (
    from_boxes,
    from_guess,
    from_pile,
    from_reams,
    from_sheets,
    from_weight,
    worth_of,
)
from studio.errors import RangeError, StudioError
from studio.sizes import Size
from studio.units import Q

A4 = Size(210_000, 297_000)
COPY = Q(80, "g/m2")
PAPER = {"size": A4, "grammage": COPY}
COUNTS = st.integers(1, 10**6)
MOISTURES = st.integers(0, 99).map(lambda parts: Decimal(parts) / 100)
SHARES = st.integers(1, 100).map(lambda parts: Decimal(parts) / 100)


def ends(estimate):
    return estimate.low_mg, estimate.as_is_mg, estimate.high_mg


def test_weighed_scrap_has_no_band():
    estimate = from_weight(Q(8, "kg"))
    assert ends(estimate) == (8_000_000,) * 3
    assert (estimate.method, estimate.band) == ("weighed", 0)
    assert [line.label for line in estimate.working] == ["As-is mass"]


def test_counted_sheets_by_hand():
    # 100 x 0.06237 m² x 80 g/m² = 498.96 g; 3 % is 14.9688 g
    assert ends(from_sheets(100, **PAPER)) == (483_991, 498_960, 513_929)


def test_reams_are_500_sheets_unless_said():
    assert from_reams(2, **PAPER).as_is_mg == from_sheets(1000, **PAPER).as_is_mg
    short = from_reams(2, **PAPER, sheets_per_ream=480)
    assert short.as_is_mg == from_sheets(960, **PAPER).as_is_mg
    assert short.method == "reams"


def test_half_a_ream_counts():
    assert from_reams(Decimal("2.5"), **PAPER).as_is_mg == from_sheets(1250, **PAPER).as_is_mg


def test_a_pile_of_10_cm_is_a_thousand_copy_sheets():
    pile = from_pile(Q(10, "cm"), **PAPER)
    # 4.9896 kg within 10 %
    assert ends(pile) == (4_490_640, 4_989_600, 5_488_560)


def test_a_pile_weighs_the_same_at_any_grammage_when_thickness_goes_with_it():
    thick = from_pile(Q(10, "cm"), size=A4, grammage=Q(160, "g/m2"))
    assert thick.as_is_mg == 4_989_600


def test_a_measured_thickness_is_used():
    # 100 mm / 0.08 mm = 1250 sheets of 4.9896 g
    pile = from_pile(Q(10, "cm"), **PAPER, thickness=Q("0.08", "mm"))
    assert pile.as_is_mg == 6_237_000
    assert "measured" in [line.because for line in pile.working]


def test_boxes_by_hand():
    # 2600 x 4.9896 g = 12.97296 kg within 20 %
    box = from_boxes(1, sheets_per_box=2600, **PAPER)
    assert ends(box) == (10_378_368, 12_972_960, 15_567_552)


def test_a_guess_is_wide():
    assert ends(from_guess(Q(3, "kg"))) == (1_800_000, 3_000_000, 4_200_000)


def test_ends_round_outward():
    # 1 mg within 3 %: 0.97 down, 1.03 up
    assert ends(estimate_of(Fraction(1), "counted")) == (0, 1, 2)


def test_working_ends_with_the_answer_and_its_band():
    lines = from_sheets(100, **PAPER).working
    assert [line.label for line in lines] == [
        "Size of a sheet",
        "Grammage",
        "One sheet",
        "Sheets",
        "As-is mass",
        "Low to high",
    ]
    assert lines[2].value == "4.99\xa0g"
    assert lines[4].value == "0.499\xa0kg"
    assert lines[4].because == "± 3\xa0%, counted"


@pytest.mark.parametrize(
    ("estimate", "match"),
    [
        (lambda: from_weight(Q(0, "kg")), "The mass must be more than 0 kg"),
        (lambda: from_guess(Q(-1, "kg")), "The mass must be more than 0 kg, got -1"),
        (lambda: from_sheets(0, **PAPER), "The count must be more than 0 sheets"),
        (lambda: from_sheets(1.5, **PAPER), "The count must be a Decimal or an int"),
        (lambda: from_reams(-1, **PAPER), "The count must be more than 0 reams"),
        (lambda: from_reams(1, **PAPER, sheets_per_ream=0), "Sheets per ream must be more"),
        (lambda: from_boxes(0, **PAPER), "The count must be more than 0 boxes"),
        (lambda: from_boxes(1, **PAPER, sheets_per_box=0), "Sheets per box must be more"),
        (lambda: from_pile(Q(0, "mm"), **PAPER), "The height must be more than 0 µm"),
        (
            lambda: from_pile(Q(1, "mm"), **PAPER, thickness=Q(0, "mm")),
            "The thickness must be more than 0 µm",
        ),
        (
            lambda: from_sheets(1, size=A4, grammage=Q(0, "g/m2")),
            "Grammage must be more than 0 g/m²",
        ),
        (lambda: from_sheets(1, size=Size(1, 1), grammage=COPY), "must be 1 mg or more"),
    ],
)
def test_what_cannot_be_is_refused(estimate, match):
    with pytest.raises(RangeError, match=match):
        estimate()


def test_pounds_for_a_grammage_are_refused():
    with pytest.raises(StudioError, match="from_sheets: grammage must be a grammage"):
        from_sheets(1, size=A4, grammage=Q(20, "lb"))


def test_worth_of_white_office_by_hand():
    # 12.97296 kg x 0.95 = 12.324312 kg; x 0.80 = 9.8594496 kg, down to the milligram
    box = from_boxes(1, sheets_per_box=2600, **PAPER)
    worth = worth_of(box, moisture=Decimal("0.05"), usable_share=Decimal("0.80"))
    assert (worth.oven_dry_mg, worth.usable_mg) == (12_324_312, 9_859_449)
    # 10.378368 and 15.567552 kg the same way
    assert (worth.oven_dry_low_mg, worth.usable_low_mg) == (9_859_449, 7_887_559)
    assert (worth.oven_dry_high_mg, worth.usable_high_mg) == (14_789_175, 11_831_340)


def test_worth_shows_its_working():
    worth = worth_of(from_guess(Q(3, "kg")), moisture=Decimal("0.05"), usable_share=Decimal("0.8"))
    assert [line.value for line in worth.working] == [
        "3.00\xa0kg",
        "5\xa0%",
        "2.85\xa0kg",
        "80\xa0%",
        "2.28\xa0kg",
        "1.37\xa0kg to 3.19\xa0kg",
    ]


def test_worth_of_weighed_scrap_shows_no_band():
    worth = worth_of(from_weight(Q(8, "kg")), moisture=Decimal(0), usable_share=Decimal(1))
    assert "Low to high" not in [line.label for line in worth.working]


@pytest.mark.parametrize(
    ("moisture", "share", "match"),
    [(1, 1, "Moisture must be from 0 up to 1"), (0, 0, "Usable share must be more than 0")],
)
def test_worth_refuses_shares_outside_their_limits(moisture, share, match):
    with pytest.raises(RangeError, match=match):
        worth_of(from_weight(Q(8, "kg")), moisture=moisture, usable_share=share)


@given(COUNTS, MOISTURES, SHARES)
def test_low_mid_and_high_stay_in_order(count, moisture, share):
    estimate = from_sheets(count, **PAPER)
    assert estimate.low_mg <= estimate.as_is_mg <= estimate.high_mg
    worth = worth_of(estimate, moisture=moisture, usable_share=share)
    assert worth.oven_dry_low_mg <= worth.oven_dry_mg <= worth.oven_dry_high_mg
    assert worth.usable_low_mg <= worth.usable_mg <= worth.usable_high_mg
    assert worth.usable_mg <= worth.oven_dry_mg <= estimate.as_is_mg


@given(COUNTS, COUNTS)
def test_two_heaps_weigh_what_one_heap_does(one, other):
    apart = from_sheets(one, **PAPER).as_is_mg + from_sheets(other, **PAPER).as_is_mg
    # each of the three masses is rounded once, by at most half a milligram
    assert abs(from_sheets(one + other, **PAPER).as_is_mg - apart) <= 1
