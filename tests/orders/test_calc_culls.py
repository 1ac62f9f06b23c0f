"""Pulls for a promise of good sheets, and good sheets that pulls can promise."""

import time
from decimal import Decimal
from fractions import Fraction
from math import comb, factorial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from orders.calc import _chances
from orders.calc.culls import chance_of, good_sheets_safe, pulls_average, pulls_safe
from studio.errors import RangeError

D = Decimal
SHARES = st.decimals(min_value=D("0.3"), max_value=D(1), places=2)
ASSURANCES = st.sampled_from([D("0.5"), D("0.8"), D("0.9"), D("0.95"), D("0.99"), D("0.999")])
PARAMETERS = st.integers(1, 60)


def exact_waiting(good, chance_at, assurance):
    """The oracle: add the chances that the last good sheet is just the n-th, from the first on."""
    reached, sheets = Fraction(0), good - 1
    while reached < Fraction(assurance):
        sheets += 1
        reached += chance_at(sheets)
    return sheets


def negative_binomial(good, share):
    p = Fraction(share)
    return lambda n: comb(n - 1, good - 1) * p**good * (1 - p) ** (n - good)


def beta(a, b):
    return Fraction(factorial(a - 1) * factorial(b - 1), factorial(a + b - 1))


def beta_negative_binomial(good, a, b):
    return lambda n: comb(n - 1, good - 1) * beta(a + good, b + n - good) / beta(a, b)


@given(st.integers(1, 40), SHARES, ASSURANCES)
def test_safe_pulls_agree_with_exact_fractions(good, share, assurance):
    exact = exact_waiting(good, negative_binomial(good, share), assurance)
    assert pulls_safe(good, good_share=share, assurance=assurance) == exact


@settings(deadline=None)
@given(st.integers(1, 20), st.integers(2, 60), st.integers(1, 12), ASSURANCES)
def test_learned_safe_pulls_agree_with_exact_fractions(good, a, b, assurance):
    # A share that may be tiny makes the wait endless; past 2000 sheets the oracle is too slow.
    chance_at = beta_negative_binomial(good, a, b)
    found = pulls_safe(good, learned=(D(a), D(b)), assurance=assurance)
    if found <= 300:
        assert found == exact_waiting(good, chance_at, assurance)
    else:
        assert sum(chance_at(n) for n in range(good, 301)) < Fraction(assurance)


@given(st.integers(0, 30), st.integers(0, 40), SHARES, st.integers(1, 3))
def test_the_chance_agrees_with_exact_fractions(good, pulls, share, per_pull):
    sheets, p = pulls * per_pull, Fraction(share)
    exact = sum(comb(sheets, x) * p**x * (1 - p) ** (sheets - x) for x in range(good, sheets + 1))
    found = chance_of(good, pulls, good_share=share, sheets_per_pull=per_pull)
    assert found == pytest.approx(float(exact), rel=1e-9, abs=1e-300)


@given(st.integers(0, 30), st.integers(0, 40), PARAMETERS, PARAMETERS)
def test_the_learned_chance_agrees_with_exact_fractions(good, pulls, a, b):
    exact = sum(
        comb(pulls, x) * beta(a + x, b + pulls - x) / beta(a, b) for x in range(good, pulls + 1)
    )
    found = chance_of(good, pulls, learned=(D(a), D(b)))
    assert found == pytest.approx(float(exact), rel=1e-9, abs=1e-300)


@settings(deadline=None)
@given(st.integers(0, 500), SHARES, st.integers(1, 12), ASSURANCES, st.sampled_from([None, 3, 40]))
def test_the_safe_promise_is_the_largest_the_pulls_hold(pulls, share, per_pull, assurance, weight):
    learned = None if weight is None else (weight * share, weight * (1 - share) + D("0.5"))
    how = {
        "good_share": share,
        "sheets_per_pull": per_pull,
        "assurance": assurance,
        "learned": learned,
    }
    promised = good_sheets_safe(pulls, **how)
    assert pulls_safe(promised, **how) <= pulls
    if promised < pulls * per_pull:
        assert pulls_safe(promised + 1, **how) > pulls


