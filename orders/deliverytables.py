"""The tables of finished sheets and of the parcels they left in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.html import format_html

from studio.tables import CountColumn, DayColumn, LedgerTable, RowHeader, TextColumn
from studio.units import show_grammage, show_number, show_size


class InHandTable(LedgerTable):
    """Makings of which sheets lie there."""

    caption = "Sheets in hand by making"
    caption_unseen = True
    nothing = "No finished sheet lies here. They come in when a making is finished."

    ref = RowHeader("Making", code=True, named="sheet__name", second="commission__ref")
    size = TextColumn("Size", accessor="sheet__width_um", orderable=False)
    good_in_hand = CountColumn("Good", total=True)
    retree_in_hand = CountColumn("Retree", total=True)
    finished_on = DayColumn("Finished")
    acts = TextColumn(
        "Put right", accessor="ref", orderable=False, wide=True, exclude_from_export=True
    )

    def render_size(self, record: Any) -> str:
        """Show size and grammage."""
        size = show_size(record.sheet.size, system=self.columns["size"].column.units)
        return f"{size}, {show_grammage(record.sheet.grammage)}"

    def value_size(self, record: Any) -> str:
        """Give them in millimetres and grams."""
        return f"{show_size(record.sheet.size)}, {show_grammage(record.sheet.grammage)}"

    def render_acts(self, value: str) -> Any:
        """Lead to the two forms."""
        return format_html(
            '<a class="tall" href="{}">Count<span class="unseen"> {}</span></a> · '
            '<a class="tall" href="{}">Spoilt<span class="unseen"> sheets of {}</span></a>',
            reverse("sheets_count", args=[value]),
            value,
            reverse("sheets_spoil", args=[value]),
            value,
        )


class DeliveryTable(LedgerTable):
    """Parcels with what is in each."""

    caption = "Parcels sent"
    caption_unseen = True
    nothing = "Nothing is sent yet."

    ref = RowHeader("Parcel", code=True)
    commission = TextColumn("Commission", accessor="commission__ref", code=True)
    sent_on = DayColumn("Sent")
    good = CountColumn("Good", total=True)
    retree = CountColumn("Retree", total=True)


@dataclass(frozen=True, slots=True)
class PackedRow:
    """Sheets of one quality in a parcel, with the makings they are of."""

    quality: str
    makings: str
    sheets: int


class PackedTable(LedgerTable):
    """What is in a parcel, quality by quality."""

    caption = "Sheets in the parcel"
    caption_unseen = True
    shape = "stay"
    nothing = "This parcel was taken back; nothing is in it."

    quality = RowHeader("Quality", link=None, orderable=False)
    makings = TextColumn("Of making", orderable=False)
    sheets = CountColumn("Sheets", total=True, orderable=False)


def packed_rows(lines: list[tuple[Any, str, int]], words: dict[Any, str]) -> list[PackedRow]:
    """Return the sheets of a parcel quality by quality; several makings each with its number."""
    found: dict[str, list[tuple[str, int]]] = {}
    for making, quality, sheets in lines:
        found.setdefault(quality, []).append((making.ref, sheets))
    rows = []
    for quality in sorted(found):
        parts = found[quality]
        named = ", ".join(
            ref if len(parts) == 1 else f"{show_number(sheets)} of {ref}" for ref, sheets in parts
        )
        total = sum(sheets for _, sheets in parts)
        rows.append(PackedRow(words.get(quality, quality), named, total))
    return rows
