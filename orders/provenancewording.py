"""The words of provenance: what became of a gift, and the card that goes out with sheets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from fractions import Fraction

from django.utils.dates import MONTHS

from fibres.models import Lot, Source
from orders.models import Making, Sheet
from orders.provenance import Became, Origin, Part
from studio.sizes import named_sizes
from studio.units import System, show_mass, show_number, show_share, show_size

# From here on sheets are told in tens: nobody thanks for 237 of them.
MANY = 100
UNNAMED = "a donor who is not named"


def sheets_in_words(count: int, sheet: Sheet, system: System = "metric") -> str:
    """Word a number of finished sheets: "about 240 A5 sheets"."""
    noun = "sheet" if count == 1 else "sheets"
    number = show_number(round(count, -1)) if count >= MANY else show_number(count)
    about = "about " if count >= MANY else ""
    name = _size_name(sheet)
    if name:
        return f"{about}{number} {name} {noun}"
    return f"{about}{number} {noun} of {show_size(sheet.size, system=system)}"


def _size_name(sheet: Sheet) -> str:
    sizes = {sheet.size, sheet.size.turned()}
    return next((named.name for named in named_sizes() if named.size in sizes), "")


def making_in_words(making: Making, today: date, *, by_day: bool = False) -> str:
    """Word a making by its month: "the May making", with the year where it is not this one.

    ``by_day`` tells makings of one month apart.
    """
    day = making.finished_on
    if day is None:
        return f"{making.ref}, which is not finished yet"
    year = "" if day.year == today.year else f" {day.year}"
    return (
        f"the making of {day.day} {MONTHS[day.month]}{year}"
        if by_day
        else (f"the {MONTHS[day.month]}{year} making")
    )


def became_in_words(found: Sequence[Became], today: date, system: System = "metric") -> str:
    """Say what became of it: "About 240 A5 sheets in the May making."; nothing where nothing."""
    made = [one for one in found if one.sheets]
    if not made:
        return "Nothing has been made of it yet."
    months = Counter(_month(one) for one in made)
    told, later = [], []
    for one in made:
        sheets = sheets_in_words(one.sheets, one.making.sheet, system)
        where = making_in_words(one.making, today, by_day=months[_month(one)] > 1)
        (later if one.is_in_broke_alone else told).append(f"{sheets} in {where}")
    said = [f"{_opened(listed(told))}."] if told else []
    if later:
        said.append(f"{_opened('by way of broke or heel, ' + listed(later))}.")
    return " ".join(said)


def _month(one: Became) -> tuple[int, int] | None:
    day = one.making.finished_on
    return (day.year, day.month) if day else None


def _opened(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def listed(words: Iterable[str]) -> str:
    """Join words with commas and a last "and", each once."""
    *first, last = dict.fromkeys(words)
    return f"{', '.join(first)} and {last}" if first else last


# --- the card -----------------------------------------------------------------------------------


def card(origin: Origin, system: System = "metric") -> str:
    """Return the words of the card: gifts by mass, all else by its share of the fibre.

    A card is public, so only donors who agreed to it are named on it, whoever prints it.
    """
    gifts = [part for part in origin.drawn if part.lot.source.kind == Source.Kind.DONOR]
    others = [part for part in origin.drawn if part not in gifts]
    shares = [f"{show_share(share, places=0)} {name}" for name, share in _by_name(others)]
    if not gifts:
        return f"Made with {listed(shares)}." if len(shares) > 1 else f"All {_only_name(others)}."
    given = listed(_gifts_in_words(gifts, system))
    return f"From {given}{', with ' + listed(shares) if shares else ''}."


def gift_in_words(lots: Iterable[Lot], system: System = "metric") -> str:
    """Word what was given, fibre by fibre as it came: "13.0 kg of white office paper"."""
    masses: dict[str, int] = {}
    for lot in lots:
        name = str(lot.fibre.name)
        masses[name] = masses.get(name, 0) + lot.as_is_mg
    return listed(
        f"{show_mass(mass, system=system)} of {name[:1].lower()}{name[1:]}"
        for name, mass in masses.items()
    )


def days_in_words(lots: Iterable[Lot]) -> str:
    """Word the days on which lots came: "on 3 May 2026", or from the first to the last."""
    days = sorted({lot.received_on for lot in lots})
    first, last = (f"{day.day} {MONTHS[day.month]} {day.year}" for day in (days[0], days[-1]))
    return f"on {first}" if first == last else f"between {first} and {last}"


def _only_name(parts: Sequence[Part]) -> str:
    return _by_name(parts)[0][0]


def _by_name(parts: Sequence[Part]) -> list[tuple[str, Fraction]]:
    """Add up shares by what a stranger would call the fibre."""
    shares: dict[str, Fraction] = {}
    for part in parts:
        name = "of our own broke" if part.is_own else part.lot.fibre.name
        shares[name] = shares.get(name, Fraction(0)) + part.share
    return list(shares.items())


def _gifts_in_words(gifts: Sequence[Part], system: System) -> list[str]:
    masses: dict[tuple[str, str], int] = {}
    for part in gifts:
        key = (part.lot.fibre.name, _giver(part.lot.source))
        masses[key] = masses.get(key, 0) + (part.drawn.as_is_mg if part.drawn else 0)
    return [
        f"{show_mass(mass, system=system)} of {fibre} given by {giver}"
        for (fibre, giver), mass in masses.items()
    ]


def _giver(source: Source) -> str:
    return str(source.name) if source.may_be_named else UNNAMED
