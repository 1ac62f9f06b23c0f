"""What promises lack because of one making: how they stand with it, and how they would without."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from orders.calc.covered import Cover

Lacking = dict[tuple[str, tuple[str, ...]], int]


@dataclass(frozen=True, slots=True)
class Taken:
    """Fibre that a promise lacks because somebody else takes it, oven-dry."""

    commission: str
    fibres: tuple[str, ...]
    oven_dry_mg: int


def taken_from(promised: Collection[str], *, before: Cover, after: Cover) -> tuple[Taken, ...]:
    """Return what promises lack beyond what they lacked before.

    Parameters
    ----------
    promised : collection of str
        References of the promises that are looked at.
    before : Cover [mg]
        How all stand without what is looked into.
    after : Cover [mg]
        How they stand with it. In both a promise may stand in parts, each called by its
        reference and more words.

    Returns
    -------
    tuple of Taken [mg]
        In the order in which they are served, line by line.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    Lack after less lack before, of each line; what is lacked less than before is left out.
    Definition.

    Examples
    --------
    >>> from datetime import date
    >>> from orders.calc.covered import Answer, Lack
    >>> day, abaca = date(2027, 3, 6), (Lack(("abaca",), 97, 100),)
    >>> short = Answer("C3 ~", day, 9, "short", 1, None, 900, abaca, ())
    >>> taken_from(
    ...     {"C3"}, before=Cover(day, (), (), 0), after=Cover(day, (short,), (), 0))
    (Taken(commission='C3', fibres=('abaca',), oven_dry_mg=100),)
    """
    was = _lacking(promised, before)
    return tuple(
        Taken(ref, fibres, mass - was.get((ref, fibres), 0))
        for (ref, fibres), mass in _lacking(promised, after).items()
        if mass > was.get((ref, fibres), 0)
    )


def _lacking(promised: Collection[str], cover: Cover) -> Lacking:
    found: Lacking = {}
    for answer in cover.commissions:
        ref = answer.ref.partition(" ")[0]
        for lack in answer.short if ref in promised else ():
            key = (ref, lack.fibres)
            found[key] = found.get(key, 0) + lack.oven_dry_mg
    return found
