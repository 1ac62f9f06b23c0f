"""The lines of furnishes with their limits in whole milligrams."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from orders.calc._cover.stock import Ints, Want, ints
from orders.calc.planrows import Part


@dataclass(frozen=True, slots=True)
class Lines:
    """The furnish lines of all wants, one after another, masses in milligrams."""

    want: Ints
    part: list[Part]
    least: Ints
    target: Ints
    most: Ints
    mg: Ints  # of each want
    first: Ints  # of each want its first line, and one more at the end

    def of(self, want: int) -> range:
        """Return the lines of one want."""
        return range(int(self.first[want]), int(self.first[want + 1]))


def split(mass_mg: int, furnish: tuple[Part, ...]) -> list[int]:
    """Split a mass by the target shares of a furnish, so that the parts add up to the whole.

    Parameters
    ----------
    mass_mg : int [mg]
        Usable fibre.
    furnish : tuple of Part
        Lines of the furnish; their targets add up to 1.

    Returns
    -------
    list of int [mg]
        One per line, in order; the last takes what rounding leaves.

    Raises
    ------
    StudioError
        Never; a furnish is checked when it is read.

    Notes
    -----
    Rounded down for all but the last line, so that none is negative. Source: definition.

    Examples
    --------
    >>> from decimal import Decimal
    >>> third = Decimal("0.333333")
    >>> part = lambda share: Part((str(share),), share, share, share)
    >>> split(100, (part(third), part(third), part(Decimal("0.333334"))))
    [33, 33, 34]
    """
    ratios = [part.target.as_integer_ratio() for part in furnish[:-1]]
    parts = [mass_mg * over // under for over, under in ratios]
    return [*parts, mass_mg - sum(parts)]


def lines_of(wants: Sequence[Want]) -> Lines:
    """Set out the lines with their limits, which are rounded outward to whole milligrams."""
    ratios: dict[int, list[tuple[int, int, int, int, int, int]]] = {}
    number_of, parts, first = [], [], [0]
    least, target, most = [], [], []
    for number, asked in enumerate(wants):
        furnish, mg = asked.need.furnish, asked.mg
        # The same furnish is promised over and over; its ratios are worked out once.
        known = ratios.get(id(furnish))
        if known is None:
            known = ratios[id(furnish)] = [_ratios(part) for part in furnish]
        left = mg
        for number_in, (n_lo, d_lo, n_to, d_to, n_hi, d_hi) in enumerate(known):
            low, high = mg * n_lo // d_lo, -(-mg * n_hi // d_hi)
            aim = left if number_in == len(known) - 1 else mg * n_to // d_to
            left -= aim
            least.append(low)
            most.append(min(high, mg))
            target.append(min(max(aim, low), high, mg))
        parts.extend(furnish)
        number_of.extend([number] * len(furnish))
        first.append(len(parts))
    asked_mg = ints(want.mg for want in wants)
    return Lines(
        ints(number_of), parts, ints(least), ints(target), ints(most), asked_mg, ints(first)
    )  # fmt: skip


def _ratios(part: Part) -> tuple[int, int, int, int, int, int]:
    return (
        *part.least.as_integer_ratio(),
        *part.target.as_integer_ratio(),
        *part.most.as_integer_ratio(),
    )
