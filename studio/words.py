"""The words of the trade and of this program: what each means, and where that is from.

``fixtures/reference/words.json`` holds them in groups, each by the alphabet. The page of words,
the search box and README say what stands there, so that a word has one meaning everywhere.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.conf import settings

LIST = Path(settings.FIXTURES) / "reference" / "words.json"


@dataclass(frozen=True, slots=True)
class Word:
    """One word: what it means, its formula and unit where it has one, and where it shows."""

    word: str
    means: str
    source: str
    also: tuple[str, ...] = ()
    formula: str = ""
    unit: str = ""
    # The route of a page on which it can be seen.
    shown: str = ""

    @property
    def anchor(self) -> str:
        """What a link to it ends with: "oven-dry", "post-of-sheets"."""
        return re.sub(r"[^a-z0-9]+", "-", self.word.casefold()).strip("-")

    @property
    def names(self) -> tuple[str, ...]:
        """The word, and what else it is called."""
        return (self.word, *self.also)

    def is_found(self, asked: tuple[str, ...]) -> bool:
        """Tell whether its names have words that begin with all that is looked for."""
        parts = [part for name in self.names for part in re.split(r"\W+", name.casefold())]
        names = [name.casefold() for name in self.names]
        return all(
            any(one.startswith(word.casefold()) for one in (*parts, *names)) for word in asked
        )

    def nearness(self, text: str) -> tuple[int, str]:
        """Rank what is called so before what begins so, and that before the rest."""
        name, wanted = self.word.casefold(), text.casefold()
        rank = 0 if name == wanted else 1 if name.startswith(wanted) else 2
        return rank, name


@dataclass(frozen=True, slots=True)
class WordGroup:
    """Words of one subject, by the alphabet."""

    name: str
    note: str
    words: tuple[Word, ...]


@cache
def groups() -> tuple[WordGroup, ...]:
    """Return all words in their groups."""
    return tuple(
        WordGroup(
            row["group"],
            row["note"],
            tuple(Word(**{**one, "also": tuple(one.get("also", ()))}) for one in row["words"]),
        )
        for row in json.loads(LIST.read_text(encoding="utf-8"))
    )


def every_word() -> list[Word]:
    """Return all words, group by group."""
    return [word for group in groups() for word in group.words]


def find(asked: tuple[str, ...], text: str) -> list[Word]:
    """Return the words that are called by all that was asked, the nearest first."""
    found = [word for word in every_word() if word.is_found(asked)]
    return sorted(found, key=lambda word: word.nearness(text))
