"""The curves behind :mod:`orders.calc.sureness`: normal and beta, as nodes and as tails.

Floats throughout: these are chances, and no mass is decided on them. A product of two spread
factors is summed over nodes of the narrower one, because the tail of the wider one is smooth
between those nodes.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
NODES = 40
MOST_STEPS = 500
GRID = 401
TABLED = 801
TINY = 1e-300
# A rational curve for the error function, right to 1.5e-7; the tests hold it to math.erf.
ERF_SLOPE = 0.3275911
ERF_TERMS = (1.061405429, -1.453152027, 1.421413741, -0.284496736, 0.254829592)


@lru_cache(maxsize=1)
def normal_nodes() -> tuple[Numbers, Numbers]:
    """Return the nodes of a standard normal and their weights, which add up to 1."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    return nodes, weights / weights.sum()


@lru_cache(maxsize=1)
def normal_grid() -> tuple[Numbers, Numbers]:
    """Return an even grid over a standard normal and its weights: for tails with a corner."""
    grid = np.linspace(-6.0, 6.0, GRID)
    weights = np.exp(-grid * grid / 2)
    return grid, weights / weights.sum()


def normal_above(deviates: Numbers) -> Numbers:
    """Return the chance that a standard normal lies above each deviate."""
    far = np.abs(deviates) / math.sqrt(2)
    slope = 1 / (1 + ERF_SLOPE * far)
    curve = np.zeros_like(far)
    for term in ERF_TERMS:
        curve = (curve + term) * slope
    tail = curve * np.exp(-np.minimum(far * far, 700.0)) / 2
    return np.where(deviates >= 0, tail, 1 - tail)


@lru_cache(maxsize=256)
def beta_nodes(a: float, b: float) -> tuple[Numbers, Numbers]:
    """Return the nodes of Beta(a, b) and their weights: the Gauss rule of its own moments."""
    right, left = b - 1, a - 1
    steps = np.arange(1, NODES, dtype=float)
    both = 2 * steps + left + right
    middle = np.empty(NODES)
    middle[0] = (left - right) / (left + right + 2)
    middle[1:] = (left + right) * (left - right) / (both * (both + 2))
    beside = np.empty(NODES - 1)
    beside[0] = 4 * a * b / ((a + b) ** 2 * (a + b + 1))
    k, wide = steps[1:], both[1:]
    beside[1:] = (
        4 * k * (k + left) * (k + right) * (k + left + right)
        / (wide**2 * (wide + 1) * (wide - 1))
    )  # fmt: skip
    off = np.sqrt(beside)
    places, vectors = np.linalg.eigh(np.diag(middle) + np.diag(off, 1) + np.diag(off, -1))
    return (places + 1) / 2, vectors[0] ** 2


def beta_above(shares: Numbers, a: float, b: float) -> Numbers:
    """Return the chance that Beta(a, b) lies above each share."""
    shares = np.clip(shares, 0.0, 1.0)
    is_low = shares < (a + 1) / (a + b + 2)
    above = np.empty_like(shares)
    above[is_low] = 1 - _beta_tail(shares[is_low], a, b)
    above[~is_low] = _beta_tail(1 - shares[~is_low], b, a)
    return above


def tabled_beta_above(shares: Numbers, a: float, b: float) -> Numbers:
    """Return about the same for many shares, between the places of a table."""
    places, tails = _beta_table(a, b)
    return np.interp(shares, places, tails)


@lru_cache(maxsize=64)
def _beta_table(a: float, b: float) -> tuple[Numbers, Numbers]:
    mean = a / (a + b)
    reach = 12 * math.sqrt(mean * (1 - mean) / (a + b + 1))
    low, high = max(mean - reach, 0.0), min(mean + reach, 1.0)
    steps = np.linspace(0.0, 1.0, TABLED)
    # Where it reaches up to all, it may end in a corner: the places stand close there.
    closer = max(4.0, 1.5 / b) if high == 1 else 1.0
    places = high - (high - low) * (1 - steps) ** closer
    return places, beta_above(places, a, b)


def _beta_tail(x: Numbers, a: float, b: float) -> Numbers:
    """Return the regularised incomplete beta function where its fraction converges fast."""
    with np.errstate(divide="ignore"):
        front = a * np.log(x) + b * np.log1p(-x)
    front = np.exp(front + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)) / a
    return front / _fraction(x, a, b)


def _fraction(x: Numbers, a: float, b: float) -> Numbers:
    """Return the continued fraction of the incomplete beta function, by Lentz's steps."""
    value = np.ones_like(x)
    upper, lower = np.ones_like(x), np.zeros_like(x)
    for step in range(1, MOST_STEPS):
        m = step // 2
        if step % 2:
            term = -(a + m) * (a + b + m) / ((a + 2 * m) * (a + 2 * m + 1)) * x
        else:
            term = m * (b - m) / ((a + 2 * m - 1) * (a + 2 * m)) * x
        lower = 1 / _not_zero(1 + term * lower)
        upper = _not_zero(1 + term / upper)
        change = upper * lower
        value *= change
        if np.all(np.abs(change - 1) < 1e-11):
            break
    return value


def _not_zero(numbers: Numbers) -> Numbers:
    return np.where(np.abs(numbers) < TINY, TINY, numbers)
