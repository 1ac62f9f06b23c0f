"""The chance of cover beside a Monte Carlo: as exact as a million draws, a hundred times as fast.

Not part of a usual run: ``pytest tests/bench --benchmark-only -s``. Speed is measured against a
million draws; the error against four million, whose own noise is small beside what is asked.
"""

from __future__ import annotations

import time
from decimal import Decimal

import numpy as np
import pytest

from orders.calc.sureness import HeldLine, Sureness, chance_of_cover

D = Decimal
KG = 1_000_000
DRAWS, MANY_DRAWS = 1_000_000, 4_000_000
MOST_OFF = 0.001
LEAST_FASTER = 100
PULL_MG = 7_330


def one_line(kg, *, spread="0.03", yield_spread="0.02", yield_share=None, lots=1):
    pieces = ((round(kg * KG / lots), D(spread)),) * lots
    return HeldLine(D(1), pieces, D(yield_spread), yield_share and D(yield_share))


CASES = {
    "one lot": Sureness(100, PULL_MG, 1, D("0.88"), (one_line(0.85),)),
    "one lot, just enough": Sureness(100, PULL_MG, 1, D("0.88"), (one_line(0.83),)),
    "ten lots": Sureness(400, PULL_MG, 1, D("0.88"), (one_line(3.4, spread="0.08", lots=10),)),
    "moisture alone": Sureness(
        50, PULL_MG, 1, D("0.9"), (one_line(0.42, spread="0.06", yield_spread="0"),)
    ),
    "yield alone": Sureness(
        50, PULL_MG, 1, D("0.9"), (one_line(0.42, spread="0", yield_spread="0.05"),)
    ),
    "yield as a Beta": Sureness(
        50,
        25_000,
        1,
        D(1),
        (one_line(1.5, yield_spread="0.033", yield_share="0.9"),),
        (D(45), D(5)),
    ),
    "learned culls": Sureness(
        200, PULL_MG, 1, D(1), (one_line(1.68),), (D(45), D(5))
    ),
    "three sheets a pull": Sureness(
        301, 3 * PULL_MG, 3, D("0.85"), (one_line(2.65, spread="0.02"),)
    ),
    "two fibres": Sureness(
        100,
        PULL_MG,
        1,
        D("0.88"),
        (
            HeldLine(D("0.6"), ((520_000, D("0.03")),), D("0.02")),
            HeldLine(D("0.4"), ((180_000, D("0.05")), (165_000, D("0.02"))), D("0.03")),
        ),
    ),
    "a large making": Sureness(
        1000, PULL_MG, 1, D(1), (one_line(8.4, spread="0.01", yield_spread="0.01"),),
        (D(450), D(50)),
    ),
}  # fmt: skip


def drawn(sureness: Sureness, draws: int, seed: int = 5) -> float:
    """Return the share of draws in which what is held makes the sheets, all drawn anew."""
    random = np.random.default_rng(seed)
    good = (
        random.beta(*map(float, sureness.learned), draws)
        if sureness.learned
        else float(sureness.good_share)
    )
    sheets = sureness.wanted + random.negative_binomial(sureness.wanted, good, draws)
    pulls = -(-sheets // sureness.sheets_per_pull)
    enough = np.ones(draws, dtype=bool)
    for line in sureness.lines:
        held = np.zeros(draws)
        for mass, spread in line.pieces:
            held += mass * (1 + float(spread) * random.standard_normal(draws))
        held *= _yields(line, draws, random)
        enough &= held >= pulls * (sureness.pull_mg * float(line.share))
    return float(enough.mean())


def _yields(line: HeldLine, draws: int, random: np.random.Generator) -> np.ndarray:
    """Draw the yield of a line over the yield expected."""
    spread = float(line.yield_spread)
    if line.yield_share is None:
        return 1 + spread * random.standard_normal(draws)
    mean = float(line.yield_share)
    weight = (1 - mean) / (mean * spread**2) - 1
    return random.beta(mean * weight, (1 - mean) * weight, draws) / mean


@pytest.mark.parametrize("name", CASES)
def test_the_chance_is_that_of_a_monte_carlo_and_much_faster(benchmark, name):
    case = CASES[name]
    chance = benchmark.pedantic(chance_of_cover, args=(case,), rounds=20, warmup_rounds=2)
    quick = seconds_of(lambda: chance_of_cover(case), 20)
    slow = seconds_of(lambda: drawn(case, DRAWS), 1)
    off = abs(chance - drawn(case, MANY_DRAWS))
    figures = {"chance": round(chance, 4), "off": round(off, 5), "faster": round(slow / quick)}
    benchmark.extra_info.update(figures)
    print(f"\n{name}: {figures}")  # noqa: T201
    assert 0.05 < chance < 0.999
    assert off <= MOST_OFF
    assert slow / quick >= LEAST_FASTER


def seconds_of(work, times):
    found = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        found.append(time.perf_counter() - started)
    return min(found)
