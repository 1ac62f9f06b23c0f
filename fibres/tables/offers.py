"""Tables of offers: the list, and those of one fibre compared."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from fibres.calc import moisture as wet
from fibres.calc.comparing import Bill, Comparison
from fibres.calc.offerwords import exact
from fibres.calc.pricing import price_per_oven_dry_kg
from fibres.models import Offer
from studio.money import show_by_mass
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
from studio.templatetags.studio import day as day_words
from studio.units import System

PER = {"as-is": "as sold", "air-dry": "air-dry", "oven-dry": "oven-dry"}


def standing(offer: Offer, today: datetime.date) -> tuple[str, str]:
    """Return the mark and the word for how an offer stands on a day."""
    if offer.is_closed:
        return "closed", "Closed"
    if offer.valid_to and offer.valid_to < today:
        return "closed", "Ended"
    return ("agreed", "Holds") if offer.holds_on(today) else ("asked", "To come")


def breaks_in_words(offer: Offer, currency: str, system: System = "metric") -> str:
    """Word the price breaks of an offer, "from 4: £11.50, from 10: £10.90", and how they count.

    Each is for a kilogram or a pound, as the price in the column beside them.
    """
    words = ", ".join(
        f"from {step.from_packs}: {show_by_mass(step.minor_per_kg, currency, system)[0]}"
        for step in offer.breaks.all()
    )
    is_stepped = words and offer.breaks_are == Offer.Breaks.INCREMENTAL
    return f"{words}; step by step" if is_stepped else words


def until(offer: Offer) -> str:
    """Word the day that an offer waits for, or the last day on which it holds."""
    if offer.valid_from and offer.valid_from > timezone.localdate():
        return f"from {day_words(offer.valid_from)}"
    return f"to {day_words(offer.valid_to)}" if offer.valid_to else ""


def price_basis(offer: Offer) -> str:
    """Word what the price of an offer is for a kilogram of."""
    return PER[offer.price_per]


def price_oven_dry(offer: Offer) -> Decimal:
    """Return the price of an offer for a kilogram oven-dry, in minor units."""
    return price_per_oven_dry_kg(
        offer.minor_per_kg,
        basis=offer.price_per,  # type: ignore[arg-type]
        moisture=offer.moisture,
    )


class OfferTable(LedgerTable):
    """What is offered, by whom, and at what price."""

    caption = "Offers"
    caption_unseen = True
    shape = "three"
    nothing = "No offer has been entered yet."

    fibre = RowHeader("Fibre", accessor="fibre__name", second="form")
    form = TextColumn("Form", visible=False)
    source = TextColumn("From", accessor="source_name", wide=True)
    pack = KgColumn("Pack", accessor="pack_mg", basis="as sold")
    dry = KgColumn("Pack", accessor="pk", basis="oven-dry", visible=False)
    moisture = ShareColumn("Moisture", visible=False)
    least = CountColumn("Fewest packs", accessor="least_packs", visible=False)
    price = MoneyColumn("Price", accessor="minor_per_kg", per="kg", second=price_basis)
    per = TextColumn("Price is for", accessor="price_per", visible=False, money=True)
    dry_price = MoneyColumn("Oven-dry", accessor="pk", per="kg", orderable=False)
    breaks = TextColumn("Breaks", accessor="pk", wide=True, money=True, orderable=False)
    valid_from = DayColumn("Holds from", visible=False)
    valid_to = DayColumn("Holds to", visible=False)
    stands = MarkColumn("Stands", accessor="pk", second=until)

    def __init__(self, *args: Any, sees_money: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, sees_money=sees_money, **kwargs)
        # The page of an offer is where it is changed; who reads only is led to its source.
        if not sees_money and "fibre" in self.columns.columns:
            self._column("fibre").leads_to = "source.get_absolute_url"
        self._column("pack").second = self._in_a_pack

    def _in_a_pack(self, offer: Offer) -> str:
        """Word the fibre in a pack, and the fewest packs sold where that is more than one."""
        dry = f"{self._column('dry').render(self._dry_mg(offer))} oven-dry"
        return f"{dry}; {offer.least_packs} or more" if offer.least_packs > 1 else dry

    @staticmethod
    def _dry_mg(offer: Offer) -> int:
        return wet.oven_dry_mg(offer.pack_mg, offer.moisture)

    def value_dry(self, record: Offer) -> Decimal:
        """Give the oven-dry mass of a pack."""
        return self._column("dry").value(self._dry_mg(record))

    def value_per(self, record: Offer) -> str:
        """Say what the price is for."""
        return price_basis(record)

    def value_dry_price(self, record: Offer) -> Decimal:
        """Give the price of an oven-dry kilogram."""
        return self._column("dry_price").value(price_oven_dry(record))

    def render_dry_price(self, record: Offer) -> str:
        """Show the price of an oven-dry kilogram."""
        return self._column("dry_price").render(price_oven_dry(record))

    def render_breaks(self, record: Offer) -> str:
        """Word the price breaks."""
        return breaks_in_words(record, self.currency, self.units)

    def value_breaks(self, record: Offer) -> str:
        """Word the same in a file."""
        return breaks_in_words(record, self.currency, self.units)

    def render_stands(self, record: Offer) -> Any:
        """Say whether it holds today."""
        return self._column("stands").render(standing(record, timezone.localdate()))

    def value_stands(self, record: Offer) -> str:
        """Say the same in a file."""
        return standing(record, timezone.localdate())[1]

    def _column(self, name: str) -> Any:
        return self.columns[name].column


class ComparedRow:
    """One offer of a comparison as the table reads it; a winner says so under its figure."""

    def __init__(self, bill: Bill, comparison: Comparison, source_pk: int | None = None) -> None:
        offer = bill.offer
        self.plan = _plan_link(offer.name, source_pk)
        self.name = offer.name
        self.title = offer.title
        self.detail = offer.detail
        self.packs = bill.packs
        self.why_more = bill.why_more
        self.order = f"{bill.packs} × {offer.detail} {bill.why_more}".rstrip()
        self.oven_dry_mg = bill.oven_dry_mg
        self.usable_mg = bill.usable_mg
        self.goods_minor = bill.goods_minor
        self.freight_minor = bill.freight_minor
        self.cash_minor = bill.cash_minor
        self.delivered = exact(bill.cash_per_usable_kg)
        self.before_freight = exact(bill.goods_per_oven_dry_kg)
        self.order_on = bill.order_on
        self.arrives_on = bill.arrives_on
        self.least_cash = _least(bill is comparison.least_cash)
        self.least_delivered = _least(bill is comparison.least_delivered)
        self.least_before_freight = _least(bill is comparison.least_before_freight)


def _plan_link(source: str, source_pk: int | None) -> str:
    """Return the link on to planning an order, which names its source when read out."""
    if source_pk is None:
        return ""
    return format_html(
        '<a class="tall" href="{}?source={}">Plan an order<span class="unseen"> to {}</span></a>',
        reverse("purchase_new"),
        source_pk,
        source,
    )


def _least(is_winner: bool) -> str:
    return "least" if is_winner else ""


class CompareTable(LedgerTable):
    """Offers of one fibre, each in the cheapest order that covers what is wanted."""

    caption = "Offers, each in the cheapest order that covers what is wanted"
    caption_unseen = True
    shape = "three"
    nothing = "Nothing is offered of this fibre that can be ordered."

    offer = RowHeader("Offer", accessor="name", link=None, second="order")
    packs = CountColumn("Packs", visible=False)
    detail = TextColumn("Pack", visible=False)
    dry = KgColumn("Oven-dry", accessor="oven_dry_mg")
    usable = KgColumn("Usable", accessor="usable_mg", visible=False)
    goods = MoneyColumn("Goods", accessor="goods_minor", visible=False)
    freight = MoneyColumn("Freight", accessor="freight_minor")
    cash = MoneyColumn("Cash", accessor="cash_minor", second="least_cash")
    delivered = MoneyColumn("Delivered usable", per="kg", second="least_delivered")
    before_freight = MoneyColumn("Goods dry", per="kg", second="least_before_freight")
    order_on = DayColumn("Order on", visible=False)
    arrives = DayColumn("Here by", accessor="arrives_on")
    why_more = TextColumn("More packs than needed", visible=False)
    # On the page of who may buy; left out of files.
    plan = TextColumn("Next", wide=True, orderable=False)
