"""Where a share of a Beta or a Student distribution lies: the way back from a tail to a place.

Floats: these are limits within which a mean is thought to lie, and no mass is decided on them.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from orders.calc._spreads import beta_above

PLACES = 101
ROUNDS = 7


@lru_cache(maxsize=4_096)
def beta_quantile(chance: float, a: float, b: float) -> float:
    """Return the share below which Beta(a, b) lies with a chance; narrows an even grid."""
    low, high = 0.0, 1.0
    for _ in range(ROUNDS):
        grid = np.linspace(low, high, PLACES)
        first = int(np.searchsorted(1 - beta_above(grid, a, b), chance))
        first = min(max(first, 1), PLACES - 1)
        low, high = float(grid[first - 1]), float(grid[first])
    return (low + high) / 2


@lru_cache(maxsize=4_096)
def student_quantile(assurance: float, degrees: int) -> float:
    """Return the deviate within which a Student variable lies either way with an assurance.

    Its square t² is the degrees ν times (1 / x - 1), where x follows Beta(ν / 2, 1 / 2).
    """
    x = beta_quantile(1 - assurance, degrees / 2, 0.5)
    return math.sqrt(degrees * (1 / x - 1))
