"""What a copy is called, and which of many are kept: names and days, no file is touched here."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any

# The newest copy of each of so many days, weeks and months that have one.
DAYS, WEEKS, MONTHS = 7, 5, 12
RULE = f"the newest of {DAYS} days, {WEEKS} weeks and {MONTHS} months"
# No colons, which some disks refuse; in universal time, so that no hour comes twice.
STAMP = "%Y-%m-%dT%H-%M-%SZ"
_STAMPED = r"(\d{4}-\d\d-\d\dT\d\d-\d\d-\d\dZ)(?:-(\d{1,3}))?"
BEFORE_UPGRADE = "before-upgrade"
SET_ASIDE = "set-aside"


@dataclass(frozen=True, slots=True)
class Kept:
    """A copy that lies in a folder, by its name."""

    name: str
    at: datetime
    number: int = 1


def stem_of(name: str) -> str:
    """Return a name that is safe on any disk, for copies of a database of that name.

    >>> stem_of("halfstuff"), stem_of("the/mill 2")
    ('halfstuff', 'the-mill-2')
    """
    return re.sub(r"[^A-Za-z0-9_]+", "-", name).strip("-") or "studio"


def copy_name(
    stem: str, suffix: str, at: datetime, *, taken: Collection[str] = (), what: str = ""
) -> str:
    """Return the name of a copy made at a moment; one that is taken gets a number."""
    begun = f"{stem}-{what}" if what else stem
    first = f"{begun}-{at.astimezone(UTC).strftime(STAMP)}"
    name, number = first + suffix, 1
    while name in taken:
        number += 1
        name = f"{first}-{number}{suffix}"
    return name


def read_name(name: str, stem: str, suffix: str) -> Kept | None:
    """Return when a copy was made, by its name; None for what was not named here."""
    found = re.fullmatch(rf"{re.escape(stem)}-{_STAMPED}{re.escape(suffix)}", name, re.ASCII)
    if found is None:
        return None
    try:
        at = datetime.strptime(found[1], STAMP).replace(tzinfo=UTC)
    except ValueError:
        return None
    return Kept(name, at, int(found[2] or 1))


def superfluous(copies: Iterable[Kept], *, zone: tzinfo) -> list[str]:
    """Return the names that the rule lets go, oldest first; the newest never is.

    Days are the studio's own: a copy made just before midnight there is of that day.
    """
    newest_first = sorted(copies, key=lambda one: (one.at, one.number), reverse=True)
    keep = {one.name for one in newest_first[:1]}
    for most, period in ((DAYS, _day), (WEEKS, _week), (MONTHS, _month)):
        keep |= _newest_of_each(newest_first, most, period, zone)
    return [one.name for one in reversed(newest_first) if one.name not in keep]


def _newest_of_each(
    newest_first: list[Kept], most: int, period: Callable[[datetime], Any], zone: tzinfo
) -> set[str]:
    found: dict[Any, str] = {}
    for one in newest_first:
        found.setdefault(period(one.at.astimezone(zone)), one.name)
        if len(found) == most:
            break
    return set(found.values())


def _day(at: datetime) -> Any:
    return at.date()


def _week(at: datetime) -> Any:
    # The year of the week, not of the day: 1 January may be of the last week of the year before.
    return at.isocalendar()[:2]


def _month(at: datetime) -> Any:
    return (at.year, at.month)
