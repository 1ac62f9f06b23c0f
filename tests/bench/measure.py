"""How benches measure: the best of a few runs, and memory in a process of its own."""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from orders.calc.cover import allocate
from tests.bench.generate import Size, studio

KB_IN_A_MB = 1024
HIGHEST = "VmHWM:"


@dataclass
class Clock:
    """What the planner writes down: seconds spent in the solver."""

    solver_seconds: float = 0.0


@dataclass(frozen=True)
class Run:
    """One run: seconds in all, and of them in the solver."""

    seconds: float
    solver_seconds: float

    @property
    def ratio(self) -> float:
        return self.seconds / self.solver_seconds


def best_run(times: int, work: Callable[[Clock], object]) -> Run:
    """Return the quickest of a few runs, with the solver's part of that very run."""
    runs = []
    for _ in range(times):
        clock = Clock()
        started = time.perf_counter()
        work(clock)
        runs.append(Run(time.perf_counter() - started, clock.solver_seconds))
    return min(runs, key=lambda run: run.seconds)


def peak_mb(size: Size) -> float:
    """Return the most memory that a process takes which plans a studio of this size."""
    words = [str(number) for number in (size.lots, size.commissions, size.fibres, size.days)]
    told = subprocess.run(
        [sys.executable, "-m", "tests.bench.measure", *words],
        check=True,
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    return float(told.stdout)


def _main() -> None:
    parser = argparse.ArgumentParser(description="Plan one generated studio; print peak MB.")
    parser.add_argument("size", type=int, nargs=4)
    allocate(studio(Size(*parser.parse_args().size)))
    sys.stdout.write(f"{peak_kb() / KB_IN_A_MB:.1f}\n")


def peak_kb() -> int:
    """Return the most that this process has held; a parent's share of it is not counted."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    rows = (line.split() for line in status.read_text().splitlines())
    return next(int(row[1]) for row in rows if row and row[0] == HIGHEST)


if __name__ == "__main__":
    _main()
