"""Steps of a price that changes with the number of packs, each a straight line over packs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Step:
    """Packs from ``least`` to ``most`` (None: any more) cost ``fixed + each × packs``."""

    least: int
    most: int | None
    fixed: int
    each: int

    def goods(self, packs: int) -> int:
        """Return what so many packs of this step cost."""
        return self.fixed + self.each * packs

    def reaching(self, packs: int, amount: int) -> int | None:
        """Return the fewest packs of this step, at least ``packs``, that come to an amount."""
        found = max(packs, self.least)
        if self.goods(found) < amount:
            if not self.each:
                return None
            found = -((self.fixed - amount) // self.each)
        return found if self.most is None or found <= self.most else None


def price_steps(
    breaks: tuple[tuple[int, int], ...], *, incremental: bool, least_packs: int = 1
) -> tuple[Step, ...]:
    """Return the steps of the prices of a pack.

    Parameters
    ----------
    breaks : tuple of (int [packs], int [minor])
        From how many packs on a pack costs how much, the fewest packs first.
    incremental : bool
        Whether a price holds only for the packs from its break on, not for all packs.
    least_packs : int, optional [packs]
        Fewest packs sold; steps that end below it are left out.

    Returns
    -------
    tuple of Step
        Rising and without a gap; the last one has no end.

    Raises
    ------
    StudioError
        Never; breaks are checked where they are read.

    Notes
    -----
    Where breaks are incremental, packs below a step keep the prices of their own steps: a step
    begins where the one before it ends. Source: definition.

    Examples
    --------
    >>> [step.goods(4) for step in price_steps(((1, 1500), (4, 1150)), incremental=False)]
    [6000, 4600]
    >>> price_steps(((1, 1500), (4, 1150)), incremental=True)[1].goods(4)
    5650
    """
    steps: list[Step] = []
    fixed, before = 0, breaks[0][1]
    for place, (start, each) in enumerate(breaks):
        if incremental:
            fixed += (before - each) * (start - 1)
            before = each
        most = breaks[place + 1][0] - 1 if place + 1 < len(breaks) else None
        least = max(start, least_packs)
        if most is None or least <= most:
            steps.append(Step(least, most, fixed, each))
    return tuple(steps)
