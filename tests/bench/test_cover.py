"""How long cover takes, as a ratio to the time that the solver takes on the same matrices.

Not part of a usual run: ``pytest tests/bench --benchmark-only -s``. A ratio says the same on a
slow machine as on a fast one. The largest size runs only where ``HALFSTUFF_LARGEST_BENCH`` is
set to 1: it takes minutes.
"""

from __future__ import annotations

import os

import pytest

from orders import queries, snapshot
from orders.calc.cover import allocate
from orders.tables import CommissionTable
from orders.views.shapes import cover_marks
from studio.roles import OWNER
from tests.bench.generate import EVERYDAY, LARGE, LARGEST, SMALL, studio
from tests.bench.measure import Clock, best_run, peak_mb
from tests.bench.studio import Extent, fill
from tests.builders import day, make_user
from tests.orders.oracles.checking import faults

MOST_OVER_SOLVER = 1.3
MOST_GROWTH = 25
MOST_MB = 600
EVERYDAY_SECONDS = 0.1
ROWS_ON_A_PAGE = 50

largest = pytest.mark.skipif(
    os.environ.get("HALFSTUFF_LARGEST_BENCH") != "1",
    reason="takes minutes: set HALFSTUFF_LARGEST_BENCH=1",
)
to_large = pytest.mark.parametrize("size", [EVERYDAY, SMALL, LARGE], ids=str)
to_largest = pytest.mark.parametrize(
    "size", [EVERYDAY, SMALL, LARGE, pytest.param(LARGEST, marks=largest)], ids=str
)
from_large = pytest.mark.parametrize(
    "size", [LARGE, pytest.param(LARGEST, marks=largest)], ids=str
)


def rows_of_page(cover, user):
    """Return the cells of the first page of commissions, as the list shows them."""
    table = CommissionTable(
        queries.commissions_for(user).order_by("due", "ref"), covers=cover_marks(cover)
    )
    table.paginate(page=1, per_page=ROWS_ON_A_PAGE)
    return [[str(cell) for cell in row] for row in table.paginated_rows]


def say(benchmark, **figures):
    """Write figures down beside the benchmark, and show them where output is shown."""
    benchmark.extra_info.update(figures)
    print(f"\n{benchmark.name}: {figures}")  # noqa: T201


@from_large
def test_the_whole_answer_takes_little_more_than_the_solver(benchmark, db, size):
    user = make_user(OWNER)
    fill(Extent(size.lots, size.commissions, size.fibres, size.days), day())
    covers = []

    def answer(clock):
        cover = allocate(snapshot.read(day()), clock=clock)
        covers.append(cover)
        return rows_of_page(cover, user)

    answer(Clock())
    run = best_run(3 if size == LARGE else 1, answer)
    benchmark.pedantic(answer, args=(Clock(),), rounds=1)
    short = sum(bool(found.short) for found in covers[-1].commissions)
    say(
        benchmark,
        ratio=round(run.ratio, 3),
        seconds=round(run.seconds, 3),
        solver=round(run.solver_seconds, 3),
        short=short,
    )
    assert run.ratio <= MOST_OVER_SOLVER


@to_largest
def test_cover_of_a_generated_studio(benchmark, size):
    plan = studio(size)
    run = best_run(1 if size == LARGEST else 3, lambda clock: allocate(plan, clock=clock))
    cover = benchmark.pedantic(allocate, args=(plan,), rounds=1)
    short = sum(bool(found.short) for found in cover.commissions)
    say(benchmark, ratio=round(run.ratio, 3), seconds=round(run.seconds, 3), short=short)
    assert 0 < short < size.commissions


@to_large
@pytest.mark.parametrize("marked", [False, True], ids=["scrap", "marked"])
def test_every_pick_of_a_large_answer_is_right(benchmark, size, marked):
    plan = studio(size, marked=marked)
    cover = benchmark.pedantic(allocate, args=(plan,), rounds=1)
    assert not faults(plan, cover)


def test_how_much_longer_ten_times_the_size_takes(benchmark):
    small, large = studio(SMALL), studio(LARGE)
    before = best_run(5, lambda clock: allocate(small, clock=clock))
    after = best_run(3, lambda clock: allocate(large, clock=clock))
    benchmark.pedantic(allocate, args=(small,), rounds=1)
    growth = after.seconds / before.seconds
    say(benchmark, growth=round(growth, 1))
    assert growth <= MOST_GROWTH


def test_the_everyday_size_answers_at_once(benchmark):
    plan = studio(EVERYDAY)
    run = best_run(5, lambda clock: allocate(plan, clock=clock))
    benchmark.pedantic(allocate, args=(plan,), rounds=5)
    say(benchmark, seconds=round(run.seconds, 4))
    assert run.seconds < EVERYDAY_SECONDS


@to_largest
def test_memory_stays_small(benchmark, size):
    peak = benchmark.pedantic(peak_mb, args=(size,), rounds=1)
    say(benchmark, peak_mb=peak)
    assert peak <= MOST_MB
