"""References such as M-001: found however they are typed; near ones named where there is none."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

from django.db.models import QuerySet

MOST_NEAR, MOST_NAMED, MOST_SHOWN = 3, 12, 40
# How alike two references are written, from 0 to 1, that one may stand for the other.
ALIKE = 0.75
NUMBERED = re.compile(r"([a-z]+)-?0*([0-9]+)")


class RefConverter:
    """A reference in an address; a blank that came along when it was copied is left off."""

    regex = " *[-a-zA-Z0-9_]+ *"

    def to_python(self, value: str) -> str:
        """Return it without outer blanks."""
        return value.strip()

    def to_url(self, value: Any) -> str:
        """Return it as it is written."""
        return str(value)


def row_called(rows: QuerySet[Any], ref: str) -> Any | None:
    """Return the row of a reference, in capitals or small letters; None where there is none."""
    return rows.filter(ref__iexact=ref.strip()).first()


def same_in(known: Iterable[str], ref: str) -> str:
    """Return a reference as it is written among those that are known, or as it was given."""
    wanted = ref.strip()
    return next((one for one in known if one.casefold() == wanted.casefold()), wanted)


def not_called(noun: str, ref: str, known: Iterable[str], *, there_are: str = "There are") -> str:
    """Say that nothing is called so, and name what is near it, or else what there is."""
    names = list(known)
    wanted = ref.strip()
    near = near_to(wanted, names)
    if not wanted:
        said = f"Give the reference of a {noun.rpartition(' ')[2]}."
    else:
        said = f"No {noun} is called {wanted[:MOST_SHOWN]!r}."
    if near:
        return f"{said} Near it: {', '.join(near)}."
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"{said} {there_are}: {', '.join(names[:MOST_NAMED]) or 'none yet'}{more}."


def near_to(ref: str, known: Iterable[str]) -> list[str]:
    """Return the references of the same letters and number, or the few most like it."""
    names = {one.casefold(): one for one in known}
    wanted = ref.strip().casefold()
    number = _number(wanted)
    same_number = [name for name in names if number and _number(name) == number]
    alike = same_number or get_close_matches(wanted, names, n=MOST_NEAR, cutoff=ALIKE)
    return [names[name] for name in alike[:MOST_NEAR]]


def _number(ref: str) -> tuple[str, ...]:
    """Return the letters of a reference and its number without the zeros before it."""
    found = NUMBERED.fullmatch(ref)
    return found.groups() if found else ()
