"""What makings say together: by hand, against another library, and over many made-up makings."""

import random
import statistics
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from orders.calc import culls
from orders.calc._quantiles import beta_quantile, student_quantile
from orders.calc.learned import beta_with, mean_of, share_of_sheets
from orders.calc.onemaking import preparation_yield, share_that_stays, shrinkage
from studio.errors import RangeError

D = Decimal


# --- what one making shows


def test_yield_and_retention_are_two_sides_of_one_balance():
    # 20 kg at 95 % is 19 kg; less a heel of 0.5 kg, 96 % of 18.5 kg stays: 17.76 kg.
    issued, heel, formed = 20_000_000, 500_000, 17_760_000
    assert share_that_stays(formed, usable_mg=19_000_000, heel_mg=heel) == Fraction(96, 100)
    found = preparation_yield(issued, formed_mg=formed, heel_mg=heel, retention=D("0.96"))
    assert found == Fraction(95, 100)


def test_a_making_cannot_tell_a_poor_yield_from_a_poor_retention():
    poor_yield = D("0.90") * D("0.96")
    formed = 10_000_000 * poor_yield
    assert preparation_yield(10_000_000, formed_mg=formed, heel_mg=0, retention=D("0.96")) == D(
        "0.90"
    )
    # The same making, with the yield held at 96 %, says that 90 % stays.
    assert share_that_stays(formed, usable_mg=9_600_000, heel_mg=0) == D("0.90")


def test_flax_shrinks_as_a_workshop_measured():
    # A sheet of flax off a 12 × 18 in mould, dried in the air, came to 9.5 × 13.5 in, in a
    # workshop's report of one trial; 20.8 % and 25 % by hand.
    inch = 25_400
    across = shrinkage(12 * inch, round(9.5 * inch))
    along = shrinkage(18 * inch, round(13.5 * inch))
    assert round(float(across), 3) == 0.208
    assert along == Fraction(1, 4)


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda: share_that_stays(0, usable_mg=10, heel_mg=1), "What was formed must be more"),
        (lambda: share_that_stays(5, usable_mg=10, heel_mg=10), "less the heel must be more"),
        (lambda: share_that_stays(5, usable_mg=10, heel_mg=-1), "The heel must be 0 or more"),
        (
            lambda: preparation_yield(0, formed_mg=5, heel_mg=0, retention=D(1)),
            "What was issued must be more",
        ),
        (
            lambda: preparation_yield(9, formed_mg=5, heel_mg=0, retention=D(0)),
            "Retention must be more than 0",
        ),
        (lambda: shrinkage(0, 5), "The opening must be more than 0"),
        (lambda: shrinkage(5, 0), "The dry side must be more than 0"),
        (lambda: mean_of([]), "takes one making at least"),
        (lambda: mean_of([1], assurance=D(1)), "The assurance must be more than 0 and less"),
        (lambda: share_of_sheets([], usual=D(1)), "takes one making at least"),
        (lambda: share_of_sheets([(3, 2)], usual=D("0.9")), "no more found among them, got 3 of"),
        (lambda: share_of_sheets([(0, 0)], usual=D("0.9")), "must have finished sheets"),
        (lambda: share_of_sheets([(1, 2)], usual=D(2)), "The usual share must be from 0 to 1"),
        (lambda: beta_with(D(1), weight=5), "The mean of a learned share must be more than 0"),
    ],
)
def test_what_cannot_be_is_refused(act, says):
    with pytest.raises(RangeError, match=says):
        act()


# --- means


@pytest.mark.parametrize("degrees", [1, 2, 3, 7, 40, 900])
@pytest.mark.parametrize("assurance", [0.5, 0.9, 0.95, 0.999])
def test_student_agrees_with_another_library(assurance, degrees):
    expected = stats.t.ppf((1 + assurance) / 2, degrees)
    assert student_quantile(assurance, degrees) == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("chance", [0.001, 0.025, 0.5, 0.975])
@pytest.mark.parametrize(("a", "b"), [(45, 5), (0.5, 10.5), (18, 12), (2_000, 3), (0.6, 0.4)])
def test_quantiles_of_a_beta_agree_with_another_library(a, b, chance):
    expected = stats.beta.ppf(chance, a, b)
    assert beta_quantile(chance, a, b) == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.decimals(0, 5, places=3), min_size=2, max_size=12))
def test_limits_agree_with_another_library(values):
    found = mean_of(values)
    numbers = [float(value) for value in values]
    reach = stats.sem(numbers) * stats.t.ppf(0.975, len(numbers) - 1)
    assert found.value == pytest.approx(statistics.fmean(numbers), abs=1e-12)
    assert found.high - found.value == pytest.approx(reach, rel=1e-6, abs=1e-9)
    assert found.value - found.low == pytest.approx(reach, rel=1e-6, abs=1e-9)
    assert found.deviation == pytest.approx(statistics.stdev(numbers), abs=1e-9)


def test_one_making_has_no_limits():
    found = mean_of([D("0.93")])
    assert (found.value, found.low, found.high, found.deviation) == (0.93, None, None, None)


# --- shares of sheets


def test_sheets_of_one_making_go_wrong_together():
    # Both have 90 good of 100 each on average; in one all makings are alike, in the other not.
    alike = share_of_sheets([(90, 100)] * 6, usual=D("0.9"))
    unlike = share_of_sheets([(99, 100), (81, 100)] * 3, usual=D("0.9"))
    assert alike.value == pytest.approx(0.9)
    assert unlike.value == pytest.approx(0.9)
    assert alike.weight == pytest.approx(599)  # as 600 sheets counted as one making, less one
    assert unlike.weight < 50
    assert unlike.deviation > 0.08


