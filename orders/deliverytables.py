"""The tables of finished sheets and of the parcels they left in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.html import format_html

from studio.tables import CountColumn, DayColumn, LedgerTable, RowHeader, TextColumn
from studio.templatetags.studio import day
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
        """Give the same in an export."""
        return self.render_size(record)

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


class SpoiltTable(LedgerTable):
    """Sheets that were entered as spoilt, and whether that still holds."""

    caption = "Spoilt sheets"
    caption_unseen = True
    nothing = "No sheet was entered as spoilt."

    ref = RowHeader(
        "Making", accessor="making__ref", code=True, link="making__get_absolute_url",
        second="making__sheet__name",
    )  # fmt: skip
    happened_on = DayColumn("Day")
    quality = TextColumn("Quality", accessor="get_quality_display", order_by="quality")
    spoilt = CountColumn("Sheets", order_by="-sheets")
    why = TextColumn("What happened", wide=True)
    back = TextColumn("Taken back", accessor="pk", orderable=False, wide=True)

    may_take_back = False

    def __init__(self, *args: Any, may_take_back: bool = False, **kwargs: Any) -> None:
        self.may_take_back = may_take_back
        super().__init__(*args, **kwargs)

    def render_back(self, record: Any) -> Any:
        """Say when and why it was taken back, or lead to where it can be."""
        if said := self.value_back(record):
            return said
        if not self.may_take_back:
            return ""
        return format_html(
            '<a class="tall" href="{}">Take back<span class="unseen"> {} of {}</span></a>',
            reverse("sheets_spoilt_back", args=[record.pk]),
            show_number(record.spoilt),
            record.making.ref,
        )

    def value_back(self, record: Any) -> str:
        """Give the day and the reason."""
        back = getattr(record, "reversed_by", None)
        return f"{day(back.happened_on)}: {back.why}" if back else ""


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
