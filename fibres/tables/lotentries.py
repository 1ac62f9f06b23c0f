"""The table of who entered what of a lot."""

from __future__ import annotations

from typing import Any

from django.utils.html import format_html

from fibres.lotentries import LotEntry
from studio.columns import RowHeader, TextColumn
from studio.tables import LedgerTable
from studio.templatetags.studio import codes


class LotEntryTable(LedgerTable):
    """Every act that touched a lot, oldest first."""

    caption = "Every act, the first on top; the book above has its figures."
    shape = "three"
    nothing = "You have entered nothing of this lot."

    when = RowHeader("Entered", accessor="when", link=None, orderable=False)
    said = TextColumn("What was entered", accessor="said", wide=True, orderable=False)
    who = TextColumn("By", accessor="who", orderable=False)
    place = TextColumn("Page", accessor="place", orderable=False)

    def render_place(self, value: str, record: LotEntry) -> Any:
        """Lead to the page, where the reader may open it."""
        place = codes(value)
        return format_html('<a href="{}">{}</a>', record.page, place) if record.page else place
