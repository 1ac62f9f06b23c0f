"""How each fibre stands: on hand, promised, free, against its minimum; and what that means.

What is promised is handed in by whoever knows the commissions; the store itself knows of none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from django.utils.dateformat import format as day_in_words

from fibres.models import Fibre
from studio.charts import Gauge, gauge
from studio.units import System, show_mass

Mark = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Standing:
    """One fibre in the store, in oven-dry milligrams.

    ``on_hand_mg`` is what the book has; of that ``at_the_vat_mg`` lies weighed out.
    """

    fibre: Fibre
    on_hand_mg: int
    promised_mg: int
    short_from: date | None
    on_its_way_mg: int = 0
    at_the_vat_mg: int = 0
    system: System = "metric"

    @property
    def name(self) -> str:
        """Name of the fibre."""
        return self.fibre.name

    @property
    def free_mg(self) -> int:
        """What nobody has been promised; below 0 where more is promised than is there.

        What lies weighed out is in use, whoever it is for.
        """
        return self.shelved_mg - self.promised_mg

    @property
    def second(self) -> str:
        """What stands under its name: its state, and how much of it lies weighed out."""
        out = show_mass(self.at_the_vat_mg, system=self.system)
        vat = f"{out} at the vat" if self.at_the_vat_mg else ""
        return "; ".join(filter(None, [self.fibre.state, vat]))

    @property
    def shelved_mg(self) -> int:
        """What still lies on its shelf."""
        return self.on_hand_mg - self.at_the_vat_mg

    @property
    def minimum_mg(self) -> int | None:
        """The minimum to keep, or None where none is kept."""
        return self.fibre.minimum_mg or None

    @property
    def is_short(self) -> bool:
        """Whether a promise cannot be kept from what is there and what is on its way."""
        return self.short_from is not None or (self.free_mg < 0 and not self.waits)

    @property
    def waits(self) -> bool:
        """Whether the promises can be kept, but only once what is on its way has come."""
        is_met = self.short_from is None and self.free_mg + self.on_its_way_mg >= 0
        return self.free_mg < 0 and is_met

    @property
    def is_low(self) -> bool:
        """Whether what is free lies below the minimum."""
        return self.free_mg < self.fibre.minimum_mg

    @property
    def bar(self) -> Gauge:
        """The figures of the row as a bar."""
        return gauge(self.shelved_mg, self.promised_mg, self.minimum_mg)

    @property
    def mark(self) -> Mark:
        """The state in a word."""
        if self.is_short:
            day = self.short_from
            return ("short", f"Short from {day_in_words(day, 'j M')}" if day else "Short")
        if self.waits:
            return ("near", "Comes in time")
        if self.is_low:
            return ("near", "Below minimum")
        return ("covered", "Covered")


def standings(
    fibres: Iterable[Fibre],
    promised_mg: Mapping[int, int],
    short_from: Mapping[int, date],
    on_its_way_mg: Mapping[int, int] = MappingProxyType({}),
    at_the_vat_mg: Mapping[int, int] = MappingProxyType({}),
    system: System = "metric",
) -> list[Standing]:
    """Return the fibres that are held, promised, ordered or kept a minimum of, by name."""
    found = [
        Standing(
            fibre=fibre,
            on_hand_mg=fibre.on_hand_mg,  # type: ignore[attr-defined]
            promised_mg=promised_mg.get(fibre.pk, 0),
            short_from=short_from.get(fibre.pk),
            on_its_way_mg=on_its_way_mg.get(fibre.pk, 0),
            at_the_vat_mg=at_the_vat_mg.get(fibre.pk, 0),
            system=system,
        )
        for fibre in fibres
    ]
    return [one for one in found if _is_of_note(one)]


def _is_of_note(one: Standing) -> bool:
    is_kept = bool(one.minimum_mg) and not one.fibre.is_closed
    return bool(one.on_hand_mg or one.promised_mg or one.on_its_way_mg) or is_kept


def finding(rows: Sequence[Standing], system: System = "metric") -> str:
    """Say in one or two sentences how the store stands and what wants doing."""
    on_hand = sum(row.on_hand_mg for row in rows)
    out = sum(row.at_the_vat_mg for row in rows)
    promised = sum(row.promised_mg for row in rows)
    if not on_hand:
        opening = "Nothing is on hand."
    elif not promised and not out:
        opening = f"{show_mass(on_hand, system=system)} on hand, and all of it is free."
    elif promised > on_hand - out:
        opening = (
            f"{show_mass(promised, system=system)} is promised and "
            f"{show_mass(on_hand, system=system)} is on hand."
        )
    else:
        # What one fibre lacks does not make another less free.
        free = show_mass(sum(max(0, row.free_mg) for row in rows), system=system)
        opening = f"{free} free of {show_mass(on_hand, system=system)} on hand."
    vat = (
        [f"{show_mass(out, system=system)} of what is on hand lies weighed out at the vat."]
        if out
        else []
    )
    return " ".join([opening, *vat, *_wanting(rows), *_coming(rows, system)])


def _wanting(rows: Sequence[Standing]) -> list[str]:
    short = [row for row in rows if row.is_short]
    waiting = [row for row in rows if row.waits]
    low = [row for row in rows if row.is_low and not row.is_short and not row.waits]
    said = []
    if len(short) == 1:
        day = short[0].short_from
        since = f" from {day_in_words(day, 'j F')}" if day else ""
        said.append(f"{short[0].name} is short{since}.")
    elif short:
        said.append(f"{_listed([row.name for row in short])} are short.")
    if waiting:
        verb = "is" if len(waiting) == 1 else "are"
        names = _listed([row.name for row in waiting])
        said.append(f"{names} {verb} covered once what is on its way comes.")
    if low:
        verb, whose = ("is", "its") if len(low) == 1 else ("are", "their")
        said.append(f"{_listed([row.name for row in low])} {verb} below {whose} minimum.")
    return said


def _coming(rows: Sequence[Standing], system: System) -> list[str]:
    """Say what is on its way of the fibres that want it."""
    wanting = [row for row in rows if not row.waits and (row.is_short or row.is_low)]
    coming = [row for row in wanting if row.on_its_way_mg]
    if not coming:
        return []
    if len(coming) == 1:
        mass = show_mass(coming[0].on_its_way_mg, system=system)
        return [f"{mass} of {coming[0].name} is on its way."]
    return [f"More {_listed([row.name for row in coming])} is on its way."]


def _listed(names: Sequence[str]) -> str:
    """Join names as a sentence does; past four only the first three are named."""
    if len(names) > 4:
        return f"{', '.join(names[:3])} and {len(names) - 3} more"
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