@given(st.integers(0, 3_000), SHARES, SHARES, ASSURANCES)
def test_more_loss_never_gives_more_sheets(pulls, one, other, assurance):
    worse, better = sorted((one, other))
    fewer = good_sheets_safe(pulls, good_share=worse, assurance=assurance)
    assert fewer <= good_sheets_safe(pulls, good_share=better, assurance=assurance)


@given(st.integers(1, 3_000), SHARES, SHARES, ASSURANCES)
def test_more_loss_never_takes_fewer_pulls(good, one, other, assurance):
    worse, better = sorted((one, other))
    more = pulls_safe(good, good_share=worse, assurance=assurance)
    assert more >= pulls_safe(good, good_share=better, assurance=assurance)
    assert pulls_average(good, good_share=worse) >= pulls_average(good, good_share=better)


@given(st.integers(0, 3_000), st.integers(0, 3_000), SHARES, ASSURANCES)
def test_more_pulls_never_promise_fewer_sheets(one, other, share, assurance):
    fewer, more = sorted((one, other))
    less = good_sheets_safe(fewer, good_share=share, assurance=assurance)
    assert less <= good_sheets_safe(more, good_share=share, assurance=assurance)


@given(st.integers(1, 500), st.integers(2, 200), st.integers(1, 50))
def test_a_share_less_surely_known_takes_more_pulls(good, a, b):
    # The same mean from ten times as many sheets; at 95 % the surer one needs no more.
    loose = pulls_safe(good, learned=(D(a + 10), D(b)), assurance=D("0.95"))
    sure = pulls_safe(good, learned=(D(a + 10) * 10, D(b) * 10), assurance=D("0.95"))
    assert sure <= loose


def test_pulls_on_average_are_rounded_up_exactly():
    # 88 / 0.88 is 100 exactly; one sheet more takes one pull more. 0.1 + 0.2 style floats fail.
    assert pulls_average(88, good_share=D("0.88")) == 100
    assert pulls_average(89, good_share=D("0.88")) == 102
    assert pulls_average(88, good_share=D("0.88"), sheets_per_pull=3) == 34
    assert pulls_average(0, good_share=0) == 0


def test_several_sheets_to_a_pull_are_each_good_or_not():
    # 61 sheets hold 51 good ones at 95 % (BOOST); 2 to a pull make that 31 pulls.
    how = {"good_share": D("0.9"), "assurance": D("0.95")}
    assert pulls_safe(51, **how) == 61
    assert pulls_safe(51, sheets_per_pull=2, **how) == 31


def test_an_exact_tie_counts_as_reached():
    # Of 101 fair tosses at least 51 are heads with a chance of exactly one half.
    assert pulls_safe(51, good_share=D("0.5"), assurance=D("0.5")) == 101
    assert good_sheets_safe(101, good_share=D("0.5"), assurance=D("0.5")) == 51


def test_a_learned_tie_counts_as_reached():
    # Beta(1, 1): of n sheets every count 0 to n is as likely, so P(at least 1 of 19) = 19/20.
    assert pulls_safe(1, learned=(D(1), D(1)), assurance=D("0.95")) == 19
    assert good_sheets_safe(19, learned=(D(1), D(1)), assurance=D("0.95")) == 1


def test_a_tie_too_long_to_decide_goes_against_the_studio():
    # Beta(1, 1) again: P(at least 250 of 4999) = 4750/5000 = 95 % exactly, past exact deciding.
    assert _chances.MOST_DECIDED_EXACTLY < 4_999
    assert good_sheets_safe(4_999, learned=(D(1), D(1)), assurance=D("0.95")) == 249


def test_a_share_of_all_or_nothing_needs_no_chance():
    assert pulls_safe(50, good_share=1, assurance=D("0.999")) == 50
    assert pulls_safe(50, good_share=1, sheets_per_pull=4, assurance=D("0.95")) == 13
    assert good_sheets_safe(50, good_share=1, assurance=D("0.999")) == 50
    assert good_sheets_safe(50, good_share=0, assurance=D("0.5")) == 0
    assert pulls_safe(0, good_share=0, assurance=D("0.95")) == 0
    assert chance_of(50, 50, good_share=1) == 1
    assert chance_of(1, 50, good_share=0) == 0
    assert chance_of(51, 50, good_share=1) == 0


