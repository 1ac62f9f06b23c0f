"""Names in a list matched to rows that are there; where none is, those near it are named."""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from studio.errors import ReadingError

NEAR = 3


def folded(text: str) -> str:
    """Return a name in the form in which two spellings of it are the same."""
    return unicodedata.normalize("NFC", " ".join(text.split()).casefold())


@dataclass(slots=True)
class Names:
    """Rows of one noun by name, read once for a whole list."""

    noun: str
    rows: dict[str, list[Any]] = field(default_factory=lambda: defaultdict(list))
    attribute: str = "name"

    @classmethod
    def of(cls, noun: str, rows: Iterable[Any], attribute: str = "name") -> Names:
        """Read the rows."""
        found = cls(noun, attribute=attribute)
        for row in rows:
            found.rows[folded(getattr(row, attribute))].append(row)
        return found

    def get(self, text: str) -> Any | None:
        """Return the row of a name, or None where there is none or not one alone."""
        found = self.rows.get(folded(text), [])
        exact = [row for row in found if getattr(row, self.attribute) == text]
        return (exact or found)[0] if len(exact or found) == 1 else None

    def called(self, text: str) -> Any:
        """Return the row of a name, or say what is near it."""
        row = self.get(text)
        if row is not None:
            return row
        found = self.rows.get(folded(text), [])
        if found:
            names = " or ".join(getattr(row, self.attribute) for row in found)
            raise ReadingError(f"“{text[:40]}” can be {names}.")
        near = get_close_matches(folded(text), list(self.rows), n=NEAR)
        names = "; ".join(getattr(row, self.attribute) for name in near for row in self.rows[name])
        raise ReadingError(
            f"No {self.noun} is called “{text[:40]}”. "
            + (f"Near it: {names}." if names else f"Enter the {self.noun} first.")
        )

    def open(self, text: str) -> Any:
        """Return the row of a name if it is not closed."""
        row = self.called(text)
        if row.is_closed:
            raise ReadingError(f"“{row}” is closed. Open it again first.")
        return row

    @property
    def mark(self) -> tuple[Any, ...]:
        """What a row would have to change for a list to be read otherwise."""
        return tuple(
            (row.pk, getattr(row, self.attribute), getattr(row, "closed_on", None))
            for rows in self.rows.values()
            for row in rows
        )
