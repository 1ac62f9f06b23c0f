"""How many days the studio needs to make sheets, from its vat, press, dryers and habits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from fibres.models import Addition
from orders.calc.dates import Capacity, MakingDays, making_days
from orders.models import Dryer, Sheet
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class StudioDays:
    """What is known of dryers and sizing, read once for any number of sheets."""

    studio: Studio
    dryers: dict[str, Dryer]
    sized_furnishes: frozenset[int]

    @classmethod
    def read(cls, studio: Studio) -> StudioDays:
        """Read the quickest dryer of each way of drying, and which furnishes are sized."""
        sized = Addition.objects.filter(kind=Addition.Kind.SIZING)
        return cls(
            studio,
            _quickest(Dryer.objects.filter(closed_on__isnull=True)),
            frozenset(sized.values_list("furnish_id", flat=True)),
        )

    def of(self, sheet: Sheet, pulls: int) -> MakingDays | None:
        """Return the days that pulls of a sheet take, or None where no dryer is known for it."""
        dryer = self.dryers.get(sheet.drying)
        if dryer is None:
            return None
        is_sized = sheet.furnish_id in self.sized_furnishes
        return making_days(
            pulls,
            Capacity(
                dryer.pulls_per_load,
                dryer.days_per_load,
                pulls_a_day=self.studio.pulls_a_day,
                cure_days=self.studio.sizing_cure_days if is_sized else 0,
                packing_days=self.studio.packing_days,
            ),
        )

    def days(self, sheet: Sheet, pulls: int) -> int:
        """Return those days, or the studio's usual ones where no dryer is known."""
        found = self.of(sheet, pulls)
        return self.studio.making_days if found is None else found.days


def _quickest(dryers: Iterable[Dryer]) -> dict[str, Dryer]:
    found: dict[str, Dryer] = {}
    for dryer in dryers:
        known = found.get(dryer.drying)
        if known is None or _pulls_a_day(dryer) > _pulls_a_day(known):
            found[dryer.drying] = dryer
    return found


def _pulls_a_day(dryer: Dryer) -> Decimal:
    return dryer.pulls_per_load / dryer.days_per_load
