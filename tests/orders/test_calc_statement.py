"""What may be claimed of the fibre in a making.

H2 is the invented scenario of that name; the rule is that of ISO 14021 on recycled content:
pre- and post-consumer material by mass, without what is reworked in the process it came from.
"""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fibres.calc import moisture as wet
from orders.calc.statement import (
    CLASSES,
    IssuedFibre,
    fibre_statement,
    permanence,
)
from studio.errors import RangeError

KG = 1_000_000


def office(as_is_mg):
    """Return white office paper of lot SC-11: 5 % moisture, 0.80 usable."""
    return IssuedFibre("White office paper", "post-consumer", usable(as_is_mg, "0.05", "0.80"))


def usable(as_is_mg, moisture, kept):
    return wet.usable_mg(wet.oven_dry_mg(as_is_mg, Decimal(moisture)), Decimal(kept))


def dry(fibre, source_class, oven_dry_mg, kept):
    return IssuedFibre(fibre, source_class, wet.usable_mg(oven_dry_mg, Decimal(kept)))


LINTER = dry("Linter", "virgin", 465_000, "0.98")
BROKE = dry("Own broke", "in-house", 320_000, "0.95")


def test_h2_own_broke_is_not_counted_and_the_claim_fails():
    # 75/10/15: 3.000 kg office as is, 0.320 kg broke and 0.465 kg linter oven-dry.
    stated = fibre_statement([office(3_000_000), BROKE, LINTER])
    assert stated.recycled_percent == 75
    assert not stated.reaches(Decimal("0.80"))


def test_h2_without_broke_the_claim_holds():
    # 85/0/15: 3.400 kg office as is and 0.465 kg linter oven-dry.
    stated = fibre_statement([office(3_400_000), LINTER])
    assert stated.recycled_percent == 85
    assert stated.reaches(Decimal("0.80"))


@pytest.mark.parametrize(
    ("recycled", "said"),
    [
        # 0.8297 − 0.8 = 0.0297: 2.9 % with certainty, and not yet 3.0.
        (8_297, "kept, 2.9\u00a0% of the fibre to spare, from what was issued."),
        (8_000, "kept, with nothing to spare, from what was issued."),
        # 0.8 − 0.7999 = 0.0001: less than a tenth of a percent, and yet too little.
        (7_999, "not kept, 0.1\u00a0% of the fibre too little, from what was issued."),
    ],
)
def test_a_claim_is_told_with_what_is_to_spare_and_never_rounded_in_its_favour(recycled, said):
    parts = [
        IssuedFibre("Cards", "pre-consumer", recycled),
        IssuedFibre("Linter", "virgin", 10_000 - recycled),
    ]
    beside = fibre_statement(parts).beside(Decimal("0.8"))
    assert beside.words() == f"At least 80\u00a0% recycled was agreed: {said}"


def test_heel_is_not_counted_whatever_fibre_it_is_entered_as():
    heel = IssuedFibre("White office paper", "post-consumer", 100, is_own=True)
    stated = fibre_statement([heel, IssuedFibre("Cards", "pre-consumer", 300)])
    assert stated.recycled_share == Fraction(3, 4)
    assert stated.in_house_mg == 100


def test_share_is_rounded_down_so_that_nothing_is_over_claimed():
    stated = fibre_statement(
        [IssuedFibre("Office", "post-consumer", 7999), IssuedFibre("Linter", "virgin", 2001)]
    )
    assert stated.recycled_percent == 79
    assert "79\u00a0% recycled" in stated.sentences()


def test_both_classes_are_told_apart():
    stated = fibre_statement(
        [
            IssuedFibre("Office", "post-consumer", 500),
            IssuedFibre("Offcuts", "pre-consumer", 250),
            IssuedFibre("Linter", "virgin", 250),
        ]
    )
    assert stated.sentences() == (
        "75\u00a0% recycled by mass of fibre, 50\u00a0% post-consumer, 25\u00a0% pre-consumer, "
        "from what was issued."
    )


def test_own_broke_is_named_with_the_standard_that_leaves_it_out():
    words = fibre_statement([office(3_000_000), BROKE, LINTER]).sentences()
    assert words == (
        "75\u00a0% recycled by mass of fibre, all of that post-consumer, from what was issued. "
        "Own broke and heel is 10\u00a0% of it and does not count as recycled (ISO\u00a014021)."
    )


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        ([], "Nothing was issued, so nothing can be said of its fibre."),
        ([IssuedFibre("Linter", "virgin", 1)], "Nothing in it counts as recycled."),
        (
            [IssuedFibre("Linter", "virgin", 999), IssuedFibre("Office", "post-consumer", 1)],
            "Less than 1\u00a0% recycled by mass of fibre, all of that post-consumer, from what "
            "was issued.",
        ),
    ],
)
def test_little_and_nothing_are_worded(parts, words):
    assert fibre_statement(parts).sentences() == words


def test_lines_add_up_to_the_fibre_in_the_sheets():
    lines = fibre_statement([office(3_000_000), BROKE, LINTER]).lines()
    assert [(line.label, line.value) for line in lines] == [
        ("Post-consumer", "2.28\u00a0kg"),
        ("Own broke and heel", "0.304\u00a0kg"),
        ("Virgin", "0.456\u00a0kg"),
        ("Fibre in the sheets", "3.04\u00a0kg"),
        ("Recycled", "75\u00a0%"),
    ]
    assert lines[1].because == "10\u00a0%, does not count as recycled (ISO 14021)"


@given(
    st.lists(
        st.builds(
            IssuedFibre,
            st.just("Fibre"),
            st.sampled_from(CLASSES),
            st.integers(0, 100 * KG),
            st.booleans(),
        )
    )
)
def test_more_own_broke_never_makes_a_claim_larger(parts):
    before = fibre_statement(parts)
    after = fibre_statement([*parts, IssuedFibre("Own broke", "in-house", KG)])
    assert after.recycled_share <= before.recycled_share
    assert before.total_mg == sum(part.usable_mg for part in parts)
    assert Fraction(before.recycled_percent, 100) <= before.recycled_share <= 1


@pytest.mark.parametrize(
    ("part", "said"),
    [
        (IssuedFibre("Rag", "recycled", 1), "'recycled' is no class of fibre"),
        (IssuedFibre("Rag", "virgin", -1), "must be 0 mg or more, got -1 mg"),
    ],
)
def test_class_or_mass_that_cannot_be_is_refused(part, said):
    with pytest.raises(RangeError, match=said):
        fibre_statement([part])


# --- permanence: limits of ISO 9706 as a national library compares them -------------------------


def test_without_a_report_permanence_is_aimed_at_and_not_tested():
    assert permanence(["Linter", "Abaca"], additions=["Calcium carbonate"]) == (
        "Made with Linter, Abaca and Calcium carbonate. Aimed at permanence, not tested to "
        "ISO\u00a09706."
    )


def test_report_takes_the_place_of_the_aim():
    words = permanence(["Linter"], report="R-17, 3 May 2026", may_carry_wood=True)
    assert words == "Made with Linter. Tested, see report R-17, 3 May 2026."


def test_waste_paper_bars_the_claim():
    words = permanence(["White office paper", "Linter"], may_carry_wood=True)
    assert "No claim of permanence" in words
    assert "Aimed" not in words


def test_fibre_of_two_lots_is_named_once():
    assert permanence(["Linter", "Linter"]).startswith("Made with Linter.")


def test_nothing_issued_says_nothing_of_permanence():
    with pytest.raises(RangeError, match="Name at least one fibre"):
        permanence([])
