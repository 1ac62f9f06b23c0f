"""Tables of what is ordered and of what came of it."""

from __future__ import annotations

from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.dateformat import format as day_in_words

from fibres.models import Arrival, Purchase, Source
from fibres.purchasing import is_wetter, moisture_received
from studio.tables import (
    CountColumn,
    DayColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)
from studio.units import System


def days_late(purchase: Purchase) -> int:
    """Return for how many days a purchase is overdue; 0 where it is not."""
    if not purchase.is_on_its_way or purchase.expected_on is None:
        return 0
    return max(0, (timezone.localdate() - purchase.expected_on).days)


def late_in_words(purchase: Purchase) -> str:
    """Say for how long a purchase is overdue, or nothing."""
    days = days_late(purchase)
    return f"{days} {'day' if days == 1 else 'days'} late" if days else ""


def order_by_in_words(purchase: Purchase) -> str:
    """Say by when a planned purchase is to be ordered, or nothing."""
    if purchase.state != Purchase.State.PLANNED or purchase.order_by is None:
        return ""
    return f"by {day_in_words(purchase.order_by, 'j M')}"


def masses_in_words(units: System, more: str = "") -> str:
    """Return the caption that says unit and basis for the columns under it."""
    unit = "Pounds" if units == "US" else "Kilograms"
    return f"{unit}, oven-dry at the moisture agreed{more}"


class PurchaseTable(LedgerTable):
    """Every purchase with what is to come of it."""

    caption = "Oven-dry, at the moisture agreed"
    nothing = "Nothing has been ordered yet."

    purchase = RowHeader("Purchase", accessor="ref", code=True)
    source = TextColumn("From", accessor="source_name")
    ordered = DayColumn("Ordered", accessor="ordered_on", second=order_by_in_words)
    expected = DayColumn("Expected", accessor="expected_on", second=late_in_words)
    late = TextColumn("Late", accessor="ref", visible=False, orderable=False)
    to_come = KgColumn("To come", accessor="to_come_mg", basis="oven-dry", in_caption=True)
    goods = MoneyColumn("Goods", accessor="goods_minor")
    freight = MoneyColumn("Freight", accessor="freight_minor")
    state = MarkColumn("State", accessor="state_mark")

    def render_late(self, record: Purchase) -> str:
        """Say how late it is."""
        return late_in_words(record)

    def value_late(self, record: Purchase) -> str:
        """Say the same in a file."""
        return late_in_words(record)


class PurchaseLineTable(LedgerTable):
    """The lines of one purchase."""

    caption = "Oven-dry, at the moisture agreed; the pack as sold"
    shape = "three"
    total_word = "In all"

    fibre = RowHeader(
        "Fibre", accessor="fibre__name", link="fibre.get_absolute_url", second="form"
    )
    packs = CountColumn("Packs")
    pack = KgColumn("Pack", accessor="pack_mg", basis="as sold", in_caption=True)
    moisture = ShareColumn("Moisture")
    oven_dry = KgColumn(
        "Ordered", accessor="oven_dry_mg", basis="oven-dry", in_caption=True, total=True
    )
    came = CountColumn("Came", accessor="packs_received")
    to_come = KgColumn(
        "To come", accessor="still_to_come_mg", basis="oven-dry", in_caption=True, total=True
    )
    goods = MoneyColumn("Goods", accessor="goods_minor", total=True)


def moisture_known(arrival: Arrival) -> str:
    """Return how the moisture of what came is known, and whether it is more than agreed."""
    known = str(arrival.lot.get_moisture_known_display()).lower()
    return f"{known}, wetter" if is_wetter(arrival) else known


class ArrivalTable(LedgerTable):
    """What came of one purchase, lot by lot."""

    caption = "Moisture as agreed, and as it was found"
    shape = "three"
    nothing = "Nothing has come of it yet."

    lot = RowHeader(
        "Lot",
        accessor="lot__ref",
        link="lot.get_absolute_url",
        code=True,
        second="lot.fibre.name",
    )
    received = DayColumn("Received", accessor="lot__received_on")
    packs = CountColumn("Packs")
    as_is = KgColumn("As-is", accessor="lot__as_is_mg", total=True)
    agreed = ShareColumn("Agreed", accessor="line__moisture")
    found = ShareColumn("Found", accessor="lot", second=moisture_known, orderable=False)
    oven_dry = KgColumn("Oven-dry", accessor="lot__received_oven_dry_mg", total=True)
    goods = MoneyColumn("Goods", accessor="goods_minor", total=True)
    freight = MoneyColumn("Freight", accessor="freight_minor", total=True)

    def render_found(self, record: Arrival) -> str:
        """Show the moisture it came with."""
        column = self.columns["found"].column
        return str(column.render(self._found(record)))

    def value_found(self, record: Arrival) -> Any:
        """Give the same as a number."""
        return self.columns["found"].column.value(self._found(record))

    @staticmethod
    def _found(record: Arrival) -> Any:
        found = moisture_received(record.lot)
        return record.lot.moisture if found is None else found


def address_to_order(source: Source) -> str:
    """Return where an order to a source is planned."""
    return f"{reverse('purchase_new')}?source={source.pk}"


class SourceToOrderTable(LedgerTable):
    """The sources that something can be ordered from."""

    caption = "Sources with open offers"
    caption_unseen = True
    shape = "few stay"
    nothing = "No source offers anything yet. Enter what it asks for a fibre on its page."

    source = RowHeader("Source", accessor="name", link=address_to_order)
    offers = CountColumn("Offers", accessor="offer_count")
    lead = CountColumn("Days to delivery", accessor="lead_days")
