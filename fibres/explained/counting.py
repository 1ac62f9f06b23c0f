"""Counts of the store: what the scale says beside the book."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fibres.calc import moisture as wet
from fibres.explained import water
from fibres.models import Lot
from fibres.stocktaking import LARGE, Row
from studio.explaining import DEFINITION, OURS, Explained, Reader
from studio.units import show_share
from studio.working import Line

DIFFERENCE = "difference = oven-dry as weighed − oven-dry in the book, lot by lot"


def difference(reader: Reader, weighed: Sequence[Row]) -> Explained:
    """Take apart what a count found more or less, over the lots that were weighed."""
    lines: tuple[Line, ...] = ()
    if weighed:
        found = sum(row.line.oven_dry_mg for row in weighed)
        book = sum(row.book_mg for row in weighed)
        lines = (
            Line("Found, oven-dry", reader.mass(found), "of the lots weighed"),
            Line("Less what the book has", reader.mass(-book)),
            Line("Difference", reader.change(found - book), kind="answer"),
        )
    return Explained(
        "Difference",
        f"{DIFFERENCE}. What reads alike on the scale and in the book is no difference.",
        DEFINITION,
        lines,
    )


def large() -> Explained:
    """Say which differences are left to the owner."""
    return Explained(
        "Large differences",
        f"large: the difference is more than {show_share(LARGE)} of the oven-dry fibre in the "
        "book; then the owner posts the count.",
        OURS,
    )


def listed(reader: Reader, first: Any) -> tuple[Explained, ...]:
    """Explain the list of counts by its first row."""
    lines: tuple[Line, ...] = ()
    if first is not None and first.difference_mg is not None:
        lines = (Line(f"{first.ref}, difference", reader.change(first.difference_mg)),)
    return (Explained("Difference", f"{DIFFERENCE}.", DEFINITION, lines),)


def of_one(reader: Reader, rows: Sequence[Row]) -> tuple[Explained, ...]:
    """Explain the page of a count."""
    weighed = [row for row in rows if row.is_weighed]
    first = weighed[0] if weighed else None
    dry = (
        water.oven_dry_alone(title="Found, oven-dry")
        if first is None
        else water.oven_dry(
            reader,
            as_is_mg=first.line.as_is_mg,
            moisture=first.line.moisture,
            dry_mg=first.line.oven_dry_mg,
            whose=f"{first.lot.ref}, as weighed",
            title="Found, oven-dry",
        )
    )
    return (dry, difference(reader, weighed), large())


def on_the_scale(reader: Reader, lot: Lot) -> tuple[Explained, ...]:
    """Explain the form that weighs one lot for a count."""
    book_mg = wet.as_is_mg(lot.oven_dry_mg, lot.moisture)
    return (
        Explained(
            "Difference",
            f"{water.OVEN_DRY}, by the moisture of the book unless a sample says another; "
            "difference = that − oven-dry in the book.",
            water.ISO_287,
            (
                Line("Moisture in the book", show_share(lot.moisture), lot.ref),
                Line("In the book, as is", reader.mass(book_mg)),
                Line("In the book, oven-dry", reader.mass(lot.oven_dry_mg), kind="answer"),
            ),
        ),
        Explained(
            "Dried or drew water",
            "moisture = 1 − oven-dry in the book ÷ mass as it is; the fibre stays.",
            water.ISO_287,
        ),
    )


def posted(reader: Reader, rows: Sequence[Row]) -> tuple[Explained, ...]:
    """Explain the form that posts a count."""
    return (difference(reader, [row for row in rows if row.is_weighed]), large())
