"""How many pulls a number of good sheets takes, as a distribution: the other side of culls.

The finished sheets until the last good one are beta-negative-binomial. Their chances follow from
one another by a ratio, so that all of them are summed in one sweep. Floats: no mass is decided
on them.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from orders.calc._quantiles import beta_quantile

Numbers = NDArray[np.float64]
# From here on chance within a making is lost beside the spread between makings.
MANY_GOOD = 20_000
MOST_FINISHED = 2_000_000
FAR = 0.0005
CLOSE = 1e-12


@lru_cache(maxsize=256)
def pulls_at(
    chances: tuple[float, ...], good: int, per_pull: int, a: float, b: float
) -> tuple[int, ...]:
    """Return the pulls that are enough with each of the chances, rising."""
    if good > MANY_GOOD:
        sheets = [good / beta_quantile(1 - chance, a, b) for chance in chances]
        return tuple(math.ceil(count / per_pull) for count in sheets)
    reached = _chances(good, a, b)
    # A chance that is met exactly is met, whatever the last digit of a float says.
    places = np.searchsorted(reached, np.array(chances) - CLOSE)
    places = np.minimum(places, len(reached) - 1)
    return tuple(math.ceil((good + int(place)) / per_pull) for place in places)


@lru_cache(maxsize=64)
def _chances(good: int, a: float, b: float) -> Numbers:
    """Return the chance that so many finished sheets are enough, from ``good`` of them on."""
    least = max(beta_quantile(FAR, a, b), good / MOST_FINISHED)
    far = good / least
    top = min(math.ceil(far + 6 * math.sqrt(far / least) + 20), MOST_FINISHED)
    steps = np.arange(good, top, dtype=float)
    ratios = np.log(steps / (steps - good + 1) * (b + steps - good) / (a + b + steps))
    first = math.lgamma(a + good) - math.lgamma(a) + math.lgamma(a + b) - math.lgamma(a + b + good)
    chances = np.exp(first + np.concatenate(([0.0], np.cumsum(ratios))))
    return np.cumsum(chances)