def test_a_share_that_is_all_or_nothing_by_run_is_summed_to_its_ends():
    # Beta(1/2, 1/2) is highest at both ends; by symmetry P(at least 51 of 101) is one half.
    half = (D("0.5"), D("0.5"))
    assert chance_of(51, 101, learned=half) == pytest.approx(0.5, rel=1e-9)
    assert chance_of(0, 101, learned=half) == 1


def test_an_assurance_close_to_certain_is_kept():
    # P(0 good of n) = 0.1^n, so one good sheet at 1 − 10^-12 takes exactly 12 pulls.
    assert pulls_safe(1, good_share=D("0.9"), assurance=D("0." + "9" * 12)) == 12
    assert pulls_safe(1, good_share=D("0.9"), assurance=D("0." + "9" * 400)) == 400


def test_an_assurance_close_to_nothing_is_kept():
    # All good has the chance 0.5^n; 0.5^10 > 0.0009 > 0.5^11.
    assert good_sheets_safe(10, good_share=D("0.5"), assurance=D("0.0009")) == 10
    assert good_sheets_safe(11, good_share=D("0.5"), assurance=D("0.0009")) == 10


@given(st.integers(5, 300), st.integers(5, 300))
def test_the_search_ends_right_from_any_guess(first, guess):
    assert _chances._first_true(lambda number: number >= first, least=5, guess=guess) == first


@pytest.mark.parametrize(
    ("learned", "limit"), [(None, 0.05), ((D(45), D(5)), 1.0)], ids=["set", "learned"]
)
def test_a_hundred_thousand_sheets_answer_fast(learned, limit):
    _chances.fewest_sheets.cache_clear()
    _chances.tails.cache_clear()
    start = time.perf_counter()
    found = pulls_safe(100_000, good_share=D("0.9"), learned=learned, assurance=D("0.95"))
    assert time.perf_counter() - start < limit
    # A binomial lies near its normal: 111111 + 1.645 × √(100000 × 0.1)/0.9 = 111294.
    assert found == pytest.approx(111_294 if learned is None else 121_500, rel=0.001)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: pulls_average(-1, good_share=1), "Good sheets must be 0 or more, got -1"),
        (lambda: pulls_average(5, good_share=0), "good share is 0"),
        (lambda: pulls_average(5, good_share=D("1.1")), "The good share must be from 0 to 1"),
        (lambda: pulls_average(5, good_share=D("NaN")), "The good share must be from 0 to 1"),
        (lambda: pulls_average(5, good_share=0.9), "The good share must be from 0 to 1"),
        (lambda: pulls_average(5, good_share=True), "The good share must be from 0 to 1"),
        (lambda: pulls_average(5, good_share=1, sheets_per_pull=0), "at least 1 finished sheet"),
        (lambda: pulls_safe(5, good_share=0, assurance=D("0.95")), "good share is 0"),
        (lambda: pulls_safe(5, assurance=D(1)), "The assurance must be more than 0 and less"),
        (lambda: pulls_safe(5, assurance=D(0)), "The assurance must be more than 0 and less"),
        (lambda: good_sheets_safe(-1, assurance=D("0.95")), "Pulls must be 0 or more"),
        (lambda: good_sheets_safe(1, assurance=D("0.9"), learned=(D(0), D(1))), "learned a must"),
        (lambda: good_sheets_safe(1, assurance=D("0.9"), learned=(D(9), 1.5)), "learned b must"),
        (lambda: chance_of(1, 1, learned=(D(9), D("Infinity"))), "learned b must"),
        (lambda: chance_of(1, 100_000_001), "reckoned up to 100 000 000"),
        (lambda: chance_of(1, 2_000_001, learned=(D(9), D(1))), "reckoned up to 2 000 000"),
        (
            lambda: pulls_safe(10**8, good_share=D("0.9"), assurance=D("0.9")),
            "reckoned up to 100 000 000",
        ),
        (
            lambda: pulls_safe(5, learned=(D("0.02"), D("0.02")), assurance=D("0.99")),
            "reckoned up to 2 000 000",
        ),
    ],
)
def test_nonsense_is_refused(call, said):
    with pytest.raises(RangeError) as refused:
        call()
    assert said in str(refused.value).replace("\u202f", " ")
