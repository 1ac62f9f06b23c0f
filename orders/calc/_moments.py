"""The moments behind :mod:`orders.calc.learned`: the mean of a share and how makings differ.

Floats: statistics, and no mass is decided on them.
"""

from __future__ import annotations

from collections.abc import Sequence

Count = tuple[int, int]

# A making in which all sheets share one fate would leave nothing to average.
MOST_BETWEEN = 0.98
ROUNDS = 20


def moments(counts: Sequence[Count]) -> tuple[float, float]:
    """Return mean share and correlation within a making; weights and both settle in rounds."""
    share, between = 0.0, 0.0
    for _ in range(ROUNDS):
        weights = weights_of(counts, between)
        whole = sum(weights)
        share = sum(w * x / n for w, (x, n) in zip(weights, counts, strict=True)) / whole
        chance = share * (1 - share)
        if chance <= 0 or len(counts) == 1:
            return share, 0.0
        rest = [w * (1 - w / whole) for w in weights]
        within = sum(r / n for r, (_, n) in zip(rest, counts, strict=True))
        square = sum(w * (x / n - share) ** 2 for w, (x, n) in zip(weights, counts, strict=True))
        room = chance * (sum(rest) - within)
        found = (square - chance * within) / room if room > 0 else 0.0
        between = min(max(found, 0.0), MOST_BETWEEN)
    return share, between


def weights_of(counts: Sequence[Count], between: float) -> list[float]:
    """Return how much each making counts: by its sheets, the less the more makings differ."""
    return [n / (1 + (n - 1) * between) for _, n in counts]


def doubt_of_mean(counts: Sequence[Count], between: float) -> float:
    """Return the variance of the mean over share times (1 − share)."""
    weights = weights_of(counts, between)
    whole = sum(weights)
    return sum(
        (w / whole) ** 2 * (between + (1 - between) / n)
        for w, (_, n) in zip(weights, counts, strict=True)
    )
