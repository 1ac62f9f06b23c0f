"""Money parted without losing a unit of it: freight over lines, a line over its receipts."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate, pairwise

from fibres.calc._checks import whole_mg, whole_minor
from studio.errors import RangeError


def part_by_mass(amount_minor: int, masses_mg: Sequence[int]) -> tuple[int, ...]:
    """Return the share of an amount that falls to each of several masses.

    Parameters
    ----------
    amount_minor : int [minor]
        The amount to part, such as the freight of an order.
    masses_mg : sequence of int [mg]
        Oven-dry masses, one for each line, in the order of the lines.

    Returns
    -------
    tuple of int [minor]
        One share for each mass; together exactly the whole.

    Raises
    ------
    RangeError
        If the amount or a mass is negative or not whole, or all masses are nothing.

    Notes
    -----
    Each share ends where the running total, rounded half-even, ends. Freight by oven-dry mass
    makes dry and damp fibre bear it alike. Source: [PRACTICE].

    Examples
    --------
    >>> part_by_mass(1000, (1, 1, 1))
    (333, 334, 333)
    """
    amount = whole_minor("The amount", amount_minor)
    total = sum(whole_mg("The oven-dry mass", mass) for mass in masses_mg)
    if not total:
        raise RangeError("An amount cannot be parted over no mass at all.", value=masses_mg)
    ends = [
        round(Fraction(amount * reached, total)) for reached in accumulate(masses_mg, initial=0)
    ]
    return tuple(end - start for start, end in pairwise(ends))


def part_of_packs(amount_minor: int, *, packs: int, before: int, come: int) -> int:
    """Return the share of a line's amount that falls to packs that come together.

    Parameters
    ----------
    amount_minor : int [minor]
        The amount of the whole line.
    packs : int [-]
        Packs of the whole line, 1 or more.
    before : int [-]
        Packs that came earlier.
    come : int [-]
        Packs that come now.

    Returns
    -------
    int [minor]
        Over all receipts of a line, however it is split, the shares add up to the whole.

    Raises
    ------
    RangeError
        If more packs come than the line has left, or a number is negative.

    Notes
    -----
    Each share ends where the running total, rounded half-even, ends, so that the last receipt
    takes what is left. Source: definition.

    Examples
    --------
    >>> part_of_packs(1000, packs=3, before=0, come=1)
    333
    >>> part_of_packs(1000, packs=3, before=1, come=2)
    667
    """
    if packs < 1 or before < 0 or come < 0 or before + come > packs:
        raise RangeError(
            f"Of {packs} packs, {before} came before, so at most {max(0, packs - before)} can "
            f"come now, got {come}.",
            field="packs",
            value=come,
        )
    amount = whole_minor("The amount", amount_minor)
    start, end = (
        round(Fraction(amount * packs_in, packs)) for packs_in in (before, before + come)
    )
    return end - start
