"""Figures learned from makings: what several say together, and how sure that is.

The making is the unit: sheets of one making go wrong together, so that many sheets of one
making say little of the next. Floats are used for the statistics; :mod:`orders.calc.onemaking` is
exact. What is learned is offered, and it is for the owner to take it over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_UP, Decimal
from fractions import Fraction

from orders.calc._moments import MOST_BETWEEN, Count, doubt_of_mean, moments
from orders.calc._quantiles import beta_quantile, student_quantile
from orders.calc._shared import checked_share
from orders.calc.culls import LEAST_SPREAD, MOST_SPREAD, Learned
from studio.errors import RangeError

Figure = Decimal | Fraction | int

# With fewer makings than this, the figure that was set stands in for the makings missing.
ENOUGH_MAKINGS = 5
# How far a rate is taken to vary between makings while too few are known: as Beta parameters
# that add up to 50 spread it. Common practice, no source.
USUAL_BETWEEN = Fraction(1, 51)
ASSURANCE = Decimal("0.95")
WEIGHT_PLACES = Decimal("0.0001")


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean over makings, the limits within which it lies, and how far makings vary.

    The limits and the standard deviation between makings are None for a single making.
    """

    value: float
    low: float | None
    high: float | None
    deviation: float | None
    makings: int


@dataclass(frozen=True, slots=True)
class SharePerMaking:
    """A share of sheets, as makings show it.

    ``between`` is the correlation of two sheets of one making: 0 where makings differ only by
    chance. ``stands_in`` is how many makings the figure that was set stands in for. ``weight``
    is the sum of the Beta parameters for the next making, the doubt about the mean included.
    """

    value: float
    low: float
    high: float
    deviation: float
    makings: int
    stands_in: int
    between: float
    weight: float

    @property
    def learned(self) -> Learned:
        """Return the Beta parameters of the share, as the safe counts take them."""
        return beta_with(Decimal(repr(self.value)), weight=self.weight)


# --- what makings say together -------------------------------------------------------------------


def mean_of(values: Sequence[Figure], *, assurance: Decimal = ASSURANCE) -> Mean:
    """Return the mean of a figure over makings, and the limits within which it lies.

    Parameters
    ----------
    values : sequence of int, Decimal or Fraction [any]
        One figure for each making, in any unit, at least one.
    assurance : Decimal [-]
        Chance that the limits hold the mean, between 0 and 1.

    Returns
    -------
    Mean [unit of ``values``]
        Mean, limits and standard deviation between makings.

    Raises
    ------
    RangeError
        If there is no making, or the assurance is not between 0 and 1.

    Notes
    -----
    Mean ± t s / √n, with Student's t of n − 1 degrees: [NISTHANDBOOK] 1.3.5.2. Every making
    counts the same, however many sheets it gave.

    Examples
    --------
    >>> found = mean_of([Decimal("0.90"), Decimal("0.94"), Decimal("0.92")])
    >>> round(found.value, 4), round(found.low, 4), round(found.high, 4)
    (0.92, 0.8703, 0.9697)
    """
    sure = float(checked_share("The assurance", assurance, zero=False, one=False))
    if not values:
        raise RangeError("A mean takes one making at least, got none.", value=0)
    exact, count = [Fraction(value) for value in values], len(values)
    middle = sum(exact, Fraction(0)) / count
    if count == 1:
        return Mean(float(middle), None, None, None, 1)
    square = sum(((one - middle) ** 2 for one in exact), Fraction(0)) / (count - 1)
    deviation = math.sqrt(square)
    reach = student_quantile(sure, count - 1) * deviation / math.sqrt(count)
    return Mean(float(middle), float(middle) - reach, float(middle) + reach, deviation, count)