def test_unequal_makings_by_hand():
    # Pairs found of finished, all of one size: p = 0.8, 0.9, 1.0, 0.9, 0.9; mean 0.9, and the
    # square over 4 is (0.01 + 0 + 0.01 + 0 + 0) / 4 = 0.005. Chance alone gives 0.09 / 20 =
    # 0.0045, so ρ = (0.005 / 0.09 - 1 / 20) / (1 - 1 / 20) = 1 / 171.
    found = share_of_sheets([(16, 20), (18, 20), (20, 20), (18, 20), (18, 20)], usual=D("0.5"))
    assert found.value == pytest.approx(0.9)
    assert found.between == pytest.approx(1 / 171)
    # The mean of five: (ρ + (1 - ρ) / 20) / 5 is added.
    doubt = (1 / 171 + (170 / 171) / 20) / 5
    assert found.weight == pytest.approx(1 / (1 / 171 + doubt) - 1)


def test_what_was_set_stands_in_for_makings_that_are_missing():
    # Three makings at 0.80 and two that are taken to come out at 0.90 as set: 0.84.
    found = share_of_sheets([(40, 50)] * 3, usual=D("0.9"))
    assert found.value == pytest.approx(0.84)
    assert found.stands_in == 2
    # Three alike show no spread; weighed 2 to 2 with 1/51.
    assert found.between == pytest.approx(1 / 102)
    assert share_of_sheets([(40, 50)] * 5, usual=D("0.9")).value == pytest.approx(0.8)


def test_one_making_says_little():
    found = share_of_sheets([(0, 50)], usual=D("0.9"))
    assert found.value == pytest.approx(0.72)
    assert found.between == pytest.approx(1 / 51)
    # A fifth of the mean is the making's, four fifths are four makings that vary as usual.
    doubt = (1 / 51 + 50 / 51 / 50) / 25 + 4 / 51 / 25
    assert found.weight == pytest.approx(1 / (1 / 51 + doubt) - 1)


def test_how_far_two_makings_differ_is_weighed_one_to_three_with_the_usual():
    # 98 and 82 % of 50: the square over one less is 0.0128, so ρ = (0.0128 / 0.09 - 1 / 50) over
    # 1 - 1 / 50.
    seen = (0.0128 / 0.09 - 1 / 50) / (1 - 1 / 50)
    found = share_of_sheets([(49, 50), (41, 50)], usual=D("0.9"))
    assert found.between == pytest.approx((seen + 3 / 51) / 4)


def test_a_long_making_does_not_drown_short_ones():
    # Counted sheet by sheet it would be 2715 of 3030, 89.6 %; making by making 70 %.
    found = share_of_sheets([(5, 10), (900, 1000)] * 3, usual=D("0.5"))
    assert 0.69 < found.value < 0.74


@pytest.mark.parametrize(("count", "value"), [((0, 50), 0.5 / 301), ((50, 50), 1 - 0.5 / 301)])
def test_what_was_never_seen_is_not_impossible(count, value):
    found = share_of_sheets([count] * 6, usual=D("0.9"))
    assert found.value == pytest.approx(value)
    assert all(parameter > 0 for parameter in found.learned)


@pytest.mark.parametrize("makings", [2, 4, 8])
def test_more_doubt_takes_more_pulls(makings):
    alike = share_of_sheets([(45, 50)] * makings, usual=D("0.9"))
    unlike = share_of_sheets([(49, 50), (41, 50)] * (makings // 2), usual=D("0.9"))
    fixed = culls.pulls_safe(100, good_share=D("0.9"), assurance=D("0.95"))
    few = culls.pulls_safe(100, learned=alike.learned, assurance=D("0.95"))
    many = culls.pulls_safe(100, learned=unlike.learned, assurance=D("0.95"))
    assert fixed <= few <= many
    assert fixed < many


@pytest.mark.parametrize(
    ("good", "mean", "weight", "pulls"),
    [(50, "0.9", 50, 63), (50, "0.9", 500, 60), (50, "0.9", 10, 71), (200, "0.6", 30, 447),
     (1000, "0.9", 500, 1146)],
)  # fmt: skip
def test_a_fit_feeds_the_safe_count(good, mean, weight, pulls):
    # Planning study, uncertainty: the column of the beta-negative-binomial.
    learned = beta_with(D(mean), weight=weight)
    assert culls.pulls_safe(good, learned=learned, assurance=D("0.95")) == pulls


@given(
    st.lists(
        st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
        min_size=1,
        max_size=9,
    ),
    st.decimals(0, 1, places=3),
)
def test_any_counts_give_a_share_that_can_be_used(counts, usual):
    found = share_of_sheets(counts, usual=usual)
    assert 0 < found.low <= found.high < 1
    assert 0 < found.value < 1
    assert 0 <= found.between <= 0.98
    assert found.weight <= sum(n for _, n in counts) + 5 * 50
    a, b = found.learned
    assert 0 <= culls.chance_of(1, 2, learned=(a, b)) <= 1


@pytest.mark.parametrize(("makings", "least"), [(5, 0.90), (12, 0.93)])
def test_the_next_making_is_promised_what_it_gives(makings, least):
    """Over many studios with 45:5, the safe pulls for 50 good are enough about as often as said.

    A fixed share at the true mean is enough in 90 of 100 (planning study).
    """
    draw = random.Random(7)
    enough, tried = 0, 400
    for _ in range(tried):
        shares = [draw.betavariate(45, 5) for _ in range(makings + 1)]
        counts = [(sum(draw.random() < share for _ in range(60)), 60) for share in shares[:-1]]
        found = share_of_sheets(counts, usual=D("0.9"))
        pulls = culls.pulls_safe(50, learned=found.learned, assurance=D("0.95"))
        enough += sum(draw.random() < shares[-1] for _ in range(pulls)) >= 50
    assert enough / tried >= least
