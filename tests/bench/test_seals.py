"""How long the chain of seals takes to prove, beside reading the same rows and no more."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from fibres import sealing
from fibres.models import Movement
from tests.bench.studio import Extent, fill
from tests.builders import day

pytestmark = pytest.mark.django_db
EXTENT = Extent(lots=10_000, commissions=40, fibres=8, days=180)
TIMES = 3


def best_seconds(work: Callable[[], object]) -> float:
    """Return the quickest of a few runs."""
    taken = []
    for _ in range(TIMES):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def read_alone() -> None:
    columns = (
        "pk", "lot_id", "lot__ref", "kind", "oven_dry_mg", "as_is_mg", "moisture", "happened_on",
        "why", "reverses_id", "entry__request_key", "entry__act", "entry__said", "entry__page",
        "entry__by__username", "entry__recorded_at", "seal__number", "seal__digest",
    )  # fmt: skip
    for _ in Movement.objects.order_by("pk").values_list(*columns).iterator():
        pass


def test_proving_the_chain(benchmark):
    fill(EXTENT, day())
    assert list(sealing.faults()) == []
    benchmark.pedantic(lambda: list(sealing.faults()), rounds=TIMES, iterations=1)
    ratio = best_seconds(lambda: list(sealing.faults())) / best_seconds(read_alone)
    benchmark.extra_info["times a plain reading"] = round(ratio, 1)
