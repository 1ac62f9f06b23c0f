"""Ways out of a shortage: the frozen answer, in figures.

Masses are integers in milligrams of usable fibre unless the name says otherwise, money is
integers in minor units.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from orders.calc.covered import Answer

# Fibre and its share, in the order of a furnish.
Mix = tuple[tuple[str, Decimal], ...]


@dataclass(frozen=True, slots=True)
class OnlyByBuying:
    """There is no plan without a purchase."""


@dataclass(frozen=True, slots=True)
class OfferToTake:
    """So many packs of one offer; the cost holds goods and freight."""

    ref: str
    source: str
    fibre: str
    packs: int
    pack_usable_mg: int
    cost_minor: int


@dataclass(frozen=True, slots=True)
class Buy:
    """Fibre to get of one line, and by when; ``order_by`` is the last day that is in time.

    Where no order is in time, ``order_by`` is None and ``arrives_on`` the earliest arrival, if
    there is any. ``take`` is the cheapest single offer, None where no prices were read.
    """

    fibres: tuple[str, ...]
    usable_mg: int
    oven_dry_mg: int
    needed_on: date
    order_by: date | None = None
    arrives_on: date | None = None
    take: OfferToTake | None = None
    is_looked_up: bool = False


@dataclass(frozen=True, slots=True)
class InTwo:
    """Part by the day and the rest later, on a day that is known or once fibre has come."""

    now_sheets: int
    later_sheets: int
    later_on: date | None
    is_bought: bool


@dataclass(frozen=True, slots=True)
class FurnishChange:
    """Other shares of the same fibres, outside the limits agreed: for the client to allow."""

    mix: Mix


@dataclass(frozen=True, slots=True)
class SwapOrder:
    """Its turn taken before another's; ``worse`` are the answers that would be worse then."""

    before: str
    worse: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class AnotherDay:
    """A later day due, by which all can be made of fibre that is there from ``fibre_on``."""

    due: date
    fibre_on: date


Way = OnlyByBuying | Buy | InTwo | FurnishChange | SwapOrder | AnotherDay
