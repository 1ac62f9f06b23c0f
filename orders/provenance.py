"""Where the fibre of a making came from, and what became of the fibre of a lot.

Broke and heel of a making come back as lots of the studio's own; they are traced on to the lots
that the making was of. Each reading takes a number of queries that does not grow with the rows.
What a lot gave is reckoned as usable fibre in whole milligrams; along broke it is a share.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction
from graphlib import TopologicalSorter
from typing import Any

from django.db.models import Q, QuerySet

from fibres import queries
from fibres.calc import moisture as wet
from fibres.models import Fibre, Lot
from orders.calc.statement import FibreStatement, IssuedFibre, fibre_statement, permanence
from orders.makings.standing import issues_with_movements, sheets_made, standing
from orders.models import Dose, Issue, Making, SheetMovement

State = Making.State


@dataclass(slots=True)
class Drawn:
    """What a making drew of one lot, all issues of it together, as they stand now."""

    lot: Lot
    as_is_mg: int = 0
    oven_dry_mg: int = 0
    usable_mg: int = 0

    @property
    def moisture(self) -> Decimal:
        """Its water as it was weighed out, over all issues."""
        if not self.as_is_mg:
            return Decimal(self.lot.moisture)
        return 1 - Decimal(self.oven_dry_mg) / self.as_is_mg


@dataclass(frozen=True, slots=True)
class Held:
    """Usable fibre of one lot in a making: drawn for it, or in broke and heel that were."""

    direct_mg: int = 0
    traced_mg: int = 0
    through: frozenset[int] = frozenset()

    @property
    def usable_mg(self) -> int:
        """All of it, where no lot of the studio's own is looked through."""
        return self.direct_mg + self.traced_mg


@dataclass(slots=True)
class Trail:
    """Makings with what they drew, and which lots came out of which making.

    ``lots`` are by the names that the reader may know (``source_name``).
    """

    makings: dict[int, Making]
    lots: dict[int, Lot]
    drawn: dict[int, dict[int, Drawn]]
    came_of: dict[int, int]
    _held: dict[int, dict[int, Held]] = field(default_factory=dict)

    def held(self) -> dict[int, dict[int, Held]]:
        """Return what each making holds of each lot."""
        if not self._held:
            for making in self.in_order():
                self._held[making] = self._held_in(making)
        return self._held

    def in_order(self) -> Iterator[int]:
        """Yield the makings, each after those whose broke or heel went into it."""
        before = {
            making: {self.came_of[lot] for lot in lots if self.came_of.get(lot) in self.drawn}
            for making, lots in self.drawn.items()
        }
        return TopologicalSorter(before).static_order()

    def _held_in(self, making: int) -> dict[int, Held]:
        direct: dict[int, int] = defaultdict(int)
        traced: dict[int, int] = defaultdict(int)
        through: dict[int, set[int]] = defaultdict(set)
        for pk, drawn in self.drawn[making].items():
            direct[pk] += drawn.usable_mg
            earlier = self.came_of.get(pk, 0)
            whole = self.usable_mg(earlier)
            for root, held in self._held.get(earlier, {}).items() if whole else ():
                traced[root] += round(Fraction(drawn.usable_mg * held.usable_mg, whole))
                through[root] |= {earlier}
        return {
            pk: Held(direct.get(pk, 0), traced.get(pk, 0), frozenset(through.get(pk, ())))
            for pk in {**direct, **traced}
        }

    def usable_mg(self, making: int) -> int:
        """Return all usable fibre that a making drew."""
        return sum(drawn.usable_mg for drawn in self.drawn.get(making, {}).values())


def trail_of(makings: Iterable[Making], user: Any) -> Trail:
    """Return the trail back from makings to every lot that is in them."""
    wanted = [making.pk for making in makings]
    return _read(Q(making__in=wanted), user)


def trail_from(lots: QuerySet[Lot], user: Any) -> Trail:
    """Return the trail on from lots to every making that they may be in."""
    held = Q(lot__in=lots.order_by().values("pk")) | Q(lot__in=_own_lots())
    reached = Issue.objects.filter(held).order_by().values("making")
    return _read(Q(making__in=reached), user)


