"""Finished sheets: how many lie here, what was sent, and what a parcel weighs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from orders.explained import sources
from orders.explained.choosing import named
from studio.explaining import DEFINITION, Explained, rows_of
from studio.units import show_number
from studio.working import Line

IN_HAND = (
    "in hand = made − sent − spoilt + taken back, and what a count put right, for each making and "
    "quality."
)


def _in_hand(lines: Sequence[Line]) -> Explained:
    return Explained("Sheets in hand", IN_HAND, sources.COUNTED, tuple(lines))


def in_hand(table: Any) -> Explained:
    """Say how many sheets lie here, by the totals of the page."""
    return _in_hand(_totals(table, {"good_in_hand": "Good", "retree_in_hand": "Retree"}))


def there(book: Mapping[str, int]) -> Explained:
    """Say the same of one making; ``book`` holds the sheets by quality."""
    return _in_hand([Line(word.capitalize(), show_number(n)) for word, n in book.items()])


def _totals(table: Any, columns: Mapping[str, str]) -> list[Line]:
    rows = rows_of(table)
    return [
        Line(label, show_number(sum(getattr(row, name) for row in rows)), "on this page")
        for name, label in columns.items()
        if rows
    ]


def counted(book: Mapping[str, int]) -> Explained:
    """Say what a count does to the book."""
    return Explained(
        "What a count changes",
        "off = counted − what the book says. What is off is entered with its reason, and "
        "from then on the book says what was counted.",
        sources.COUNTED,
        tuple(
            Line(f"{word.capitalize()}, by the book", show_number(n)) for word, n in book.items()
        ),
    )


def spoilt(table: Any) -> Explained:
    """Say what the list of spoilt sheets holds, by its first row."""
    row = next(iter(rows_of(table)), None)
    lines = (Line(f"Spoilt of {row.making.ref}", show_number(row.spoilt)),) if row else ()
    return Explained(
        "Spoilt sheets",
        "spoilt = sheets taken out of hand on that day. One that was taken back is in hand again, "
        "and both entries stay.",
        sources.COUNTED,
        lines,
    )


def taken_back(sheets: int) -> Explained:
    """Say what taking spoilt sheets back does."""
    return Explained(
        "Back in hand",
        "in hand afterwards = in hand now + the sheets of this entry.",
        sources.COUNTED,
        (Line("Sheets of this entry", show_number(sheets)),),
    )


def parcels(table: Any) -> Explained:
    """Say what the list of parcels counts."""
    return Explained(
        "Sheets in a parcel",
        "in a parcel = sheets sent with it − those taken back.",
        sources.COUNTED,
        tuple(_totals(table, {"good": "Good", "retree": "Retree"})),
    )


def packed(table: Any) -> Explained:
    """Say the same of the parcel on the page."""
    found = parcels(None)
    rows = rows_of(table)
    lines = [Line(row.quality, show_number(row.sheets)) for row in rows]
    return Explained(found.title, found.formula, found.source, tuple(lines))


def grammage(lines: Sequence[Line]) -> Explained:
    """Say how the grammage of a parcel is measured."""
    return Explained(
        "Grammage measured",
        "grammage = mass of one sheet ÷ its area, weighed with the moisture of the room.",
        sources.GRAMMAGE,
        named(lines, "Grammage ordered", "Grammage measured"),
    )


def mass(lines: Sequence[Line]) -> Explained:
    """Say what a parcel weighs."""
    labels = ("Sheets weigh", "Boards and wrapping", "Lighter than its sheets by")
    return Explained(
        "What the parcel weighs",
        "sheets weigh = sheets × mass of one: as weighed, else grammage ordered × area. Boards "
        "and wrapping = parcel − sheets.",
        DEFINITION,
        named(lines, *labels),
    )


def offered(offers: Sequence[Any]) -> Explained:
    """Say how many sheets may go into a parcel, by the first that are offered."""
    return _in_hand(
        [
            Line(f"{making.ref}, {quality}", show_number(there))
            for making, quality, there, _ in offers[:1]
        ]
    )
