"""Scrap: its mass with and without a scale, how far it may be off, and what it is worth."""

from __future__ import annotations

from fibres.calc.estimates import BANDS
from fibres.calc.scrap import SHEETS_PER_BOX, SHEETS_PER_REAM
from fibres.explained import water
from studio.explaining import COMMON, Explained, Reader
from studio.units import show_number, show_share
from studio.working import Line


def given(reader: Reader, sent: tuple[Line, ...]) -> tuple[Explained, ...]:
    """Explain the form that logs a gift; ``sent`` is what it came to, where it was sent."""
    return (
        _mass(),
        water.oven_dry_alone(sent[:1]),
        water.usable_alone(sent[1:2]),
        _band(),
    )


def _mass() -> Explained:
    return Explained(
        "Mass of what was counted",
        "mass as it is = sheets × width × height × grammage; a pile holds its height ÷ the "
        "thickness of a sheet, which is 0.10 mm at 80 g/m² and in proportion at others.",
        "ISO 536, grammage, definition from memory; the thickness from memory; reams from an "
        "encyclopedia article on units of paper quantity; the box from archive-box pages, 2500 to "
        "3000 loose sheets.",
        (
            Line("Sheets in a ream", show_number(SHEETS_PER_REAM)),
            Line("Sheets in a box", show_number(SHEETS_PER_BOX), "loose; middle of what fits"),
        ),
    )


def _band() -> Explained:
    words = {
        "counted": "Sheets counted", "reams": "Reams", "pile": "A pile", "boxes": "Boxes",
        "guess": "A guess",
    }  # fmt: skip
    return Explained(
        "How far it may be off",
        "low to high = mass × (1 − band) to mass × (1 + band), by how it was measured; what was "
        "weighed has no band, and a later weighing takes the place of an estimate.",
        COMMON,
        tuple(Line(word, f"± {show_share(BANDS[way])}") for way, word in words.items()),
    )
