"""The one door to the solver: silent, one thread, one seed, so that every run answers alike."""

from __future__ import annotations

import highspy


def engine(**options: float | int | str | bool) -> highspy.Highs:
    """Return a solver that prints nothing and always goes the same way; then set options."""
    solver = highspy.Highs()
    for name, value in {
        "output_flag": False,
        "log_to_console": False,
        "threads": 1,
        "parallel": "off",
        "random_seed": 0,
        **options,
    }.items():
        solver.setOptionValue(name, value)
    return solver
