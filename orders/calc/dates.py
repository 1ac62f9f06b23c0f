"""When sheets can be finished: days at the vat, in the dryer, curing and packing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from studio.errors import RangeError
from studio.working import Line

A_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Capacity:
    """What vat, press and dryer manage, and how long sheets wait afterwards.

    ``pulls_a_day`` is None where vat and press are never what holds a making up.
    """

    pulls_per_load: int
    days_per_load: Decimal
    pulls_a_day: int | None = None
    cure_days: int = 0
    packing_days: int = 0


@dataclass(frozen=True, slots=True)
class MakingDays:
    """Whole days that one number of pulls takes, step by step."""

    pulls: int
    capacity: Capacity
    days_at_vat: int
    loads: int
    days_to_dry: int  # from the first pull until the last load is dry

    @property
    def days(self) -> int:
        """Days from the first pull to the packed parcel."""
        return self.days_to_dry + self.capacity.cure_days + self.capacity.packing_days

    def finished_on(self, first_day: date) -> date:
        """Return the day on which the parcel is ready, if the first pull is made on a day."""
        return first_day + self.days * A_DAY

    @property
    def working(self) -> tuple[Line, ...]:
        """The steps with their days, and the sum."""
        capacity = self.capacity
        vat = (
            f"{_count(self.pulls, 'pull')}, {capacity.pulls_a_day} a day"
            if capacity.pulls_a_day
            else "not counted"
        )
        rows = [
            Line("At the vat", _days(self.days_at_vat), vat),
            Line(
                "Until all is dry",
                _days(self.days_to_dry),
                f"{_count(self.loads, 'load')} of {capacity.pulls_per_load}, "
                f"{_count(capacity.days_per_load, 'day')} each",
            ),
        ]
        if capacity.cure_days:
            rows.append(Line("Sizing cures", _days(capacity.cure_days), "the studio’s own figure"))
        rows.append(Line("Sort and pack", _days(capacity.packing_days), "the studio’s own figure"))
        rows.append(
            Line("In all", _days(self.days), "vat and dryer work side by side", kind="answer")
        )
        return tuple(rows)


def making_days(pulls: int, capacity: Capacity) -> MakingDays:
    """Return how many days it takes from the first pull to the packed parcel.

    Parameters
    ----------
    pulls : int [pulls]
        Sheets to form, 1 or more.
    capacity : Capacity
        What a day at the vat and a load of the dryer take, and the days sheets wait.

    Returns
    -------
    MakingDays
        Whole days by step and in all.

    Raises
    ------
    RangeError
        If there is nothing to form, or a capacity is not above zero.

    Notes
    -----
    Loads of a dryer are full but for the last and follow on each other; a load goes in at the
    end of the day on which its last sheet is formed, or when the load before it is dry. Load j
    of n, formed after v(j) days, holds everything up until v(j) + (n − j + 1) × days a load, and
    the largest of these counts, rounded up. Definition.

    Examples
    --------
    >>> making_days(300, Capacity(50, Decimal(2))).days_to_dry
    12
    >>> making_days(300, Capacity(50, Decimal(2), pulls_a_day=50)).days_to_dry
    13
    """
    if pulls < 1:
        raise RangeError(f"Give 1 pull or more, got {pulls}.", field="pulls", value=pulls)
    for name, value in (
        ("pulls_per_load", capacity.pulls_per_load),
        ("days_per_load", capacity.days_per_load),
        ("pulls_a_day", 1 if capacity.pulls_a_day is None else capacity.pulls_a_day),
    ):
        if value <= 0:
            raise RangeError(
                f"{name.replace('_', ' ').capitalize()} must be above 0, got {value}.",
                field=name,
                value=value,
            )
    loads = -(-pulls // capacity.pulls_per_load)
    a_load = Fraction(capacity.days_per_load)

    def formed(sheets: int) -> int:
        return 0 if capacity.pulls_a_day is None else -(-sheets // capacity.pulls_a_day)

    dry = max(
        formed(min(load * capacity.pulls_per_load, pulls)) + (loads - load + 1) * a_load
        for load in range(1, loads + 1)
    )
    return MakingDays(pulls, capacity, formed(pulls), loads, math.ceil(dry))


def _count(number: int | Decimal, noun: str) -> str:
    word = noun if number == 1 else f"{noun}s"
    return f"{Decimal(number).normalize():f} {word}"


def _days(days: int) -> str:
    return _count(days, "day")
