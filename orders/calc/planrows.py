"""The rows that planning reads, frozen.

Masses are integers in milligrams of usable fibre unless the name says otherwise, money is
integers in minor units, shares are Decimals from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

AIMS = ("recipe first", "cost first")
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class PlanLot:
    """A lot as planning sees it; a receipt on its way has ``usable_from`` ahead."""

    ref: str
    fibre: str
    usable_mg: int
    oven_dry_mg: int
    as_is_mg: int
    usable_from: date
    until: date | None = None
    cost_minor_per_kg: int = 0
    marks: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Part:
    """One line of a furnish; more than one fibre means that they may stand in for each other."""

    fibres: tuple[str, ...]
    least: Decimal
    target: Decimal
    most: Decimal


@dataclass(frozen=True, slots=True)
class Question:
    """A sheet that could be promised: how many, with no promise made worse."""

    due: date
    pull_mg: int
    furnish: tuple[Part, ...]
    sheets_per_pull: int = 1
    good_share: Decimal = ONE
    excludes: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Promise:
    """A commission as planning sees it."""

    ref: str
    priority: int
    due: date
    wanted: int
    need_mg: int
    safe_need_mg: int
    pull_mg: int
    furnish: tuple[Part, ...]
    sheets_per_pull: int = 1
    good_share: Decimal = ONE
    excludes: frozenset[str] = frozenset()
    only_lots: frozenset[str] | None = None
    all_or_nothing: bool = False

    @property
    def rank(self) -> tuple[int, date, str]:
        """Who is served first: priority, then the day due, then the reference."""
        return self.priority, self.due, self.ref


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything that planning reads, on one day.

    ``yields`` gives the preparation yield of fibres that may be out of store, so that a
    shortage of one can be said in oven-dry kilograms to buy. ``left_out`` names commissions that
    cannot be reckoned, each with the reason; they are never silently taken for covered.
    """

    today: date
    currency: str
    lots: tuple[PlanLot, ...]
    commissions: tuple[Promise, ...]
    aims: str = AIMS[0]
    question: Question | None = None
    yields: dict[str, Decimal] = field(default_factory=dict)
    sourcing: dict[str, Any] | None = None
    left_out: tuple[tuple[str, str], ...] = ()
