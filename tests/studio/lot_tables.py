"""A ledger table with one column of every kind, for the tests of tables."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from studio.charts import Gauge
from studio.tables import (
    CountColumn,
    DayColumn,
    GaugeColumn,
    KgColumn,
    LedgerTable,
    MarkColumn,
    MoneyColumn,
    NumberColumn,
    RowHeader,
    ShareColumn,
    TextColumn,
)
from tests.studio.pages import Page

NB = "\u00a0"
MINUS = "\u2212"


@dataclass(frozen=True)
class Lot:
    """A row as a snapshot gives it."""

    ref: str = "L-0361"
    fibre: str = "Cotton linter"
    source: str = "Greyling Fibres"
    received: datetime.date | None = datetime.date(2026, 9, 2)
    moisture: Decimal | None = Decimal("0.065000")
    known: str = "label"
    left_mg: int | None = 14_620_000
    short_mg: int | None = 0
    sheets: int | None = 2
    cost: int | None = 740
    grammage: Decimal | None = Decimal("110.0")
    mark: Any = ("covered", "Covered")
    bar: Gauge | None = None
    is_open: bool = True
    url: str = "/lots/L-0361/"

    def get_absolute_url(self) -> str:
        return self.url


class LotTable(LedgerTable):
    caption = "Lots with fibre left"
    total_word = "All lots"

    lot = RowHeader("Lot", accessor="ref", code=True, named="fibre", second="source")
    source = TextColumn("From", wide=True)
    received = DayColumn("Received")
    moisture = ShareColumn("Moisture", second="known")
    left = KgColumn("Left", accessor="left_mg", basis="oven-dry", total=True)
    short = KgColumn("Short", accessor="short_mg", lack=True)
    sheets = CountColumn("Sheets", total=True)
    cost = MoneyColumn("Cost", per="kg")
    grammage = NumberColumn("Grammage", unit="g/m²")
    mark = MarkColumn("State")
    bar = GaugeColumn("How it stands")
    is_open = TextColumn("Open")


def page(table: LedgerTable) -> Page:
    read = Page(str(table.html))
    assert read.misnested == []
    return read


def cell(table: LedgerTable, heading: str) -> Any:
    """Return the one cell under a heading."""
    found = [e for e in page(table).all("td", data_label=heading) if "tbody" in e.inside]
    assert len(found) == 1
    return found[0]
