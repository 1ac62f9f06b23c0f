"""What is still to be weighed out where some lies weighed out already, fibre by fibre.

What has been weighed out is in no lot any more. A promise then asks for the rest alone, by a
recipe of its own: where all the linter lies there and none of the abaca, the rest is abaca.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from orders.calc.cover import good_sheets
from orders.calc.planrows import ONE, AtVat, Part, Promise
from studio.errors import RangeError

# What is still to weigh out below this share of the whole is the slip of a scale. From memory.
SLIP = Fraction(1, 100)
# Shares of the rest are kept this finely: below a milligram of a tonne.
SHARE_PLACES = Decimal("1e-12")


@dataclass(frozen=True, slots=True)
class Still:
    """What one line of a furnish still takes, in milligrams: at least, as aimed at, at most."""

    least: Fraction
    target: Fraction
    most: Fraction


@dataclass(frozen=True, slots=True)
class Run:
    """One run at the vat: the fibre it takes, and what lies weighed out for it, by fibre.

    Masses are milligrams of usable fibre; ``order_mg`` is what of ``total_mg`` goes into the
    pulls, the rest is for trial sheets and stays in the vat.
    """

    total_mg: int
    order_mg: int
    pulls: int
    weighed: Mapping[str, int]


def still_to_weigh(
    furnish: Sequence[Part], total_mg: int, weighed: Mapping[str, int]
) -> tuple[Still, ...]:
    """Return what each line of a furnish still takes of a whole.

    Parameters
    ----------
    furnish : sequence of Part
        Lines of the furnish; their targets add up to 1.
    total_mg : int [mg]
        Usable fibre that the whole takes, 0 or more.
    weighed : mapping of str to int [mg]
        Usable fibre that is weighed out, by its name.

    Returns
    -------
    tuple of Still [mg]
        One per line, in order; nothing for any of them where the rest is the slip of a scale.

    Raises
    ------
    RangeError
        If a mass is below 0.

    Notes
    -----
    The rest is the whole less what is weighed out, or more where a line holds too much to keep
    to the shares. It is nearest to the targets that the limits of the whole allow. What counts
    for more than one line fills the one that names it first; what no line names stands in for
    all that is lacking, in proportion. Definition. That a rest below 1 % of the whole is the slip
    of a scale is from memory.

    Examples
    --------
    >>> four, one = Decimal("0.8"), Decimal("0.2")
    >>> furnish = (Part(("linter",), four, four, four), Part(("abaca",), one, one, one))
    >>> [int(still.target) for still in still_to_weigh(furnish, 1000, {"linter": 800})]
    [0, 200]
    """
    for name, mass in (("whole", total_mg), *weighed.items()):
        if mass < 0:
            raise RangeError(f"The mass of {name} must be 0 mg or more, got {mass}.", value=mass)
    lows, aims, highs = (
        [Fraction(share) * total_mg for share in shares]
        for shares in zip(*((part.least, part.target, part.most) for part in furnish), strict=True)
    )
    lying = _by_line(furnish, aims, weighed)
    low = [max(want - there, Fraction(0)) for want, there in zip(lows, lying, strict=True)]
    aim = [max(want - there, Fraction(0)) for want, there in zip(aims, lying, strict=True)]
    rest = max(total_mg - sum(lying), sum(low))
    if rest <= SLIP * total_mg:
        return (Still(Fraction(0), Fraction(0), Fraction(0)),) * len(furnish)
    over = sum(aim) - sum(low)
    part_of = (rest - sum(low)) / over if over else Fraction(0)
    target = [least + (want - least) * part_of for least, want in zip(low, aim, strict=True)]
    return tuple(
        Still(least, want, max(most - there, want))
        for least, want, most, there in zip(low, target, highs, lying, strict=True)
    )


def _by_line(
    furnish: Sequence[Part], aims: Sequence[Fraction], weighed: Mapping[str, int]
) -> list[Fraction]:
    """Count what is weighed out for the lines."""
    lying = [Fraction(0) for _ in furnish]
    other = Fraction(0)
    for fibre, mass in weighed.items():
        places = [place for place, part in enumerate(furnish) if fibre in part.fibres]
        places.sort(key=lambda place: furnish[place].fibres.index(fibre))
        if not places:
            other += mass
            continue
        left = Fraction(mass)
        for place in places:
            taken = min(left, max(aims[place] - lying[place], Fraction(0)))
            lying[place] += taken
            left -= taken
        lying[places[0]] += left
    lacks = [max(aim - there, Fraction(0)) for aim, there in zip(aims, lying, strict=True)]
    if other and sum(lacks):
        stands_in = min(other, sum(lacks))
        lying = [
            there + stands_in * lack / sum(lacks) for there, lack in zip(lying, lacks, strict=True)
        ]
    return lying


def recipe_of(furnish: Sequence[Part], still: Sequence[Still]) -> tuple[int, tuple[Part, ...]]:
    """Return how much is still taken in all, and the furnish of that rest.

    Parameters
    ----------
    furnish : sequence of Part
        Lines of the furnish.
    still : sequence of Still [mg]
        What each of them still takes.

    Returns
    -------
    tuple of int [mg] and tuple of Part
        The rest, rounded up, and the lines with their shares of it; the furnish as it is where
        nothing is left to take.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    Shares are rounded to 12 places, and no limit past its target; the largest line takes what
    rounding leaves, so that the targets add up to 1. Definition.

    Examples
    --------
    >>> half = Decimal("0.5")
    >>> furnish = (Part(("linter",), half, half, half), Part(("abaca",), half, half, half))
    >>> need, rest = recipe_of(furnish, still_to_weigh(furnish, 1000, {"linter": 500}))
    >>> need, [int(part.target) for part in rest]
    (500, [0, 1])
    """
    whole = sum((line.target for line in still), Fraction(0))
    if not whole:
        return 0, tuple(furnish)
    targets = [_share(line.target / whole) for line in still]
    largest = max(range(len(still)), key=lambda place: still[place].target)
    targets[largest] += ONE - sum(targets)
    parts = tuple(
        Part(
            part.fibres,
            min(_share(line.least / whole), target),
            target,
            min(max(_share(line.most / whole), target), ONE),
        )
        for part, line, target in zip(furnish, still, targets, strict=True)
    )
    return math.ceil(whole), parts


def _share(share: Fraction) -> Decimal:
    return (Decimal(share.numerator) / Decimal(share.denominator)).quantize(SHARE_PLACES)


def after_weighing(promise: Promise, runs: Sequence[Run]) -> Promise:
    """Return a promise without what lies weighed out for it at the vat.

    Parameters
    ----------
    promise : Promise [mg]
        What all sheets that are not made yet take.
    runs : sequence of Run [mg]
        The runs at the vat for it.

    Returns
    -------
    Promise [mg]
        It asks for what no run forms, at the average and at the safe count, and for what the
        runs still have to be weighed out, with their trial sheets and what stays in the vat.
        ``weighed_sheets`` counts the good sheets for which all fibre lies there, ``at_vat`` what
        lies there for each line.

    Raises
    ------
    RangeError
        If a mass is below 0.

    Notes
    -----
    Of a run that is weighed out in part, trial sheets and vat take their part of each fibre
    before the pulls are counted. The fibre of a pull is that of the rest, spread over the pulls
    that the sheets still without fibre take on average. Definition.

    Examples
    --------
    >>> from datetime import date
    >>> linter = (Part(("linter",), ONE, ONE, ONE),)
    >>> promise = Promise("C1", 1, date(2027, 3, 6), 9, 900, 1000, 100, linter)
    >>> left = after_weighing(promise, [Run(700, 600, 6, {"linter": 700})])
    >>> left.need_mg, left.safe_need_mg, left.weighed_sheets
    (300, 400, 6)
    """
    if not runs:
        return promise
    formed = sum(run.order_mg for run in runs)
    rest = max(promise.need_mg - formed, 0)
    safe = max(promise.safe_need_mg - formed, rest)
    still = [
        Still(part.least * rest, part.target * rest, part.most * rest)
        for part in _exactly(promise.furnish)
    ]
    sheets = 0
    there = [0] * len(promise.furnish)
    for run in runs:
        lacking = still_to_weigh(promise.furnish, run.total_mg, run.weighed)
        sheets += _sheets_of(promise, run, lacking)
        there = [sum(both) for both in zip(there, _lying(promise, run, lacking), strict=True)]
        still = [
            Still(one.least + more.least, one.target + more.target, one.most + more.most)
            for one, more in zip(still, lacking, strict=True)
        ]
    need, furnish = recipe_of(promise.furnish, still)
    sheets = min(sheets, promise.wanted) if need else promise.wanted
    return replace(
        promise,
        need_mg=need,
        safe_need_mg=need + safe - rest,
        pull_mg=_pull_of_the_rest(promise, need, promise.wanted - sheets),
        furnish=furnish,
        weighed_sheets=sheets,
        at_vat=AtVat(
            pull_mg=promise.pull_mg,
            lying_mg=tuple(there),
            extra_mg=sum(run.total_mg - run.order_mg for run in runs),
        ),
    )


def _lying(promise: Promise, run: Run, lacking: Sequence[Still]) -> list[int]:
    """Count what lies there for each line; where the rest is the slip of a scale, all of it."""
    aims = [Fraction(part.target) * run.total_mg for part in promise.furnish]
    lying = _by_line(promise.furnish, aims, run.weighed)
    if not any(line.target for line in lacking):
        lying = [max(there, aim) for there, aim in zip(lying, aims, strict=True)]
    return [int(there) for there in lying]


def _exactly(furnish: Sequence[Part]) -> list[Still]:
    return [
        Still(Fraction(part.least), Fraction(part.target), Fraction(part.most)) for part in furnish
    ]


def _sheets_of(promise: Promise, run: Run, lacking: Sequence[Still]) -> int:
    """Count the good sheets of a run for which all fibre lies weighed out, on average."""
    good = Fraction(promise.good_share) * promise.sheets_per_pull
    if not any(line.target for line in lacking):
        return int(run.pulls * good)
    if not run.total_mg or not run.order_mg:
        return 0
    aims = [Fraction(part.target) * run.total_mg for part in promise.furnish]
    lying = _by_line(promise.furnish, aims, run.weighed)
    for_sheets = [int(there * run.order_mg / run.total_mg) for there in lying]
    pull = max(math.ceil(Fraction(run.order_mg, max(run.pulls, 1))), 1)
    return good_sheets(for_sheets, replace(promise, pull_mg=pull))


def _pull_of_the_rest(promise: Promise, need_mg: int, sheets: int) -> int:
    """Return what one pull draws where only some of its fibre is still in the store."""
    good = Fraction(promise.good_share) * promise.sheets_per_pull
    pulls = math.ceil(sheets / good) if sheets > 0 and good else 0
    if not pulls or not need_mg:
        return promise.pull_mg
    return max(math.ceil(Fraction(need_mg, pulls)), 1)
