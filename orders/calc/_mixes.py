"""The mix of a furnish nearest to its targets that so much of each fibre makes."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from itertools import combinations

from orders.calc.planrows import Part
from orders.calc.ways import Mix

# More lines than a furnish has: the check goes through every group of lines.
MOST_LINES = 12
# A mix is said in whole percents where one of them fits, else finer.
GRAINS = (Fraction(1, 100), Fraction(1, 1000))
PLACES = Decimal("0.000001")


def nearest_mix(furnish: tuple[Part, ...], free_mg: dict[str, int], need_mg: int) -> Mix:
    """Return fibre and share, in order of the furnish; empty where no mix is enough.

    A line gives up what its fibre lacks and no more; the largest line with room takes it over,
    so that as few shares change as can be. The limits of the furnish are not heeded: this is what
    the client would have to allow.
    """
    if len(furnish) > MOST_LINES or need_mg <= 0:
        return ()
    for grain in (*GRAINS, Fraction(1, need_mg)):
        shares = _shares(furnish, free_mg, need_mg, grain)
        if shares:
            return tuple(
                (part.fibres[0], (Decimal(share.numerator) / share.denominator).quantize(PLACES))
                for part, share in zip(furnish, shares, strict=True)
            )
    return ()


def _shares(
    furnish: tuple[Part, ...], free_mg: dict[str, int], need_mg: int, grain: Fraction
) -> list[Fraction]:
    shares = [Fraction(0) for _ in furnish]

    def room(line: int) -> Fraction:
        """Return how far a line can still grow, by every group of lines that it is in."""
        return min(
            Fraction(_held(furnish, group, free_mg), need_mg)
            - sum((shares[other] for other in group), Fraction(0))
            for group in _groups(len(furnish), line)
        )

    by_size = sorted(range(len(furnish)), key=lambda line: -furnish[line].target)
    for line in by_size:
        target = Fraction(furnish[line].target)
        most = max(room(line), Fraction(0))
        shares[line] = target if most >= target else most // grain * grain
    for line in by_size:
        missing = 1 - sum(shares)
        most = max(room(line), Fraction(0))
        shares[line] += missing if most >= missing else most // grain * grain
    return shares if sum(shares) == 1 else []


def _groups(lines: int, line: int) -> Iterator[tuple[int, ...]]:
    others = [other for other in range(lines) if other != line]
    for size in range(len(others) + 1):
        for group in combinations(others, size):
            yield (line, *group)


def _held(furnish: tuple[Part, ...], group: tuple[int, ...], free_mg: dict[str, int]) -> int:
    """Return the fibre that a group of lines can draw on, a shared fibre counted once."""
    fibres = {fibre for line in group for fibre in furnish[line].fibres}
    return sum(free_mg.get(fibre, 0) for fibre in fibres)
