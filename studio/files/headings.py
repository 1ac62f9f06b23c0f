"""Headings of a file matched to the columns of a list: case, blanks, units, near names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from studio.errors import ReadingError
from studio.files.books import Stand
from studio.files.columns import Column, by_name
from studio.money import SIGNS
from studio.reading import RULES, shown

UNIT_AT_END = re.compile(r"(.*?)\s*[(\[]\s*([^()\[\]]*?)\s*[)\]]")
UNIT_AFTER_A_WORD = re.compile(r"(.*?)(?:,| in) +([^()\[\],]+)")
PERCENT_AT_END = re.compile(r"(.*\S)\s*(%)")
SHOWN = 40
# Of a list without headings every cell would be told to be none.
MOST_TOLD = 4


@dataclass(frozen=True, slots=True)
class Heading:
    """One column of a file: what it is of the list, and the unit that its heading names."""

    column: Column
    unit: str = ""


def headings_of(row: Sequence[Any], columns: Sequence[Column], currency: str) -> list[Heading]:
    """Return what the headings of a file mean, or refuse with all that is wrong with them."""
    texts = ["" if isinstance(cell, Stand) else _tidy(str(cell)) for cell in row]
    while texts and not texts[-1]:
        texts.pop()
    known = by_name(columns)
    found: list[Heading] = []
    faults: list[str] = []
    for text in texts:
        try:
            found.append(_heading(text, known, currency))
        except ReadingError as fault:
            faults.append(str(fault))
    if len(faults) > MOST_TOLD:
        more = len(faults) - MOST_TOLD + 1
        faults[MOST_TOLD - 1 :] = [f"{more} more are no headings either."]
    faults += _twice(found)
    lacking = [one.name for one in columns if one.needed and one not in _meant(found)]
    if lacking:
        faults.append(f"There is no heading “{'”, “'.join(lacking)}”.")
    if faults:
        if not found:
            faults.append("Headings stand first: take away the lines above them.")
        raise ReadingError(f"{' '.join(faults)} Known are: {known_words(columns)}.")
    return found


def is_heading(text: str, columns: Sequence[Column], currency: str) -> bool:
    """Tell whether a cell could be the heading of a column."""
    try:
        _heading(_tidy(text), by_name(columns), currency)
    except ReadingError:
        return False
    return True


def known_words(columns: Sequence[Column]) -> str:
    """Name the headings that a list may have."""
    return ", ".join(one.name for one in columns if not one.only_out)


def _meant(found: Sequence[Heading]) -> list[Column]:
    return [heading.column for heading in found]


def _twice(found: Sequence[Heading]) -> list[str]:
    names = [heading.column.name for heading in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    return [f"The heading “{name}” stands there twice." for name in twice]


def _tidy(text: str) -> str:
    return re.sub(r"[\s_]+", " ", text).strip(" *:").casefold()


def _heading(text: str, known: dict[str, Column], currency: str) -> Heading:
    if not text:
        raise ReadingError("A column with cells in it has no heading.")
    if text in known:
        return Heading(known[text])
    for pattern in (UNIT_AT_END, UNIT_AFTER_A_WORD, PERCENT_AT_END):
        parts = pattern.fullmatch(text)
        if parts and parts[1] in known:
            column = known[parts[1]]
            return Heading(column, unit_of(column, parts[2], currency))
    near = get_close_matches(text, list(known), n=1)
    said = f"; near it is “{known[near[0]].name}”" if near else ""
    raise ReadingError(f"No column is called {shown(text)}{said}.")


def unit_of(column: Column, text: str, currency: str) -> str:
    """Return the unit that a heading names, if things of its kind are measured in it."""
    if column.kind == "money":
        if text.partition("/")[0].strip() in (currency.casefold(), SIGNS.get(currency), ""):
            return ""
        raise ReadingError(
            f"“{column.name} ({text[:SHOWN]})”: amounts are in the studio's currency, {currency}."
        )
    rule = RULES.get(column.kind)
    units = {unit.casefold(): unit for unit in rule.units if unit} if rule else {}
    if text in units:
        return units[text]
    allowed = (
        f"is measured in {rule.allowed}" if rule and column.unit else "has no unit in its heading"
    )
    raise ReadingError(f"“{column.name} ({text[:SHOWN]})”: that column {allowed}.")
