"""Finding: what was asked, the rows that hold every word of it, and the words marked in them.

A list narrows itself by :func:`holding`, and the search box counts by it too, so that "all 40
lots" leads to a list of 40. Each noun takes one query, whatever it finds.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Count, IntegerField, Q, QuerySet, Value, When, Window
from django.db.models.functions import Length
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.http import urlencode
from django.utils.safestring import SafeString

from studio import refs, roles, words
from studio.units import show_count

MOST_SHOWN, MOST_NEAR = 5, 40
# A text longer than this is shown from a little before the word that was found in it.
LONG, BEFORE = 90, 30
# A reference, or one line of it, such as P-001/2.
REFERENCE = re.compile(r"([-a-zA-Z0-9_]{1,16})(?:/\d+)?")
LETTERS_AND_NUMBER = re.compile(r"([a-zA-Z]+)-?0*([1-9][0-9]*)")
WIDEST_NUMBER = 6

Mark = tuple[str, str]


# --- what was asked -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Asked:
    """What somebody looks for: the text, its words once each, the reference it may be."""

    text: str
    words: tuple[str, ...]
    ref: str

    @classmethod
    def read(cls, given: str) -> Asked:
        """Read what was typed."""
        text = " ".join(_composed(given).split())
        whole = REFERENCE.fullmatch(text)
        return cls(text, words_of(given), whole[1] if whole else "")


def words_of(given: str) -> tuple[str, ...]:
    """Return the words of a text, each once, in the order they were typed."""
    kept: dict[str, str] = {}
    for word in _composed(given).split():
        kept.setdefault(word.casefold(), word)
    return tuple(kept.values())


def _composed(given: str) -> str:
    """Write a letter and its accent as one sign, as keyboards do."""
    return unicodedata.normalize("NFC", given)


def holding(rows: QuerySet[Any], fields: Iterable[str], words: Iterable[str]) -> QuerySet[Any]:
    """Return the rows in which every word stands in one of the fields, in any case."""
    parents = {field.name: field for field in rows.model._meta.fields if field.is_relation}
    for word in words:
        found = Q()
        for name in fields:
            for spelling in _spellings(word):
                found |= _stands_in(name, spelling, parents)
        rows = rows.filter(found)
    return rows


def _stands_in(name: str, word: str, parents: Mapping[str, Any]) -> Q:
    """Look through a field; the fields of a parent once, not once for every row under it."""
    parent, _, rest = name.partition("__")
    if parent not in parents:
        return Q(**{f"{name}__icontains": word})
    holders = parents[parent].related_model._base_manager.filter(**{f"{rest}__icontains": word})
    return Q(**{f"{parent}__in": holders.values("pk")})


def _spellings(word: str) -> set[str]:
    # SQLite knows the capitals of plain letters only: É and é are two to it.
    return {word} if word.isascii() else {word, word.lower(), word.upper(), word.capitalize()}


# --- words in what is shown ---------------------------------------------------------------------


def marked(text: str, words: Iterable[str]) -> SafeString:
    """Return a text, escaped, with every one of the words marked in it."""
    return format_html_join("", "{}", ((piece,) for piece in _pieces(text, words)))


def _pieces(text: str, words: Iterable[str]) -> Iterator[str]:
    at = 0
    for found in _any_of(words).finditer(text):
        yield text[at : found.start()]
        yield format_html("<mark>{}</mark>", found[0])
        at = found.end()
    yield text[at:]


def _any_of(words: Iterable[str]) -> re.Pattern[str]:
    """Return what finds any of the words, the longest where several begin alike."""
    longest_first = sorted(words, key=len, reverse=True)
    return re.compile("|".join(map(re.escape, longest_first)) or r"(?!)", re.IGNORECASE)


def around(text: str, words: Iterable[str]) -> str:
    """Return the part of a long text that holds the first of the words."""
    plain = " ".join(text.split())
    found = _any_of(words).search(plain)
    start = max(found.start() - BEFORE, 0) if found and len(plain) > LONG else 0
    ends = start + LONG < len(plain)
    return f"{'…' if start else ''}{plain[start : start + LONG]}{'…' if ends else ''}"


# --- what is looked in --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Shown:
    """How one row is shown: where it leads, what it is called, what else helps to know it.

    ``hidden`` are texts that are shown only where a word stands in them.
    """

    address: str
    name: str
    ref: str = ""
    also: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()
    mark: Mark | None = None


@dataclass(frozen=True)
class Kind:
    """What is found under one heading: one of it, many of it, and the page of all of them."""

    one: str
    many: str
    route: str


@dataclass(frozen=True)
class Noun(Kind):
    """One kind of thing that can be found: who may read it, and which rows and fields.

    ``columns`` are all that is read; the first is what a row is called.
    """

    need: str
    rows: Callable[[Any], QuerySet[Any]]
    fields: Callable[[Any], tuple[str, ...]]
    columns: tuple[str, ...]
    shown: Callable[[Mapping[str, Any]], Shown]

    @property
    def has_ref(self) -> bool:
        """Whether its rows are called by a reference."""
        return self.columns[0] == "ref"


WORDS = Kind("word of the trade", "words of the trade", "words")


@dataclass(frozen=True, slots=True)
class Hit:
    """One row that was found, escaped and with the words marked."""

    address: str
    ref: SafeString
    name: SafeString
    also: SafeString
    mark: Mark | None


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one noun: the first few, how many in all, and the list of all."""

    noun: Kind
    hits: tuple[Hit, ...]
    count: int
    address: str

    @property
    def counted(self) -> str:
        """How many there are, in words."""
        return show_count(self.count, self.noun.one, self.noun.many)

    @property
    def is_cut(self) -> bool:
        """Whether there are more than are shown."""
        return self.count > len(self.hits)