def _own_lots() -> QuerySet[Lot]:
    """Return the lots that came out of a making, by their keys."""
    kept = Q(heel_of__isnull=False) | Q(broke_of__isnull=False)
    return Lot.objects.filter(kept).order_by().values("pk")


def _read(wanted: Q, user: Any) -> Trail:
    made = Making.objects.filter(Q(heel_lot__isnull=False) | Q(broke_lot__isnull=False))
    came_of = {
        lot: pk
        for pk, *lots in made.values_list("pk", "heel_lot", "broke_lot")
        for lot in lots
        if lot is not None
    }
    issues = list(
        issues_with_movements()
        .filter(wanted | Q(making__in=made.order_by().values("pk")))
        .exclude(making__state=State.GIVEN_UP)
    )
    keys = {issue.lot_id for issue in issues} | set(came_of)
    lots = {lot.pk: lot for lot in queries.lots_for(user).filter(pk__in=keys)}
    makings = {
        making.pk: making
        for making in Making.objects.filter(
            pk__in={issue.making_id for issue in issues}
        ).select_related("sheet")
    }
    return Trail(makings, lots, _drawn(issues, lots), came_of)


def _drawn(issues: list[Issue], lots: dict[int, Lot]) -> dict[int, dict[int, Drawn]]:
    stands = standing(issue.movement for issue in issues if issue.movement)
    drawn: dict[int, dict[int, Drawn]] = {issue.making_id: {} for issue in issues}
    for issue in issues:
        as_is_mg, oven_dry_mg = issue.as_is_mg, issue.oven_dry_mg
        if issue.movement_id:
            now = stands[issue.movement_id]
            oven_dry_mg = -now.oven_dry_mg if now else 0
            as_is_mg = -(now.as_is_mg or 0) if now else 0
        if not oven_dry_mg:
            continue
        lot = lots[issue.lot_id]
        found = drawn[issue.making_id].setdefault(lot.pk, Drawn(lot))
        found.as_is_mg += as_is_mg
        found.oven_dry_mg += oven_dry_mg
        found.usable_mg += wet.usable_mg(oven_dry_mg, lot.yield_now)
    return drawn


# --- back: from where ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Part:
    """One lot in a making; what was not drawn for it came in broke and heel of others."""

    lot: Lot
    drawn: Drawn | None
    usable_mg: int
    share: Fraction
    is_own: bool
    through: tuple[Making, ...] = ()


@dataclass(frozen=True, slots=True)
class Origin:
    """Where the fibre of one making came from: lots drawn for it, then lots in its broke."""

    making: Making
    drawn: tuple[Part, ...]
    traced: tuple[Part, ...]
    statement: FibreStatement
    permanence: str


def origins(makings: Iterable[Making], user: Any) -> list[Origin]:
    """Return where the fibre of makings came from, in their order; none for one without lots."""
    asked = list(makings)
    if not asked:
        return []
    trail = trail_of(asked, user)
    doses: dict[int, list[str]] = defaultdict(list)
    for making, name in (
        Dose.objects.filter(making__in=[making.pk for making in asked])
        .order_by("pk")
        .values_list("making", "name")
    ):
        doses[making].append(name)
    return [
        _origin(making, trail, doses[making.pk]) for making in asked if trail.drawn.get(making.pk)
    ]


def _origin(making: Making, trail: Trail, additions: list[str]) -> Origin:
    held = trail.held()[making.pk]
    whole = trail.usable_mg(making.pk)

    def part(pk: int, usable_mg: int, *, is_drawn: bool) -> Part:
        lot, through = trail.lots[pk], () if is_drawn else sorted(held[pk].through)
        return Part(
            lot=lot,
            drawn=trail.drawn[making.pk][pk] if is_drawn else None,
            usable_mg=usable_mg,
            share=Fraction(usable_mg, whole) if whole else Fraction(0),
            is_own=is_own(lot, trail),
            through=tuple(trail.makings[key] for key in through),
        )

    def largest_first(parts: Iterable[Part]) -> tuple[Part, ...]:
        return tuple(sorted(parts, key=lambda part: (-part.usable_mg, part.lot.ref)))

    drawn = largest_first(
        part(pk, held[pk].direct_mg, is_drawn=True) for pk in trail.drawn[making.pk]
    )
    # Broke in broke is looked through: what it was made of stands in its place.
    traced = [
        part(pk, one.traced_mg, is_drawn=False)
        for pk, one in held.items()
        if one.traced_mg and trail.came_of.get(pk) not in trail.drawn
    ]
    return Origin(
        making=making,
        drawn=drawn,
        traced=largest_first(traced),
        statement=fibre_statement([_issued(part) for part in drawn]),
        permanence=permanence(
            [part.lot.fibre.name for part in drawn],
            additions=additions,
            may_carry_wood=any(_may_carry_wood(trail.lots[pk], trail) for pk in held),
            report=making.test_report,
        ),
    )


