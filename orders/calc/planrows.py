"""The rows that planning reads, frozen.

Masses are integers in milligrams of usable fibre unless the name says otherwise, money is
integers in minor units, shares are Decimals from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

AIMS = ("recipe first", "cost first")
BREAKS_ARE = ("all units", "incremental")
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class PlanLot:
    """A lot as planning sees it; a receipt on its way has ``usable_from`` ahead.

    ``spread`` is how far its usable mass may be off, as the standard deviation over the mass,
    from its moisture and the way it was measured; None where that is not known.
    """

    ref: str
    fibre: str
    usable_mg: int
    oven_dry_mg: int
    as_is_mg: int
    usable_from: date
    until: date | None = None
    cost_minor_per_kg: int = 0
    marks: frozenset[str] = frozenset()
    spread: Decimal | None = None


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
class AtVat:
    """What lies weighed out for a promise, beside the fibre of a pull of the whole.

    ``lying_mg`` counts usable fibre for the lines of the furnish, in their order; ``extra_mg`` of
    the whole is for trial sheets and what stays in the vat.
    """

    pull_mg: int
    lying_mg: tuple[int, ...]
    extra_mg: int


@dataclass(frozen=True, slots=True)
class Promise:
    """A commission as planning sees it.

    ``needed_on`` is the day its fibre has to be in the store, so that there is time to prepare,
    form and dry; None stands for the day due. ``weighed_sheets`` are those of ``wanted`` whose
    fibre lies weighed out at the vat, in no lot any more; the needs are without it, and
    ``at_vat`` is what its chance needs to know of it.
    ``making_days`` are the days from fibre to parcel where it needs its fibre earlier than that,
    to make room in the dryer. ``learned`` are Beta parameters (a, b) of the good
    share, where it was learned from makings; its mean is ``good_share``.
    """

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
    needed_on: date | None = None
    learned: tuple[Decimal, Decimal] | None = None
    weighed_sheets: int = 0
    at_vat: AtVat | None = None
    making_days: int | None = None

    @property
    def fibre_day(self) -> date:
        """The day on which it draws its fibre."""
        return self.due if self.needed_on is None else self.needed_on

    @property
    def rank(self) -> tuple[int, date, str]:
        """Who is served first: priority, then the day due, then the reference."""
        return self.priority, self.due, self.ref


@dataclass(frozen=True, slots=True)
class Demand:
    """Usable fibre wanted on a day, given in place of what the commissions imply."""

    fibre: str
    on: date
    mg: int


@dataclass(frozen=True, slots=True)
class SourceTerms:
    """What an order to a source costs beside the goods, and how long it takes.

    ``freight`` holds the price from each day on, the first from any day; ``season`` is the first
    and the last day of the year, as month-day, on which the source takes orders.
    """

    ref: str
    lead_days: int
    freight: tuple[tuple[date, int], ...]
    order_minimum_minor: int = 0
    free_freight_from_minor: int | None = None
    season: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class PackOffer:
    """A fibre by the supply pack; ``breaks`` holds the price of a pack from each number on."""

    ref: str
    source: str
    fibre: str
    pack_usable_mg: int
    breaks: tuple[tuple[int, int], ...]
    breaks_are: str = BREAKS_ARE[0]
    least_packs: int = 1
    valid_from: date | None = None
    valid_to: date | None = None


@dataclass(frozen=True, slots=True)
class Sourcing:
    """What buying reads beside lots and promises; ``horizon_days`` days from today on."""

    horizon_days: int
    sources: tuple[SourceTerms, ...] = ()
    offers: tuple[PackOffer, ...] = ()
    minimum_mg: dict[str, int] = field(default_factory=dict)
    holding_minor_per_kg_day: dict[str, Decimal] = field(default_factory=dict)
    demand: tuple[Demand, ...] | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything that planning reads, on one day.

    ``yields`` gives the preparation yield of fibres that may be out of store, so that a
    shortage of one can be said in oven-dry kilograms to buy, ``yield_spread`` its standard
    deviation. ``left_out`` names commissions that
    cannot be reckoned, each with the reason; they are never silently taken for covered.
    """

    today: date
    currency: str
    lots: tuple[PlanLot, ...]
    commissions: tuple[Promise, ...]
    aims: str = AIMS[0]
    question: Question | None = None
    yields: dict[str, Decimal] = field(default_factory=dict)
    yield_spread: dict[str, Decimal] = field(default_factory=dict)
    sourcing: Sourcing | None = None
    left_out: tuple[tuple[str, str], ...] = ()
