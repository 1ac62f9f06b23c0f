"""The tables of commissions, sheets and clients, and those of the commission's own page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from studio.tables import (
    CountColumn,
    DayColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    NumberColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)
from studio.templatetags.studio import mark as mark_span
from studio.units import show_mass, show_size

Mark = tuple[str, str]


class QuietMarkColumn(MarkColumn):
    """A mark that stays in its place where a table is folded; one other stands by the name."""

    css = ""


class CommissionTable(LedgerTable):
    """Commissions with their state and whether the store covers them."""

    caption = "Commissions"
    caption_unseen = True
    nothing = "No commission is entered yet."

    ref = RowHeader("Commission", code=True, named="title", second="client_name")
    title = TextColumn("Title", visible=False)
    client_name = TextColumn("For", visible=False)
    sheet = TextColumn("Sheet", accessor="sheet__name", wide=True)
    good_quantity = CountColumn("Good sheets")
    due = DayColumn("Due")
    priority = NumberColumn("Priority")
    state = QuietMarkColumn("State", accessor="state_mark", orderable=True, order_by="state")
    cover = MarkColumn("Cover", accessor="ref")

    def __init__(self, data: Any, *, covers: Mapping[str, Mark] | None = None, **kwargs: Any):
        self.covers = covers or {}
        super().__init__(data, **kwargs)

    def render_cover(self, value: str) -> Any:
        """Show whether the store covers it; nothing where it is no promise."""
        found = self.covers.get(value)
        return mark_span(*found) if found else ""

    def value_cover(self, value: str) -> str:
        """Give the word."""
        return self.covers.get(value, ("", ""))[1]


class SheetTable(LedgerTable):
    """Sheets with their size, grammage and furnish."""

    caption = "Sheets"
    caption_unseen = True
    nothing = "No sheet is entered yet. Enter one, and commissions can ask for it."

    name = RowHeader("Sheet", second="get_edges_display")
    size = TextColumn("Size", accessor="width_um", order_by=("width_um", "height_um"))
    grammage = NumberColumn("Grammage", unit="g/m²")
    furnish = TextColumn("Furnish", accessor="furnish__name", wide=True)
    mould = TextColumn("Mould", accessor="mould__name")
    drying = TextColumn("Drying", accessor="get_drying_display", visible=False)
    open_commissions = CountColumn("Open commissions")

    def render_size(self, record: Any) -> str:
        """Show both sides."""
        return show_size(record.size, system=self.base_units)

    def value_size(self, record: Any) -> str:
        """Give the same in an export."""
        return self.render_size(record)

    @property
    def base_units(self) -> Any:
        """The units that the columns were told."""
        return self.columns["size"].column.units


class ClientTable(LedgerTable):
    """Clients with the number of their commissions."""

    caption = "Clients"
    caption_unseen = True
    nothing = "No client is entered yet. The first commission can bring one."

    name = RowHeader("Client")
    contact = TextColumn("Contact", wide=True)
    open_commissions = CountColumn("Open commissions")
    all_commissions = CountColumn("All commissions")
    last_due = DayColumn("Last due")


# --- Today -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShortRow:
    """One fibre that a commission waits for."""

    ref: str
    title: str
    wanted: str
    fibre: str
    short_mg: int
    due: date
    ready: Mark

    def get_absolute_url(self) -> str:
        """Return the page of the commission."""
        return reverse("commission", args=[self.ref])


class ShortTable(LedgerTable):
    """Commissions that the store does not cover, fibre by fibre."""

    caption = "Commissions that the store does not cover"
    caption_unseen = True

    ref = RowHeader("Commission", code=True, named="title", second="wanted", orderable=False)
    fibre = TextColumn("Fibre", orderable=False)
    short_mg = KgColumn("Short by", basis="oven-dry", places=3, lack=True, orderable=False)
    due = DayColumn("Due", orderable=False)
    ready = MarkColumn("Cover")


class SoonTable(LedgerTable):
    """Lots to use soon, with what is set aside of them."""

    caption = "Lots to use soon"
    caption_unseen = True

    ref = RowHeader("Lot", code=True, named="fibre__name", second="form", orderable=False)
    oven_dry_mg = KgColumn("Left", basis="oven-dry", orderable=False)
    keep_until = DayColumn("Keep until", mark="soon", orderable=False)
    aside = TextColumn("Set aside", accessor="ref", wide=True, orderable=False)

    def __init__(self, data: Any, *, aside: Mapping[str, list[tuple[int, str]]], **kwargs: Any):
        self.aside = aside
        super().__init__(data, **kwargs)

    def render_aside(self, value: str) -> Any:
        """Say for which commissions fibre of the lot is set aside."""
        if value not in self.aside:
            return "Nothing yet"
        system = self.columns["aside"].column.units
        return format_html_join(
            ", ",
            '{} for <span class="code">{}</span>',
            ((show_mass(mass, system=system), ref) for mass, ref in self.aside[value]),
        )


class DueTable(CommissionTable):
    """Open promises in the order they are due."""

    caption = "Promises, the next due first"
    caption_unseen = True

    state = QuietMarkColumn("State", accessor="state_mark")

    class Meta:
        exclude = ("priority",)
        orderable = False


# --- the page of a commission ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class FibreRow:
    """One fibre of a commission: needed, set aside, short, from which lots."""

    fibre: str
    needs_mg: int
    set_aside_mg: int
    short_mg: int | None
    lots: tuple[tuple[str, str], ...]
    cover: Mark


class FibreTable(LedgerTable):
    """What a commission takes of each fibre."""

    shape = "three"
    total_word = "Whole furnish"

    fibre = RowHeader("Fibre", link=None, orderable=False)
    needs_mg = KgColumn("Needs", in_caption=True, places=3, total=True, orderable=False)
    set_aside_mg = KgColumn("Set aside", in_caption=True, places=3, total=True, orderable=False)
    short_mg = KgColumn("Short", in_caption=True, places=3, total=True, lack=True, orderable=False)
    lots = TextColumn("Weigh out, as is", wide=True, orderable=False)
    cover = MarkColumn("Cover")

    def render_lots(self, value: tuple[tuple[str, str], ...]) -> Any:
        """Name each lot and what to weigh out of it."""
        return format_html_join(
            "; ",
            '{} of <a class="code" href="{}">{}</a>{}',
            ((mass, *_where(ref)) for ref, mass in value),
        )


def _where(ref: str) -> tuple[str, str, str]:
    """Return address, reference and state of a lot, or of packs that are on their way."""
    purchase, on_its_way, _ = ref.partition("/")
    if on_its_way:
        return reverse("purchase", args=[purchase]), ref, ", on its way"
    return reverse("lot", args=[ref]), ref, ""


@dataclass(frozen=True, slots=True)
class PartRow:
    """One part of the cost of a good sheet; ``key`` is its pattern in the bar."""

    label: str
    because: str
    minor: Decimal
    share: Decimal
    key: Any


class PartTable(LedgerTable):
    """The cost of a good sheet in parts."""

    caption = "Cost of a good sheet, in parts"
    caption_unseen = True
    shape = "parts"
    total_word = "Cost of a good sheet"

    label = RowHeader("Part", link=None, orderable=False)
    because = TextColumn("Reckoned from", wide=True, orderable=False)
    minor = MoneyColumn("A sheet", total=True, orderable=False)
    share = ShareColumn("Share", money=True, places=0, total=True, orderable=False)

    def render_label(self, value: str, record: PartRow) -> Any:
        """Set the pattern of the bar before the name."""
        context = {"part": record.key, "id": "cost-part"}
        return format_html("{}{}", render_to_string("components/key.html", context), value)


@dataclass(frozen=True, slots=True)
class PriceRow:
    """Cost and price at one number of good sheets."""

    quantity: int
    cost: Decimal
    setup: Decimal
    price: int
    price_total: int
    tax: int


class PriceTable(LedgerTable):
    """Cost and price at several numbers."""

    shape = "three"

    quantity = RowHeader("Good sheets", link=None, figure=True, orderable=False)
    cost = MoneyColumn("Cost each", orderable=False)
    setup = MoneyColumn("Set-up", orderable=False)
    price = MoneyColumn("Price each", orderable=False)
    price_total = MoneyColumn("Price in all", orderable=False)
    tax = MoneyColumn("Tax on it", orderable=False)
