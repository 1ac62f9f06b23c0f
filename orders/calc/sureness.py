"""How sure it is that the store covers a promise: moisture, yield and culls all vary."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from orders.calc._spreads import (
    Numbers,
    beta_nodes,
    normal_above,
    normal_grid,
    normal_nodes,
    tabled_beta_above,
)

# Beyond so many standard deviations nothing is seen in a chance.
FAR = 7.0
# Numbers of sheets that are counted through one by one; more are taken together.
MOST_COUNTED = 2_000_000
# More pulls than any store makes.
MOST_PULLS = 10**15
# What may go wrong is never said to be certain, though the sum of its chances rounds to 1.
ALMOST_SURE = 1 - 1e-12
STRETCH = 1_000
NOT_SEEN = 1e-6
# So wide beside the yield, the tail of the other spread is smooth between the nodes of the yield.
WIDE_ENOUGH = 0.35
# More masses than this lie so near each other that a straight line between them is as good.
MOST_RECKONED = 200
# Lines are split in whole milligrams; a line may hold one less than its exact share.
SPLIT_MG = 1.0


@dataclass(frozen=True, slots=True)
class HeldLine:
    """What a commission can count on for one line of its furnish.

    ``share`` is the part this line has in its fibre, ``pieces`` the usable milligrams of every
    lot held for it or free to it, each with the spread of that lot (standard deviation over
    mass); ``yield_spread`` is common to all of them. With ``yield_share``, the preparation yield
    to expect, the yield is spread as a Beta, which knows that no more than all can be left;
    without it, as a normal. ``lying_mg`` is what lies at the vat for the pulls already, taken as
    it was weighed; below 0 it is what has to come out of the pieces before any pull.
    """

    share: Decimal
    pieces: tuple[tuple[int, Decimal], ...]
    yield_spread: Decimal = Decimal(0)
    yield_share: Decimal | None = None
    lying_mg: int = 0


@dataclass(frozen=True, slots=True)
class Sureness:
    """All that the chance of cover is worked out from.

    ``learned`` holds the Beta parameters (a, b) of a good share learned from makings; it takes
    the place of ``good_share``.
    """

    wanted: int
    pull_mg: int
    sheets_per_pull: int
    good_share: Decimal
    lines: tuple[HeldLine, ...]
    learned: tuple[Decimal, Decimal] | None = None


def held_line(
    share: Decimal,
    *,
    as_is_mg: int,
    moisture: Decimal,
    moisture_sd: Decimal,
    yield_learned: tuple[Decimal, Decimal],
) -> HeldLine:
    """Return what one weighed lot gives to a line, from its moisture and a learned yield.

    Parameters
    ----------
    share : Decimal [-]
        Part of the line in the fibre of a sheet, above 0 up to 1.
    as_is_mg : int [mg]
        Mass as weighed, water included.
    moisture : Decimal [-]
        Water as a share of the as-is mass (wet basis), from 0 up to 1.
    moisture_sd : Decimal [-]
        Standard deviation of that moisture, in the same shares.
    yield_learned : tuple of two Decimals [-]
        Beta parameters (a, b) of the preparation yield, each above 0.

    Returns
    -------
    HeldLine
        One piece with the usable mass to expect.

    Raises
    ------
    StudioError
        Never; lots are checked when they are entered.

    Notes
    -----
    Usable = as-is × (1 − moisture) × yield; the mean of Beta(a, b) is a / (a + b), its variance
    mean × (1 − mean) / (a + b + 1). Source: definition.

    Examples
    --------
    >>> from decimal import Decimal as D
    >>> line = held_line(D(1), as_is_mg=2_000_000, moisture=D("0.08"), moisture_sd=D("0.01"),
    ...                  yield_learned=(D(90), D(10)))
    >>> line.pieces[0][0], line.yield_share
    (1656000, Decimal('0.9'))
    """
    a, b = yield_learned
    mean = a / (a + b)
    dry = 1 - moisture
    return HeldLine(
        share=share,
        pieces=((round(as_is_mg * dry * mean), moisture_sd / dry),),
        yield_spread=((1 - mean) / (mean * (a + b + 1))).sqrt(),
        yield_share=mean,
    )


def chance_of_cover(sureness: Sureness) -> float:
    """Return the chance that what is held makes all the good sheets wanted.

    Parameters
    ----------
    sureness : Sureness
        Sheets wanted, fibre of a pull, good share, and what each line of the furnish can count
        on, masses in milligrams of usable fibre.

    Returns
    -------
    float [-]
        From 0 to 1, the same on every run, within 0.001 where sheets can be counted through.

    Raises
    ------
    StudioError
        Never; an impossible promise has the chance 0.

    Notes
    -----
    Sum over n of P(n pulls are needed) × P(the fibre makes n pulls). The finished sheets needed
    until enough are good are negative binomial, or beta-negative-binomial when the good share
    was learned [BOOST]; pulls are whole. Where over two million numbers of sheets come into
    question they are taken together as a normal with their skew, right to a hundredth. Usable
    fibre of a line is a yield factor common to the line times the sum of its pieces, whose
    errors are independent; lines are independent of each other. Does not account for a meter
    that is wrong for every lot in the same direction.

    Examples
    --------
    >>> from decimal import Decimal as D
    >>> line = held_line(D(1), as_is_mg=2_000_000, moisture=D("0.08"), moisture_sd=D("0.01"),
    ...                  yield_learned=(D(90), D(10)))
    >>> round(chance_of_cover(Sureness(50, 25_000, 1, D(1), (line,), (D(45), D(5)))), 4)
    0.9795
    """
    if sureness.wanted <= 0:
        return 1.0
    pulls, chances = _pulls_needed(sureness)
    if not pulls.size:
        return 0.0
    makes = np.ones_like(pulls)
    for line in sureness.lines:
        if line.share > 0:
            needed = pulls * (sureness.pull_mg * float(line.share)) - SPLIT_MG - line.lying_mg
            makes *= _chance_to_hold(line, needed)
    most = 1.0 if _is_certain(sureness) else ALMOST_SURE
    return float(min(max(chances @ makes, 0.0), most))


def _is_certain(sureness: Sureness) -> bool:
    """Tell whether nothing varies at all, so that the answer is yes or no."""
    if sureness.learned is not None or sureness.good_share < 1:
        return False
    return not any(
        line.yield_spread or any(spread for _, spread in line.pieces) for line in sureness.lines
    )


# --- pulls needed --------------------------------------------------------------------------------


def _pulls_needed(sureness: Sureness) -> tuple[Numbers, Numbers]:
    """Return numbers of pulls and the chance that each is just what is needed.

    Numbers that the fibre can never make are left out, and so are those too rare to be seen.
    """
    wanted, per_pull = sureness.wanted, sureness.sheets_per_pull
    most = _most_pulls(sureness) * per_pull
    if wanted > most:
        return np.empty(0), np.empty(0)
    if _is_too_long(sureness, most):
        return _pulls_together(sureness)
    log_chances = _log_waits(sureness, most)
    if not log_chances.size:
        return np.empty(0), np.empty(0)
    sheets = np.arange(wanted, wanted + log_chances.size)
    pulls = -(-sheets // per_pull)
    chances = np.bincount(pulls - pulls[0], weights=np.exp(log_chances))
    numbers = np.arange(pulls[0], pulls[0] + chances.size, dtype=float)
    seen = chances > 1e-15
    return numbers[seen], chances[seen]


def _is_too_long(sureness: Sureness, most: int) -> bool:
    """Tell whether more numbers of sheets may be needed than can be counted through."""
    good = float(sureness.good_share)
    if sureness.learned is not None or not 0 < good < 1:
        return False
    return min(most, _usual_wait(sureness.wanted, good)) - sureness.wanted > MOST_COUNTED


def _usual_wait(wanted: int, good: float) -> int:
    """Return a number of sheets that is as good as never needed."""
    return math.ceil(wanted / good + 2 * FAR * math.sqrt(wanted * (1 - good)) / good) + 60


def _pulls_together(sureness: Sureness) -> tuple[Numbers, Numbers]:
    """Return the pulls needed as places of a normal, bent by the skew of the wait."""
    wanted, good = sureness.wanted, float(sureness.good_share)
    places, weights = normal_grid()
    bent = places + (2 - good) / math.sqrt(wanted * (1 - good)) * (places * places - 1) / 6
    sheets = (wanted + math.sqrt(wanted * (1 - good)) * bent) / good
    return np.ceil(np.maximum(sheets, wanted) / sureness.sheets_per_pull), weights


def _most_pulls(sureness: Sureness) -> int:
    """Return the pulls that the fibre makes when everything turns out as well as it can."""
    most = float(MOST_PULLS)
    for line in sureness.lines:
        if line.share > 0:
            mass, spread = _held(line)
            best = (mass + FAR * spread) * (1 + FAR * float(line.yield_spread)) + SPLIT_MG
            best += line.lying_mg
            most = min(most, best / (sureness.pull_mg * float(line.share)))
    return max(int(most), 0)


def _log_waits(sureness: Sureness, most: int) -> Numbers:
    """Return log P(J = j) for j from the number wanted on: the last good sheet is the j-th."""
    wanted = sureness.wanted
    if sureness.learned is not None:
        a, b = (float(value) for value in sureness.learned)
        return _log_learned_waits(wanted, a, b, min(most, wanted + MOST_COUNTED))
    good = float(sureness.good_share)
    if good >= 1 or good <= 0:
        return np.zeros(1 if good >= 1 else 0)
    waits = np.arange(wanted, min(most, _usual_wait(wanted, good)), dtype=float)
    ratios = np.log(waits / (waits - wanted + 1)) + math.log1p(-good)
    return wanted * math.log(good) + np.concatenate(([0.0], np.cumsum(ratios)))


def _log_learned_waits(wanted: int, a: float, b: float, most: int) -> Numbers:
    """Return the same for a learned good share, as far as there is a chance to be seen.

    The wait may be endless where the share may be tiny, so it is looked at in growing stretches.
    """
    first = _log_beta(a + wanted, b) - _log_beta(a, b)
    reach = 2 * wanted + STRETCH
    while True:
        waits = np.arange(wanted, min(most, reach), dtype=float)
        spoilt = waits - wanted
        ratios = np.log(waits / (spoilt + 1) * (b + spoilt) / (a + b + waits))
        found = first + np.concatenate(([0.0], np.cumsum(ratios)))
        if reach >= most or np.exp(found).sum() > 1 - NOT_SEEN:
            return found
        reach *= 4


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


# --- fibre held ----------------------------------------------------------------------------------


def _held(line: HeldLine) -> tuple[float, float]:
    """Return the mass to expect of all pieces and its standard deviation, before the yield."""
    mass = sum(mg for mg, _ in line.pieces)
    return float(mass), math.sqrt(sum((mg * float(spread)) ** 2 for mg, spread in line.pieces))


def _chance_to_hold(line: HeldLine, needed: Numbers) -> Numbers:
    """Return, for each mass, the chance that the line turns out to hold as much."""
    mass, deviation = _held(line)
    factor = float(line.yield_spread)
    if mass <= 0:
        return np.where(needed <= 0, 1.0, 0.0)
    if factor == 0:
        if deviation == 0:
            return np.where(needed <= mass, 1.0, 0.0)
        return normal_above((needed - mass) / deviation)
    chances = np.where(needed <= 0, 1.0, 0.0)
    reach = FAR * (factor + deviation / mass)
    # Far below nothing can go wrong and far above nothing can help: no need to reckon there.
    # A Beta near its end has a long tail towards none.
    least = 0.0 if _beta_shape(line) else max(mass * (1 - reach), 0.0)
    chances[needed < least] = 1.0
    open_ones = (needed > least) & (needed <= mass * (1 + reach))
    asked = needed[open_ones]
    if asked.size > MOST_RECKONED:
        places = np.linspace(asked[0], asked[-1], MOST_RECKONED)
        chances[open_ones] = np.interp(asked, places, _spread_chance(line, places))
    else:
        chances[open_ones] = _spread_chance(line, asked)
    return chances


def _spread_chance(line: HeldLine, needed: Numbers) -> Numbers:
    """Sum over nodes of one spread, with the tail of the other, which is smooth between them."""
    mass, deviation = _held(line)
    factor, shape = float(line.yield_spread), _beta_shape(line)
    if deviation >= factor * mass * WIDE_ENOUGH:
        factors, weights = _yield_nodes(factor, shape)
        reached = needed[:, None] / np.maximum(factors, 1e-9)
        return normal_above((reached - mass) / deviation) @ weights
    if shape is None:
        nodes, weights = normal_nodes()
    else:
        nodes, weights = normal_grid()
    held = np.maximum(mass + deviation * nodes, 1e-9)
    factors = needed[:, None] / held
    if shape is None:
        return normal_above((factors - 1) / factor) @ weights
    return tabled_beta_above(factors * shape[0] / sum(shape), *shape) @ weights


def _yield_nodes(spread: float, shape: tuple[float, float] | None) -> tuple[Numbers, Numbers]:
    """Return nodes of the yield over the yield expected, and their weights."""
    if shape is None:
        nodes, weights = normal_nodes()
        return 1 + spread * nodes, weights
    shares, weights = beta_nodes(*shape)
    return shares * (sum(shape) / shape[0]), weights


def _beta_shape(line: HeldLine) -> tuple[float, float] | None:
    """Return the Beta with the mean and the spread of the yield, where there is one."""
    if line.yield_share is None or not 0 < line.yield_share < 1:
        return None
    mean, spread = float(line.yield_share), float(line.yield_spread)
    weight = (1 - mean) / (mean * spread * spread) - 1
    return (mean * weight, (1 - mean) * weight) if weight > 0.1 else None
