"""The chance that the store covers a promise, against draws, exact sums and a worked instance."""

import math
import time
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from orders.calc import _spreads
from orders.calc.culls import chance_of, pulls_safe
from orders.calc.sureness import HeldLine, Sureness, chance_of_cover, held_line

D = Decimal
ONE = D(1)
DRAWS = 1_000_000


def line(*pieces, share=ONE, spread="0", yield_share=None):
    pieces = tuple((mg, D(sd)) for mg, sd in pieces)
    return HeldLine(D(share), pieces, D(spread), yield_share and D(yield_share))


def asked(*lines, wanted=50, pull_mg=25_000, per_pull=1, good="0.9", learned=None):
    learned = learned and (D(learned[0]), D(learned[1]))
    return Sureness(wanted, pull_mg, per_pull, D(good), lines, learned)


# --- a worked instance ---------------------------------------------------------------------------
# form-and-cover-95: Beta(45, 5) good share, Beta(90, 10) yield; counts by exact fractions, the
# chance of cover by quadrature at two orders and by a million draws, apart from this code.


@pytest.mark.parametrize(
    ("good", "learned", "pulls", "chance", "one_fewer"),
    [(50, (45, 5), 63, 0.962434, 0.946917), (200, (450, 50), 233, 0.960048, 0.946742)],
)
def test_form_counts_of_the_worked_instance(good, learned, pulls, chance, one_fewer):
    learned = tuple(map(D, learned))
    assert pulls_safe(good, learned=learned, assurance=D("0.95")) == pulls
    assert chance_of(good, pulls, learned=learned) == pytest.approx(chance, abs=5e-7)
    assert chance_of(good, pulls - 1, learned=learned) == pytest.approx(one_fewer, abs=5e-7)


def test_chance_of_cover_of_the_worked_instance():
    held = held_line(
        ONE,
        as_is_mg=2_000_000,
        moisture=D("0.08"),
        moisture_sd=D("0.01"),
        yield_learned=(D(90), D(10)),
    )
    found = chance_of_cover(asked(held, learned=(45, 5)))
    assert found == pytest.approx(0.97947, abs=2e-5)


# --- against a million draws ---------------------------------------------------------------------


def drawn(sureness, seed=1):
    """Return the share of draws in which everything held makes enough good sheets."""
    dice = np.random.default_rng(seed)
    good = float(sureness.good_share)
    if sureness.learned:
        good = dice.beta(*map(float, sureness.learned), DRAWS)
    spoilt = dice.negative_binomial(sureness.wanted, good, DRAWS)
    pulls = np.ceil((sureness.wanted + spoilt) / sureness.sheets_per_pull)
    enough = np.ones(DRAWS, bool)
    for held in sureness.lines:
        mass = sum(mg * (1 + float(sd) * dice.standard_normal(DRAWS)) for mg, sd in held.pieces)
        enough &= mass * factors(held, dice) >= pulls * sureness.pull_mg * float(held.share)
    return enough.mean()


def factors(held, dice):
    spread = float(held.yield_spread)
    if held.yield_share is None or not spread:
        return 1 + spread * dice.standard_normal(DRAWS)
    mean = float(held.yield_share)
    weight = (1 - mean) / (mean * spread**2) - 1
    return dice.beta(mean * weight, (1 - mean) * weight, DRAWS) / mean


