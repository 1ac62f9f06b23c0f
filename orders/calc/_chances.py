"""The chances behind :mod:`orders.calc.culls`: tails of the (beta-)binomial, and searches.

Floats are used for the chances only. A chance that falls so near the assurance that a float
can't tell is decided with whole numbers, or, where that would take too long, against the studio:
it then makes one sheet more or promises one less.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from statistics import NormalDist

from studio.errors import RangeError
from studio.units import show_number

# Relative distance from the assurance within which a float is not trusted; the log-gamma of 1e8 is
# right to about 4e-7.
NEAR = 1e-6
MOST_DECIDED_EXACTLY = 3_000
# Past these the chances take seconds to sum; no hand studio finishes as many in its life.
MOST_FINISHED = 100_000_000
MOST_FINISHED_LEARNED = 2_000_000
NEWTON_STEPS = 3
FLATTEST = 1e-12


@dataclass(frozen=True, slots=True)
class Spread:
    """What is known of the good share: ``good`` and ``faulty`` weigh it, ``gain`` spreads it.

    It is an urn with ``good`` + ``faulty`` balls; each draw is put back with ``gain`` more of
    its kind. With ``gain`` 0 the share is fixed (binomial); with ``gain`` 1 it is spread as
    Beta(good, faulty). All three are whole numbers over one common denominator.
    """

    good: int
    faulty: int
    gain: int

    @property
    def mean(self) -> Fraction:
        """Return the good share to expect."""
        return Fraction(self.good, self.good + self.faulty)

    def deviation(self, trials: int) -> float:
        """Return the standard deviation of the number of good sheets."""
        share = float(self.mean)
        balls = self.good + self.faulty
        wider = (balls + trials * self.gain) / (balls + self.gain)
        return math.sqrt(trials * share * (1 - share) * wider)


def _most_finished(spread: Spread) -> int:
    return MOST_FINISHED_LEARNED if spread.gain else MOST_FINISHED


def check_finished(sheets: int, spread: Spread) -> None:
    """Refuse more finished sheets than the chances are reckoned for."""
    if sheets > (most := _most_finished(spread)):
        raise RangeError(
            f"The chance of enough good sheets is reckoned up to {show_number(most)} finished "
            f"sheets, got {show_number(sheets)}. Reckon a part of them.",
            value=sheets,
        )


# --- searching -----------------------------------------------------------------------------------


@lru_cache(maxsize=16_384)
def fewest_sheets(good: int, spread: Spread, shortfall: Fraction) -> int:
    """Return the fewest finished sheets that hold ``good`` good ones with the assurance."""
    mean = float(spread.mean)
    average = good / mean
    check_finished(math.ceil(average), spread)
    wider = spread.deviation(round(average)) / mean
    near = _nearer(
        lambda sheets: tails(good, sheets, spread)[0],
        lambda sheets: math.exp(_log_chance(good, sheets, spread)) * good / sheets,
        allowed=float(shortfall),
        guess=average + _normal_deviate(shortfall) * wider,
        within=(good, _most_finished(spread)),
    )

    def enough(sheets: int) -> bool:
        check_finished(sheets, spread)
        return _reaches(good, sheets, spread, shortfall)

    return _first_true(enough, least=good, guess=near)


@lru_cache(maxsize=16_384)
def most_good(sheets: int, spread: Spread, shortfall: Fraction) -> int:
    """Return the most good sheets that ``sheets`` finished ones hold with the assurance."""
    if spread.good == 0 or spread.faulty == 0:
        return sheets if spread.good else 0
    faulty = sheets * (1 - float(spread.mean))
    near = _nearer(
        lambda fewer: tails(sheets - fewer, sheets, spread)[0],
        lambda fewer: math.exp(_log_chance(sheets - fewer, sheets, spread)),
        allowed=float(shortfall),
        guess=faulty + _normal_deviate(shortfall) * spread.deviation(sheets),
        within=(0, sheets),
    )
    return sheets - _first_true(
        lambda fewer: _reaches(sheets - fewer, sheets, spread, shortfall), least=0, guess=near
    )


def _normal_deviate(shortfall: Fraction) -> float:
    return -NormalDist().inv_cdf(min(max(float(shortfall), 1e-300), 1 - 1e-15))


def _nearer(
    too_few: Callable[[int], float],
    density: Callable[[int], float],
    *,
    allowed: float,
    guess: float,
    within: tuple[int, int],
) -> int:
    """Bring the guess of where a falling chance reaches ``allowed`` near by Newton's steps.

    A wrong guess costs time only: the search that follows decides.
    """
    low, high = within
    near = min(max(round(guess), low), high)
    for _ in range(NEWTON_STEPS):
        slope = density(near)
        if slope < FLATTEST:
            break
        near = min(max(round(near + (too_few(near) - allowed) / slope), low), high)
    return near


def _first_true(holds: Callable[[int], bool], *, least: int, guess: int) -> int:
    """Return the first whole number from ``least`` on at which a rising condition holds.

    Steps away from the guess double until the answer lies between two numbers tried.
    """
    step = 1
    if holds(guess):
        high = guess
        while (low := high - step) >= least and holds(low):
            high, step = low, step * 2
        low = max(low, least - 1)
    else:
        low = guess
        while not holds(high := low + step):
            low, step = high, step * 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


# --- chances -------------------------------------------------------------------------------------


def _reaches(good: int, trials: int, spread: Spread, shortfall: Fraction) -> bool:
    """Return whether the chance of too few good sheets is at most ``shortfall``."""
    too_few, _ = tails(good, trials, spread)
    allowed = float(shortfall)
    if abs(too_few - allowed) > NEAR * allowed:
        return too_few < allowed
    if trials > MOST_DECIDED_EXACTLY:
        return False
    return _exact_too_few(good, trials, spread) <= shortfall


@lru_cache(maxsize=65_536)
def tails(good: int, trials: int, spread: Spread) -> tuple[float, float]:
    """Return the chances of fewer than ``good`` and of at least ``good`` among the trials.

    The smaller of the two is summed, because 1 minus a sum near 1 has no figures left.
    """
    if good <= 0 or (spread.faulty == 0 and good <= trials):
        return 0.0, 1.0
    if good > trials or spread.good == 0:
        return 1.0, 0.0
    if good > float(spread.mean) * trials:
        enough = _sum_from(good, trials, spread, upward=True)
        return 1 - enough, enough
    too_few = _sum_from(good - 1, trials, spread, upward=False)
    return too_few, 1 - too_few


def _sum_from(first: int, trials: int, spread: Spread, *, upward: bool) -> float:
    """Sum the chances of ``first`` good sheets and of all counts beyond it."""
    wins, losses = (spread.good, spread.faulty) if upward else (spread.faulty, spread.good)
    count = first if upward else trials - first
    # Floats here, because whole numbers of many figures are slow to multiply.
    wins, losses, gain = (
        (float(wins), float(losses), 0.0)
        if spread.gain == 0
        else (wins / spread.gain, losses / spread.gain, 1.0)
    )
    term = math.exp(_log_chance(first, trials, spread))
    total = term
    for reached in range(count, trials):
        left = trials - reached
        ratio = left * (wins + reached * gain) / ((reached + 1) * (losses + (left - 1) * gain))
        term *= ratio
        total += term
        # What is left can't be seen in the sum. It can't rise again to be seen: between two peaks
        # at the ends the chances fall by no more than the number of trials.
        if ratio < 1 and term < total * 1e-17 * (1 - ratio):
            break
    return min(total, 1.0)


def _log_chance(good: int, trials: int, spread: Spread) -> float:
    """Return the logarithm of the chance of exactly ``good`` good sheets."""
    faulty = trials - good
    ways = math.lgamma(trials + 1) - math.lgamma(good + 1) - math.lgamma(faulty + 1)
    if spread.gain == 0:
        balls = spread.good + spread.faulty
        return (
            ways + good * math.log(spread.good / balls) + faulty * math.log(spread.faulty / balls)
        )
    a, b = spread.good / spread.gain, spread.faulty / spread.gain
    return ways + _log_beta(a + good, b + faulty) - _log_beta(a, b)


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def _exact_too_few(good: int, trials: int, spread: Spread) -> Fraction:
    """Return the chance of fewer than ``good`` good sheets in whole numbers."""
    ways = math.prod(spread.faulty + n * spread.gain for n in range(trials))
    total = 0
    for count in range(good):
        total += ways
        left = trials - count - 1
        ways = ways * (left + 1) * (spread.good + count * spread.gain)
        ways //= (count + 1) * (spread.faulty + left * spread.gain)
    balls = spread.good + spread.faulty
    return Fraction(total, math.prod(balls + n * spread.gain for n in range(trials)))