def for_whom(nouns: Iterable[Noun], user: Any) -> list[Noun]:
    """Return the nouns that a person may read; of the others not even a count is asked."""
    return [noun for noun in nouns if roles.can(user, noun.need)]


def find(nouns: Iterable[Noun], asked: Asked, user: Any) -> list[Group]:
    """Return what holds every word, noun by noun, in one query each."""
    if not asked.words:
        return []
    groups = (_group(noun, asked, user) for noun in for_whom(nouns, user))
    return [group for group in groups if group is not None]


def _group(noun: Noun, asked: Asked, user: Any) -> Group | None:
    rows = holding(noun.rows(user), noun.fields(user), asked.words)
    order = rows.query.order_by or rows.model._meta.ordering
    read = list(
        rows.annotate(nearness=_nearness(noun, asked), of_all=Window(Count("*")))
        .order_by("nearness", *order, "pk")
        .values(*noun.columns, "of_all")[:MOST_SHOWN]
    )
    if not read:
        return None
    return Group(
        noun=noun,
        hits=tuple(_hit(noun.shown(row), asked.words) for row in read),
        count=read[0]["of_all"],
        address=f"{reverse(noun.route)}?{urlencode({'words': asked.text})}",
    )


def found_words(asked: Asked) -> Group | None:
    """Return the words of the trade that are called by all that was asked."""
    found = words.find(asked.words, asked.text) if asked.words else []
    if not found:
        return None
    page = reverse(WORDS.route)
    return Group(
        noun=WORDS,
        hits=tuple(
            _hit(
                Shown(f"{page}#{one.anchor}", one.word, also=(one.means,), hidden=one.also),
                asked.words,
            )
            for one in found[:MOST_SHOWN]
        ),
        count=len(found),
        address=page,
    )


def _nearness(noun: Noun, asked: Asked) -> Case:
    """Rank what is called so before what begins so, and that before the rest."""
    name = noun.columns[0]
    return Case(
        When(**{f"{name}__iexact": asked.text}, then=Value(0)),
        When(**{f"{name}__istartswith": asked.text}, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )


def _hit(shown: Shown, words: tuple[str, ...]) -> Hit:
    found = _any_of(words)
    also = [text for text in shown.also if text]
    also += [around(text, words) for text in shown.hidden if found.search(text)]
    return Hit(
        address=shown.address,
        ref=marked(shown.ref, words),
        name=marked(shown.name, words),
        also=marked(" · ".join(also), words),
        mark=shown.mark,
    )


# --- references ---------------------------------------------------------------------------------


def called(nouns: Iterable[Noun], asked: Asked, user: Any) -> str:
    """Return the page of the one row with this reference, in any case; "" for none or several."""
    if not asked.ref:
        return ""
    found = [
        noun.shown(row).address
        for noun in _with_refs(nouns, user)
        for row in noun.rows(user).filter(ref__iexact=asked.ref).values(*noun.columns)[:2]
    ]
    return found[0] if len(found) == 1 else ""


def near(nouns: Iterable[Noun], asked: Asked, user: Any) -> list[Shown]:
    """Return the few references that are written most like one that there is not."""
    if not any(sign.isdigit() for sign in asked.ref):
        return []
    rows = [
        noun.shown(row) for noun in _with_refs(nouns, user) for row in _alike(noun, asked, user)
    ]
    names = refs.near_to(asked.ref, dict.fromkeys(row.ref for row in rows))
    return [row for name in names for row in rows if row.ref.casefold() == name.casefold()]


def _with_refs(nouns: Iterable[Noun], user: Any) -> list[Noun]:
    return [noun for noun in for_whom(nouns, user) if noun.has_ref]


def _alike(noun: Noun, asked: Asked, user: Any) -> QuerySet[Any]:
    """Return rows of the same number, of the same ending, or the same but for the last sign."""
    same = Q(ref__in=_with_zeros(asked.ref))
    ending = asked.ref.lstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
    alike = same | Q(ref__istartswith=asked.ref[:-1])
    if any(sign.isdigit() for sign in ending):
        alike |= Q(ref__iendswith=ending)
    return (
        noun.rows(user)
        .filter(alike)
        .annotate(nearness=Case(When(same, then=Value(0)), default=Value(1)))
        .order_by("nearness", Length("ref"), "ref")
        .values(*noun.columns)[:MOST_NEAR]
    )


def _with_zeros(ref: str) -> list[str]:
    """Return the ways to write a reference with more or fewer zeros before its number."""
    found = LETTERS_AND_NUMBER.fullmatch(ref)
    if not found:
        return [ref]
    letters, number = found[1].upper(), found[2]
    return [f"{letters}-{number.zfill(width)}" for width in range(1, WIDEST_NUMBER + 1)]