def share_of_sheets(
    counts: Sequence[Count], *, usual: Decimal, assurance: Decimal = ASSURANCE
) -> SharePerMaking:
    """Return a share of sheets by the moments of a beta-binomial over makings.

    Parameters
    ----------
    counts : sequence of pairs of int [sheets]
        For each making, the sheets found (good, or broke) and all its finished sheets.
    usual : Decimal [-]
        The share that was set; it stands in for the makings missing where they are fewer than 5.
    assurance : Decimal [-]
        Chance that the limits hold the mean, between 0 and 1.

    Returns
    -------
    SharePerMaking [-]
        Mean, its limits, and the Beta parameters for the next making.

    Raises
    ------
    RangeError
        If there is no making, or one has no finished sheet, or more found than finished.

    Notes
    -----
    Moments with weights n / (1 + (n − 1) ρ), from memory: Kleinman, Journal of the American
    Statistical Association 68 (1973) 46; with equal makings they are those of [BETABINOMIAL].
    The spread between makings is what is left once chance within a making is taken off. Where
    k < 5 the mean is that of k makings and 5 − k that came out as set; ρ is weighed k − 1 to
    5 − k with 1/51 ([PRACTICE], common practice, no source). The doubt about the mean is added
    to the spread, so that it never says more than all sheets counted as one making.

    Examples
    --------
    >>> found = share_of_sheets([(45, 50), (40, 50)], usual=Decimal("0.9"))
    >>> round(found.value, 2), found.stands_in
    (0.88, 3)
    """
    sure = float(checked_share("The assurance", assurance, zero=False, one=False))
    prior = float(checked_share("The usual share", usual))
    _check_counts(counts)
    makings, finished = len(counts), sum(all_of for _, all_of in counts)
    missing = max(ENOUGH_MAKINGS - makings, 0)
    share, seen = moments(counts)
    between = seen
    if missing:
        known = makings - 1
        between = (known * seen + missing * float(USUAL_BETWEEN)) / (known + missing)
        share = (makings * share + missing * prior) / ENOUGH_MAKINGS
    # What was never seen is not impossible: half a sheet of it is taken to be there.
    least = 0.5 / (finished + 1)
    share = min(max(share, least), 1 - least)
    doubt = _doubt(counts, between, missing)
    tail, mean_weight = (1 - sure) / 2, 1 / doubt - 1
    limits = (share * mean_weight, (1 - share) * mean_weight)
    return SharePerMaking(
        value=share,
        low=beta_quantile(tail, *limits),
        high=beta_quantile(1 - tail, *limits),
        deviation=math.sqrt(share * (1 - share) * between),
        makings=makings,
        stands_in=missing,
        between=between,
        weight=1 / min(between + doubt, MOST_BETWEEN) - 1,
    )


def beta_with(mean: Decimal, *, weight: float) -> Learned:
    """Return the Beta parameters of a share by its mean and its weight.

    Parameters
    ----------
    mean : Decimal [-]
        The share to expect, above 0 and below 1.
    weight : float [sheets]
        Sum of the two parameters, above 0: as many sheets would say as much.

    Returns
    -------
    tuple of two Decimals [-]
        The parameters (a, b), whose share is the mean exactly.

    Raises
    ------
    RangeError
        If the mean is not between 0 and 1.

    Notes
    -----
    a = mean × weight and b the rest of the weight, rounded first; no less than 0.01 each and no
    more than ten million together, which is what safe counts take. Source: definition.

    Examples
    --------
    >>> beta_with(Decimal("0.9"), weight=50)
    (Decimal('45.00000'), Decimal('5.00000'))
    """
    share = checked_share("The mean of a learned share", mean, zero=False, one=False)
    least = float(Fraction(LEAST_SPREAD) / min(share, 1 - share))
    whole = Decimal(repr(min(max(float(weight), least), float(MOST_SPREAD)))).quantize(
        WEIGHT_PLACES, rounding=ROUND_UP
    )
    return mean * whole, whole - mean * whole


# --- beneath -------------------------------------------------------------------------------------


def _doubt(counts: Sequence[Count], between: float, missing: int) -> float:
    """Return the doubt about the mean, with what was set standing in for makings missing."""
    seen = doubt_of_mean(counts, between)
    own = (ENOUGH_MAKINGS - missing) / ENOUGH_MAKINGS
    return own * own * seen + missing * float(USUAL_BETWEEN) / ENOUGH_MAKINGS**2


def _check_counts(counts: Sequence[Count]) -> None:
    if not counts:
        raise RangeError("A share takes one making at least, got none.", value=0)
    for found, finished in counts:
        if not 0 <= found <= finished or finished < 1:
            raise RangeError(
                "A making must have finished sheets, and no more found among them, got "
                f"{found} of {finished}.",
                value=found,
            )