CASES = {
    "two lots": asked(
        line((5_000_000, "0.02"), (5_200_000, "0.01"), spread="0.03"), wanted=350, good="0.88"
    ),
    "two lines": asked(
        line((2_500_000, "0.2"), share="0.6", spread="0.02", yield_share="0.98"),
        line((1_600_000, "0.01"), share="0.4", spread="0.05"),
        wanted=60, pull_mg=54_000, good="0.88",
    ),
    "cut in two": asked(
        line((1_650_000, "0.02"), spread="0.05", yield_share="0.97"),
        wanted=400, pull_mg=7000, per_pull=2,
    ),
    "cut in three": asked(
        line((1_080_000, "0.001")), wanted=400, pull_mg=7000, per_pull=3
    ),
    "learned from little": asked(
        line((4_000_000, "0.05"), spread="0.05", yield_share="0.6"),
        wanted=200, pull_mg=10_000, learned=(18, 12),
    ),
    "ten thousand sheets": asked(
        line((11_200_000, "0.002"), spread="0.001", yield_share="0.6"),
        wanted=10_000, pull_mg=1000, learned=(180, 22),
    ),
    "yield known badly": asked(
        line((3_600, "0.1"), spread="0.3", yield_share="0.6"), wanted=3, pull_mg=1000
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_the_chance_is_within_a_thousandth_of_a_million_draws(name):
    assert chance_of_cover(CASES[name]) == pytest.approx(drawn(CASES[name]), abs=0.001)


def seconds(work, times):
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


@pytest.mark.parametrize("name", ["two lots", "two lines", "cut in two", "ten thousand sheets"])
def test_the_chance_is_a_hundred_times_faster_than_a_million_draws(name):
    case = CASES[name]
    assert seconds(lambda: chance_of_cover(case), 20) * 100 < seconds(lambda: drawn(case), 2)


def test_the_chance_is_the_same_on_every_run():
    assert len({chance_of_cover(CASES["two lines"]) for _ in range(5)}) == 1


# --- against exact sums --------------------------------------------------------------------------


@settings(deadline=None)
@given(
    wanted=st.integers(1, 60),
    pulls=st.integers(1, 90),
    per_pull=st.integers(1, 3),
    good=st.decimals(D("0.3"), 1, places=2),
    learned=st.sampled_from([None, (45, 5), (9, 1), (2, 3)]),
)
def test_with_nothing_uncertain_in_the_store_only_culls_are_left(
    wanted, pulls, per_pull, good, learned
):
    held = line((pulls * 25_000, "0"))
    sure = asked(held, wanted=wanted, per_pull=per_pull, good=good, learned=learned)
    known = {"learned": tuple(map(D, learned))} if learned else {"good_share": good}
    exact = chance_of(wanted, pulls, sheets_per_pull=per_pull, **known)
    assert chance_of_cover(sure) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize(("held", "chance"), [(1_250_000, 1.0), (1_249_000, 0.0)])
def test_with_nothing_uncertain_at_all_it_is_yes_or_no(held, chance):
    assert chance_of_cover(asked(line((held, "0")), good="1")) == chance


def test_a_milligram_lost_in_splitting_the_need_is_no_shortage():
    assert chance_of_cover(asked(line((1_249_999, "0")), good="1")) == 1.0


def test_moisture_alone_is_the_tail_of_a_normal():
    # By hand: 30.6 kg held with a standard deviation of 1 %, 30 kg wanted: 0.6 / 0.306 deviations.
    found = chance_of_cover(asked(line((30_600_000, "0.01")), wanted=30, pull_mg=10**6, good="1"))
    assert found == pytest.approx(0.5 * math.erfc(-0.6 / 0.306 / math.sqrt(2)), abs=1e-5)


def test_two_lots_err_apart_and_a_common_yield_does_not():
    apart = line((15_300_000, "0.01"), (15_300_000, "0.01"))
    together = line((15_300_000, "0"), (15_300_000, "0"), spread="0.01")
    least = [
        chance_of_cover(asked(held, wanted=30, pull_mg=10**6, good="1"))
        for held in (apart, together)
    ]
    # By hand: independent errors of two equal lots add to 0.71 %, a common one stays 1 %.
    assert least[0] > least[1] + 0.01


def test_lines_are_lucky_or_not_each_on_its_own():
    half = line((15_000_000, "0.01"), share="0.5")
    one = chance_of_cover(asked(half, wanted=30, pull_mg=10**6, good="1"))
    two = chance_of_cover(asked(half, half, wanted=30, pull_mg=10**6, good="1"))
    assert one == pytest.approx(0.5, abs=1e-4)
    assert two == pytest.approx(one**2, abs=1e-6)


@settings(deadline=None)
@given(
    masses=st.tuples(st.integers(0, 3_000_000), st.integers(0, 3_000_000)),
    moisture=st.decimals(0, D("0.2"), places=3),
    spread=st.decimals(0, D("0.1"), places=3),
    yield_share=st.sampled_from([None, "0.3", "0.97", "1"]),
)
def test_more_fibre_is_never_less_sure(masses, moisture, spread, yield_share):
    less, more = (
        chance_of_cover(asked(line((mg, moisture), spread=spread, yield_share=yield_share)))
        for mg in sorted(masses)
    )
    assert 0 <= less <= more + 1e-6 <= 1 + 1e-6


@pytest.mark.parametrize(
    "sureness",
    [
        asked(line()),
        asked(line((10**9, "0.01")), good="0"),
        asked(line((1_000_000, "0.01"))),
        asked(line((10**9, "0"), share="0.5"), line(share="0.5")),
    ],
    ids=["nothing held", "nothing good", "too little", "one line empty"],
)
def test_what_cannot_be_has_no_chance(sureness):
    assert chance_of_cover(sureness) < 1e-6


def test_nothing_wanted_and_a_line_of_no_share_need_nothing():
    assert chance_of_cover(asked(line(), wanted=0)) == 1.0
    held = line((10**9, "0.01"))
    assert chance_of_cover(asked(held, line(share="0"))) == pytest.approx(1)


def test_a_full_store_is_as_good_as_sure_whatever_is_learned():
    sure = asked(line((10**12, "0.05"), spread="0.05"), wanted=100, learned=(9, 1))
    assert chance_of_cover(sure) == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize(
    ("wanted", "per_pull", "good", "pulls"),
    [
        (3_000_000, 1, "0.9", 3_333_700),
        (100, 10**9, "1e-9", 100),
        (100_000, 4, "0.01", 2_499_000),
        (10**9, 1, "0.5", 2 * 10**9 + 40_000),
    ],
)
def test_numbers_too_large_to_count_through_are_taken_together(wanted, per_pull, good, pulls):
    # With fibre for so many pulls, enough are good where no more sheets than that are needed:
    # the negative binomial is an incomplete beta function, here from scipy.
    held = line((pulls * 1000, "0"))
    made = asked(held, wanted=wanted, pull_mg=1000, per_pull=per_pull, good=good)
    exact = special.betainc(wanted, pulls * per_pull - wanted + 1, float(good))
    assert chance_of_cover(made) == pytest.approx(exact, abs=0.01)


def test_a_learned_share_is_not_counted_through_without_end():
    made = asked(
        line((10**12, "0")), wanted=50, pull_mg=1, per_pull=10**9, learned=(D("0.01"), D(9))
    )
    assert 0 < chance_of_cover(made) < 0.2


def test_what_may_go_wrong_is_never_certain():
    assert chance_of_cover(asked(line((10**9, "0")), good="0.99")) < 1
    assert chance_of_cover(asked(line((10**9, "0.01")), good="1")) < 1
    assert chance_of_cover(asked(line((10**9, "0"), spread="0.01"), good="1")) < 1
    assert chance_of_cover(asked(line((10**9, "0")), good="1")) == 1


# --- curves --------------------------------------------------------------------------------------


def test_the_tail_of_a_normal_is_that_of_the_error_function():
    deviates = np.linspace(-9, 9, 3001)
    exact = np.array([math.erfc(deviate / math.sqrt(2)) / 2 for deviate in deviates])
    assert np.abs(_spreads.normal_above(deviates) - exact).max() < 2e-7


@pytest.mark.parametrize(("a", "b"), [(90, 10), (11, 0.34), (0.4, 0.7), (3000, 40), (5, 2)])
def test_the_tail_of_a_beta_is_that_of_the_incomplete_beta_function(a, b):
    shares = np.linspace(0, 1, 801)
    exact = special.betaincc(a, b, shares)
    assert np.abs(_spreads.beta_above(shares, a, b) - exact).max() < 1e-9


@pytest.mark.parametrize(("a", "b"), [(90, 10), (11, 0.34), (5, 2)])
def test_the_nodes_of_a_beta_have_its_moments(a, b):
    nodes, weights = _spreads.beta_nodes(a, b)
    moment = Fraction(1)
    for power in range(1, 6):
        moment *= (Fraction(a) + power - 1) / (Fraction(a) + Fraction(b) + power - 1)
        assert float(weights @ nodes**power) == pytest.approx(float(moment), rel=1e-10)


@pytest.mark.parametrize("pulls", [50, 55, 60, 70])
def test_fibre_that_is_known_to_the_milligram_leaves_only_the_sheets_to_chance(pulls):
    held = line((pulls * 25_000, "0"))
    chance = chance_of(50, pulls, good_share=D("0.9"))
    assert chance_of_cover(asked(held)) == pytest.approx(chance, abs=1e-9)
