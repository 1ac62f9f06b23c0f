"""How good a plan of purchases is within its time: proven, or how far off at most.

Not part of a usual run: ``pytest tests/bench --benchmark-only -s``.
"""

from __future__ import annotations

import time

import pytest

from orders.calc.buying import plan
from tests.bench.generate import buying

LIMIT_S = 5.0
# What is reckoned before and after the solver, and how far it overruns its own limit.
GRACE = 1.5

seeds = pytest.mark.parametrize("seed", [1, 2])


def planned(benchmark, fibres, weeks, sources, seed):
    snapshot = buying(fibres, weeks, sources, seed=seed)
    started = time.perf_counter()
    found = benchmark.pedantic(plan, args=(snapshot,), kwargs={"time_limit_s": LIMIT_S}, rounds=1)
    seconds = time.perf_counter() - started
    figures = {
        "seconds": round(seconds, 2),
        "gap": round(found.gap, 4),
        "to_rule": round(found.total_minor / found.rule_total_minor, 3),
        "orders": len(found.purchases),
    }
    benchmark.extra_info.update(figures)
    print(f"\n{fibres}x{weeks}x{sources} seed {seed}: {figures}")  # noqa: T201
    assert found.purchases
    assert found.total_minor <= found.rule_total_minor
    assert seconds <= LIMIT_S * GRACE
    return found


@seeds
def test_a_small_studio_is_planned_with_proof(benchmark, seed):
    assert planned(benchmark, 5, 13, 3, seed).is_proven


@seeds
def test_ten_fibres_are_planned_within_two_percent(benchmark, seed):
    assert planned(benchmark, 10, 13, 5, seed).gap <= 0.02


@seeds
def test_a_year_of_thirty_fibres_is_planned_within_its_time(benchmark, seed):
    assert 0 <= planned(benchmark, 30, 52, 8, seed).gap < 1