def _issued(part: Part) -> IssuedFibre:
    fibre = part.lot.fibre
    return IssuedFibre(fibre.name, fibre.source_class, part.usable_mg, is_own=part.is_own)


def is_own(lot: Lot, trail: Trail) -> bool:
    """Tell whether a lot is broke or heel of the studio's own, whatever fibre it is kept as."""
    return lot.pk in trail.came_of or lot.fibre.source_class == Fibre.SourceClass.IN_HOUSE


def _may_carry_wood(lot: Lot, trail: Trail) -> bool:
    """Tell whether a lot is waste paper, or broke of which nobody knows what it was made of."""
    if lot.fibre.family == Fibre.Family.WASTE_PAPER:
        return True
    is_known = trail.came_of.get(lot.pk) in trail.drawn
    return lot.fibre.family == Fibre.Family.BROKE and not is_known


# --- on: what became of it ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Became:
    """A making that fibre of the lots went into: how much of it that was, and its sheets."""

    making: Making
    lots: tuple[Lot, ...]
    usable_mg: int
    share: Fraction
    is_in_broke_alone: bool
    good: int
    retree: int

    @property
    def sheets(self) -> int:
        """Finished sheets of both qualities."""
        return self.good + self.retree


def became_of(lots: QuerySet[Lot], user: Any) -> list[Became]:
    """Return the makings that fibre of the lots is in, the newest first."""
    trail = trail_from(lots, user)
    wanted = set(lots.order_by().values_list("pk", flat=True))
    return became_in(trail, wanted, sheets_made(trail.drawn))


def became_in(trail: Trail, wanted: set[int], made: Mapping[tuple[int, str], int]) -> list[Became]:
    """Return the makings of a trail that fibre of the lots is in, the newest first."""
    found = [
        Became(
            making=trail.makings[key],
            lots=tuple(trail.lots[pk] for pk in sorted(one.lots)),
            usable_mg=one.usable_mg,
            share=Fraction(one.usable_mg, trail.usable_mg(key)),
            is_in_broke_alone=not wanted & trail.drawn[key].keys(),
            good=made.get((key, SheetMovement.Quality.GOOD), 0),
            retree=made.get((key, SheetMovement.Quality.RETREE), 0),
        )
        for key, one in _carried(trail, wanted).items()
    ]
    return sorted(found, key=_newest_first)


def _newest_first(one: Became) -> tuple[int, int]:
    day: date = one.making.finished_on or one.making.planned_on
    return (-day.toordinal(), -one.making.pk)


@dataclass(slots=True)
class _Carried:
    """What a making holds of some lots: how much, and of which."""

    usable_mg: int = 0
    lots: set[int] = field(default_factory=set)


def _carried(trail: Trail, wanted: set[int]) -> dict[int, _Carried]:
    """Return what each making holds of some lots, by itself or in broke; none that holds none."""
    found: dict[int, _Carried] = {}
    for making in trail.in_order():
        sums = _Carried()
        for pk, drawn in trail.drawn[making].items():
            earlier = trail.came_of.get(pk, 0)
            if pk in wanted:
                sums.usable_mg += drawn.usable_mg
                sums.lots.add(pk)
            elif earlier in found:
                whole = trail.usable_mg(earlier)
                sums.usable_mg += round(
                    Fraction(drawn.usable_mg * found[earlier].usable_mg, whole)
                )
                sums.lots |= found[earlier].lots
        if sums.usable_mg:
            found[making] = sums
    return found
