"""The tables about what to buy: a balance ahead, the plan of purchases, Today's flags."""

from __future__ import annotations

from dataclasses import dataclass

from studio.tables import (
    CountColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    RowHeader,
    TextColumn,
)

Mark = tuple[str, str]


@dataclass(frozen=True, slots=True)
class BalanceRow:
    """A day on which the balance of a fibre changes."""

    day: str
    what: str
    change_mg: int | None
    balance_mg: int


class BalanceTable(LedgerTable):
    """The balance of one fibre ahead, change by change."""

    caption_unseen = True
    shape = "three"

    day = RowHeader("Day", link=None, orderable=False)
    what = TextColumn("What", wide=True, orderable=False)
    change_mg = KgColumn("Change", basis="usable", places=3, orderable=False)
    balance_mg = KgColumn("Balance", basis="usable", places=3, orderable=False)


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One line of an order; freight, sum and day stand on the first line of each."""

    fibre: str
    pack: str
    address: str
    source: str
    lead: str
    packs: int
    as_sold_mg: int | None
    oven_dry_mg: int
    goods_minor: int
    freight_minor: int | None
    total_minor: int | None
    order_by: Mark | None


class PlanTable(LedgerTable):
    """The purchases of a plan, by source."""

    shape = "three"
    total_word = "Whole plan"

    fibre = RowHeader("Buy", link="address", second="pack", orderable=False)
    source = TextColumn("From", second="lead", wide=True, orderable=False)
    packs = CountColumn("Packs", orderable=False)
    as_sold_mg = KgColumn("As sold", in_caption=True, total=True, orderable=False)
    oven_dry_mg = KgColumn("Oven-dry", in_caption=True, total=True, orderable=False)
    goods_minor = MoneyColumn("Fibre", total=True, orderable=False)
    freight_minor = MoneyColumn("Freight", total=True, orderable=False)
    total_minor = MoneyColumn("In all", total=True, orderable=False)
    order_by = MarkColumn("Order by")


@dataclass(frozen=True, slots=True)
class FlagRow:
    """A fibre about which something has to be done."""

    fibre: str
    address: str
    why: str
    short_oven_dry_mg: int
    mark: Mark


class FlagTable(LedgerTable):
    """Fibres that have to be ordered soon, or that cannot be had in time."""

    caption = "Fibres to order"
    caption_unseen = True

    fibre = RowHeader("Fibre", link="address", orderable=False)
    why = TextColumn("Why", wide=True, orderable=False)
    short_oven_dry_mg = KgColumn("Missing", basis="oven-dry", places=3, orderable=False)
    mark = MarkColumn("Order")
