"""The one door to the solver: silent, one thread, one seed, so that every run answers alike."""

from __future__ import annotations

from typing import Any

import highspy


class _Silent(highspy.Highs):
    """A solver that does not print its name: it would stand in the output of every command."""

    def enableCallbacks(self) -> Any:  # noqa: N802
        """Be silent before the first step that prints, which is part of making a solver."""
        self.setOptionValue("output_flag", False)
        return super().enableCallbacks()


def engine(**options: float | int | str | bool) -> highspy.Highs:
    """Return a solver that prints nothing and always goes the same way; then set options."""
    solver = _Silent()
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
