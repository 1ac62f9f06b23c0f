"""How many days the studio needs to make sheets, from its vat, press, dryers and habits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property

from fibres.models import Addition
from orders.calc.covered import Answer
from orders.calc.dates import Capacity, MakingDays, making_days
from orders.calc.dryerturns import Place, Slot, Turn, earliest, latest
from orders.models import Commission, Dryer, Sheet
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class StudioDays:
    """What is known of dryers and sizing, read once for any number of sheets."""

    studio: Studio
    dryers: dict[str, list[Dryer]]
    sized_furnishes: frozenset[int]

    @classmethod
    def read(cls, studio: Studio) -> StudioDays:
        """Read the dryers of each way of drying, and which furnishes are sized."""
        sized = Addition.objects.filter(kind=Addition.Kind.SIZING)
        return cls(
            studio,
            _by_drying(Dryer.objects.filter(closed_on__isnull=True)),
            frozenset(sized.values_list("furnish_id", flat=True)),
        )

    def of(
        self, sheet: Sheet, pulls: int, dryer: Dryer | None = None, *, drying: str = ""
    ) -> MakingDays | None:
        """Return the days that pulls of a sheet take in a dryer, or in the quickest of its kind.

        ``drying`` is another way of drying than the sheet's own. None where no dryer is known.
        """
        if dryer is None:
            dryer = next(iter(self.dryers.get(drying or sheet.drying, ())), None)
        if dryer is None:
            return None
        return making_days(pulls, replace(self._capacity(dryer), cure_days=self._cure(sheet)))

    def days(self, sheet: Sheet, pulls: int) -> int:
        """Return those days, or the studio's usual ones where no dryer is known."""
        found = self.of(sheet, pulls)
        return self.studio.making_days if found is None else found.days

    @property
    def places(self) -> dict[str, list[Place]]:
        """The open dryers by the way they dry, as turns are given out."""
        return {
            drying: [Place(dryer.name, self._capacity(dryer)) for dryer in alike]
            for drying, alike in self.dryers.items()
        }

    def turn(self, commission: Commission, pulls: int) -> Turn:
        """Return the turn of a commission in the dryer."""
        sheet = commission.sheet
        return Turn(
            ref=commission.ref,
            priority=commission.priority,
            due=commission.due,
            pulls=pulls,
            drying=sheet.drying,
            cure_days=self._cure(sheet),
            usual_days=self.studio.making_days,
        )

    def _capacity(self, dryer: Dryer) -> Capacity:
        return Capacity(
            dryer.pulls_per_load,
            dryer.days_per_load,
            pulls_a_day=self.studio.pulls_a_day,
            packing_days=self.studio.packing_days,
        )

    def _cure(self, sheet: Sheet) -> int:
        return self.studio.sizing_cure_days if sheet.furnish_id in self.sized_furnishes else 0


@dataclass(frozen=True)
class Turns:
    """Who wants a dryer, among all promises, and when each of them comes to its turn.

    ``soaking`` are the days before the first pull on which fibre is prepared, ``not_before`` the
    day before which nothing is pulled, both by reference.
    """

    places: Mapping[str, list[Place]] = field(default_factory=dict)
    turns: dict[str, Turn] = field(default_factory=dict)
    soaking: dict[str, int] = field(default_factory=dict)
    not_before: dict[str, date] = field(default_factory=dict)

    def add(self, turn: Turn, *, soaking: int, not_before: date | None) -> None:
        """Let one more want a dryer."""
        self.turns[turn.ref] = turn
        self.soaking[turn.ref] = soaking
        if not_before is not None:
            self.not_before[turn.ref] = not_before

    @cached_property
    def latest(self) -> dict[str, Slot]:
        """When each has to begin so that all can be ready by the day they are due."""
        return latest(self.turns.values(), self.places)

    def needed_on(self, ref: str) -> date:
        """Return the day its fibre has to be in the store, so that there is time for all.

        What may not be made before a day needs its fibre no earlier, however little time that
        leaves.
        """
        day = self.latest[ref].first_pull - timedelta(days=self.soaking[ref])
        return max(day, self.not_before.get(ref, date.min))

    def days_alone(self, ref: str) -> int:
        """Return the days from fibre to parcel where no other turn is in the way."""
        turn = self.turns[ref]
        slot = latest([turn], self.places)[ref]
        return slot.making_days + self.soaking[ref]

    def earliest(self, answers: Iterable[Answer], today: date) -> dict[str, Slot]:
        """Return when each can be finished; whose fibre is not in sight keeps nobody waiting."""
        known = []
        for answer in answers:
            if answer.ready_on is not None and answer.ref in self.turns:
                known.append(replace(self.turns[answer.ref], ready=self.ready(answer, today)))
        return earliest(known, self.places)

    def ready(self, answer: Answer, today: date) -> date:
        """Return the first day on which it can be pulled: its fibre is there and prepared."""
        if answer.ready_on is None or answer.weighed_sheets >= answer.wanted:
            return today
        soaked = max(today, answer.ready_on) + timedelta(days=self.soaking[answer.ref])
        return max(soaked, self.not_before.get(answer.ref, today))


def _by_drying(dryers: Iterable[Dryer]) -> dict[str, list[Dryer]]:
    """Return the dryers of each kind, the quickest first."""
    found: dict[str, list[Dryer]] = {}
    for dryer in dryers:
        found.setdefault(dryer.drying, []).append(dryer)
    return {
        drying: sorted(alike, key=lambda dryer: (-_pulls_a_day(dryer), dryer.name))
        for drying, alike in found.items()
    }


def _pulls_a_day(dryer: Dryer) -> Decimal:
    return dryer.pulls_per_load / dryer.days_per_load
