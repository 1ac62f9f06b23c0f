"""What lists of numbered rows share: a number of one's own, or the next one that is free."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from studio.errors import ReadingError
from studio.files.columns import Column
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
