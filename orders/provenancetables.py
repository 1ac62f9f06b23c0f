"""The tables of provenance: lots in a making, makings of a lot, differences of two makings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from django.utils.html import format_html

from orders.calc.differences import Difference, Verdict
from studio.tables import (
    CountColumn,
    DayColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)
from studio.templatetags.studio import codes

Mark = tuple[str, str]


@dataclass(frozen=True, slots=True)
class LotRow:
    """A lot in a making, with where it came from and what it counts as."""

    ref: str
    address: str
    fibre: str
    source: str
    source_address: str
    as_is_mg: int | None
    oven_dry_mg: int | None
    share: Fraction
    counts_as: str
    through: str = ""


class SourceLinkMixin:
    """A column that leads to the source of a row."""

    def render_source(self, record: Any) -> Any:
        """Lead to the source."""
        return format_html(
            '<a class="tall" href="{}">{}</a>', record.source_address, record.source
        )

    def value_source(self, record: Any) -> str:
        """Name the source in a file."""
        return str(record.source)


class DrawnTable(SourceLinkMixin, LedgerTable):
    """The lots that were weighed out for a making."""

    caption_unseen = True
    shape = "three"

    lot = RowHeader("Lot", accessor="ref", code=True, link="address", second="fibre",
                    orderable=False)  # fmt: skip
    source = TextColumn("From", wide=True, orderable=False)
    as_is_mg = KgColumn("As-is", places=3, orderable=False)
    oven_dry_mg = KgColumn("Oven-dry", places=3, orderable=False)
    share = ShareColumn("Of its fibre", orderable=False)
    counts_as = TextColumn("Counts as", orderable=False)


class TracedTable(SourceLinkMixin, LedgerTable):
    """The lots that are in the broke and heel of a making."""

    caption = "In its broke and heel"
    shape = "three"

    lot = RowHeader("Lot", accessor="ref", code=True, link="address", second="fibre",
                    orderable=False)  # fmt: skip
    source = TextColumn("From", wide=True, orderable=False)
    share = ShareColumn("Of its fibre", orderable=False)
    through = TextColumn("By way of", orderable=False)


@dataclass(frozen=True, slots=True)
class MadeRow:
    """A making that a lot went into."""

    ref: str
    address: str
    sheet: str
    day: date | None
    share: Fraction
    good: int | None
    retree: int | None
    state_mark: Mark
    how: str


class MadeTable(LedgerTable):
    """The makings that fibre went into, with their sheets."""

    caption = "What was made of it"
    caption_unseen = True
    shape = "three"
    nothing = "Nothing has been made of it yet."

    making = RowHeader("Making", accessor="ref", code=True, link="address", second="sheet",
                       orderable=False)  # fmt: skip
    day = DayColumn("Finished", orderable=False)
    share = ShareColumn("Of its fibre", orderable=False)
    good = CountColumn("Good sheets", orderable=False)
    retree = CountColumn("Retree", orderable=False)
    how = TextColumn("Came as", orderable=False)
    state = MarkColumn("State", accessor="state_mark")


class DifferenceTable(LedgerTable):
    """What differs from the making that is repeated, line by line."""

    caption = "Differences"
    caption_unseen = True
    MARKS = {
        Verdict.SAME: ("covered", "Same"),
        Verdict.RECKONED: ("near", "Taken into account"),
        Verdict.TRIAL: ("short", "Try it first"),
        Verdict.OPEN: ("asked", "Not known yet"),
    }

    what = RowHeader("What", link=None, orderable=False)
    earlier = TextColumn("Then", orderable=False)
    now = TextColumn("Now", orderable=False)
    why = TextColumn("Why it matters", wide=True, orderable=False)
    verdict = MarkColumn("Verdict")

    def render_earlier(self, value: str) -> Any:
        """Keep each lot on one line."""
        return codes(value)

    def render_now(self, value: str) -> Any:
        """Keep each lot on one line."""
        return codes(value)

    def value_earlier(self, value: str) -> str:
        """Give the bare words."""
        return value

    def value_now(self, value: str) -> str:
        """Give the bare words."""
        return value

    def render_verdict(self, record: Difference, column: Any) -> Any:
        """Show the verdict as a mark."""
        return column.render(self.MARKS[record.verdict])

    def value_verdict(self, record: Difference) -> str:
        """Give the word."""
        return self.MARKS[record.verdict][1]
