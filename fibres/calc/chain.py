"""The seals of the ledger: each is reckoned from a movement and from the seal before it.

Whoever changes, removes or slips in a movement behind the program's back leaves a seal that does
not follow from what is there. No key is kept: who can write the database file can reckon every
seal anew from the changed row on. What that cannot hide is that the last seal is another one, so
a :class:`Noted` one, kept on paper or with a copy, proves all that was entered up to it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from studio.errors import StudioError

# The seal before the first one.
BEGINNING = "0" * 64
# How a movement is written down for its seal; another way would be another number.
FORM = 1
NOTED_DIGITS = 16
_MOISTURE_STEP = Decimal("0.000001")
_NOTED = re.compile(r"([0-9]{1,15})-([0-9a-f]{16,64})")


def written(
    *,
    movement: int,
    lot: int,
    lot_ref: str,
    kind: str,
    oven_dry_mg: int,
    as_is_mg: int | None,
    moisture: Decimal,
    happened_on: date,
    why: str,
    reverses: int | None,
    entry_key: Any,
    act: str,
    said: str,
    page: str,
    who: str | None,
    recorded_at: datetime,
) -> bytes:
    """Return a movement and its entry as one line that is the same on every database.

    Parameters
    ----------
    movement : int
        number of the row
    lot : int
        number of the lot's row
    lot_ref : str
        reference of the lot
    kind : str
        kind of movement
    oven_dry_mg : int
        mass oven-dry, into the store [mg]
    as_is_mg : int or None
        mass as weighed, into the store [mg]
    moisture : Decimal
        water in all of the mass [0..1]
    happened_on : date
        the day it concerns
    why : str
        what was given as its reason
    reverses : int or None
        number of the movement that it takes back
    entry_key : UUID or str
        key of its entry
    act : str
        what the entry is of
    said : str
        what the entry says
    page : str
        where it was entered
    who : str or None
        user name, None for the command line
    recorded_at : datetime
        the moment it was entered, with its time zone

    Returns
    -------
    bytes
        JSON in ASCII, without spaces

    Raises
    ------
    Nothing for a row of the ledger; what cannot be read fails as it comes.

    Notes
    -----
    Names and the key of the entry stand for people and entries, whose numbers are given anew
    when a studio moves to another database.

    Examples
    --------
    >>> import datetime, decimal
    >>> written(
    ...     movement=7, lot=2, lot_ref="LI-0002", kind="issued", oven_dry_mg=-920_000,
    ...     as_is_mg=-1_000_000, moisture=decimal.Decimal("0.08"),
    ...     happened_on=datetime.date(2026, 3, 3), why="", reverses=None, entry_key="k",
    ...     act="take out", said="Issued", page="/", who=None,
    ...     recorded_at=datetime.datetime(2026, 3, 3, 9, tzinfo=datetime.UTC),
    ... )[:48]
    b'[1,7,2,"LI-0002","issued",-920000,-1000000,"0.08'
    """
    row = [
        FORM, movement, lot, lot_ref, kind, oven_dry_mg, as_is_mg,
        format(moisture.quantize(_MOISTURE_STEP), "f"), happened_on.isoformat(), why, reverses,
        str(entry_key), act, said, page, who,
        recorded_at.astimezone(UTC).isoformat(timespec="microseconds"),
    ]  # fmt: skip
    return json.dumps(row, ensure_ascii=True, separators=(",", ":")).encode("ascii")


def sha256(given: bytes) -> str:
    """Return the SHA-256 digest of bytes.

    Parameters
    ----------
    given : bytes
        what is digested

    Returns
    -------
    str
        64 hexadecimal digits

    Raises
    ------
    Nothing.

    Notes
    -----
    Source: FIPS180 in ``fixtures/published/SOURCES.md``, with its examples.

    Examples
    --------
    >>> sha256(b"abc")[:16]
    'ba7816bf8f01cfea'
    """
    return hashlib.sha256(given).hexdigest()


def next_digest(before: str, *, number: int, line: bytes) -> str:
    """Return the seal of a movement.

    Parameters
    ----------
    before : str
        seal of the movement before it, or :data:`BEGINNING`
    number : int
        place in the chain, from 1
    line : bytes
        the movement as :func:`written`

    Returns
    -------
    str
        SHA-256 in 64 hexadecimal digits

    Raises
    ------
    Nothing.

    Notes
    -----
    Neither a seal nor a number holds the line break that parts them, so no two chains come to
    the same bytes.

    Examples
    --------
    >>> first = next_digest(BEGINNING, number=1, line=b"[]")
    >>> len(first), first == next_digest(first, number=2, line=b"[]")
    (64, False)
    """
    return sha256(f"{before}\n{number}\n".encode("ascii") + line)


@dataclass(frozen=True, slots=True)
class Link:
    """A movement as it is now, beside the seal that it was given, which may be missing."""

    movement: int
    line: bytes
    number: int | None
    digest: str | None


def broken(links: Iterable[Link]) -> Iterator[tuple[int, str]]:
    """Yield the movements at which a chain does not hold, and what is wrong with each.

    Parameters
    ----------
    links : iterable of Link
        every movement, in the order of the ledger

    Returns
    -------
    iterator of tuple
        number of the movement, and a sentence about it

    Raises
    ------
    Nothing.

    Notes
    -----
    Each seal is reckoned from the seal that is kept before it, not from the one that should be
    there, so that one bad row does not hide the next.

    Examples
    --------
    >>> one = Link(movement=3, line=b"[]", number=1, digest=sha256(b"another"))
    >>> next(broken([one]))
    (3, 'is not what was sealed: it was changed, or the row before it')
    """
    last, before = 0, BEGINNING
    for link in links:
        if not isinstance(link.number, int) or not isinstance(link.digest, str):
            yield link.movement, "has no seal, so it was entered behind the program's back"
            continue
        if link.number <= last:
            yield link.movement, f"is sealed as number {link.number} and comes after {last}"
        elif link.number > last + 1:
            gone = _numbers(last + 1, link.number - 1)
            yield link.movement, f"is sealed as number {link.number}, and {gone} gone"
        elif next_digest(before, number=link.number, line=link.line) != link.digest:
            yield link.movement, "is not what was sealed: it was changed, or the row before it"
        last, before = link.number, link.digest


def _numbers(first: int, last: int) -> str:
    """Say which numbers are missing before a seal."""
    return f"number {first} is" if first == last else f"numbers {first} to {last} are"


@dataclass(frozen=True, slots=True)
class Noted:
    """A seal in the short form in which a person notes it: its number, and its first digits.

    Examples
    --------
    >>> str(Noted.of(57, "3f2a91bc7d0e55aa" + "0" * 48))
    '57-3f2a91bc7d0e55aa'
    >>> Noted.read(" 57 - 3F2A 91BC 7D0E 55AA ")
    Noted(number=57, digits='3f2a91bc7d0e55aa')
    """

    number: int
    digits: str

    @classmethod
    def of(cls, number: int, digest: str) -> Noted:
        """Shorten a seal."""
        return cls(number, digest[:NOTED_DIGITS])

    @classmethod
    def read(cls, text: str) -> Noted:
        """Read a noted seal, however it was spaced."""
        found = _NOTED.fullmatch("".join(text.split()).lower())
        if found is None:
            raise StudioError(
                "A noted seal is a number, a dash and 16 digits from 0 to f, such as "
                f"57-3f2a91bc7d0e55aa; got “{text[:40]}”. Give it as audit printed it.",
                field="seal",
                value=text[:40],
            )
        return cls(int(found[1]), found[2])

    def __str__(self) -> str:
        return f"{self.number}-{self.digits}"

    def fits(self, digest: str) -> bool:
        """Tell whether it was noted of this seal."""
        return digest.startswith(self.digits)
