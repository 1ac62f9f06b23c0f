"""What lists of numbered rows share: a number of one's own, or the next one that is free."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from django.db.models.functions import Lower

from studio.errors import ReadingError
from studio.files.columns import Column
from studio.files.lists import ENTERED, UNCHANGED, Change, differences, portions
from studio.files.rows import Fault

REF = re.compile(r"[-a-zA-Z0-9_]{1,16}")


def ref_column(noun: str, example: str) -> Column:
    """Return the column of a row's own number."""
    return Column(
        "ref",
        "name",
        f"The {noun}'s own number; empty: the next one that is free.",
        example,
        longest=16,
        also=("number", "no.", "reference", noun),
    )


def read_ref(text: str) -> str:
    """Return a number that an address and a label can hold."""
    ref = text.strip()
    if not REF.fullmatch(ref):
        raise ReadingError(
            f"“{text[:40]}” is no number of ours: at most 16 letters, digits, hyphens and low "
            "lines, without blanks."
        )
    return ref


def twice(rows: Sequence[tuple[int, Any]]) -> Iterable[Fault]:
    """Yield a fault for each number that an earlier row of the file has."""
    first: dict[str, int] = {}
    for number, row in rows:
        ref = row.ref.casefold()
        if ref and ref in first:
            yield Fault(number, "ref", f"Row {first[ref]} has the same number.")
        first.setdefault(ref, number)


def by_ref(there: QuerySet[Any], refs: Iterable[str]) -> dict[str, Any]:
    """Return rows by their number in small letters, however it is typed."""
    wanted = sorted({ref.casefold() for ref in refs if ref})
    rows = there.annotate(small=Lower("ref"))
    return {
        one.ref.casefold(): one for part in portions(wanted) for one in rows.filter(small__in=part)
    }


def told_apart(
    rows: Sequence[tuple[int, Any]],
    there: QuerySet[Any],
    *,
    noun: str,
    same: Mapping[str, str],
    of: Callable[[Any], Any],
) -> tuple[list[Change], list[Fault]]:
    """Tell new rows from those whose number is there, which must say the same of it.

    ``same`` names by attribute what that is, and ``of`` returns what of a row has these.
    """
    held = by_ref(there, (row.ref for _, row in rows))
    changes, faults = [], []
    for number, row in rows:
        known = held.get(row.ref.casefold()) if row.ref else None
        if known is None:
            changes.append(Change(number, ENTERED, row))
            continue
        other = differences(known, {name: getattr(of(row), name) for name in same})
        if other:
            told = ", ".join(same[name] for name in other)
            faults.append(
                Fault(
                    number,
                    "ref",
                    f"{noun} {known.ref} is there already with another {told}. A list changes "
                    "none: give this one another number, or leave the row out.",
                )
            )
        changes.append(Change(number, UNCHANGED, row, (known,)))
    return changes, faults
