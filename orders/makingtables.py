"""The tables of makings: the list, and what is weighed out for one."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.urls import reverse

from orders.calc.makingsheet import WeighOut
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


class MakingTable(LedgerTable):
    """Makings with their day and state."""

    caption = "Makings"
    caption_unseen = True
    nothing = "No making is planned yet. Plan one, and its sheet says what to weigh out."

    ref = RowHeader("Making", code=True, named="sheet__name", second="for_words")
    planned_on = DayColumn("Day at the vat")
    wanted_good = CountColumn("Good wanted")
    pulls = CountColumn("Pulls")
    good = CountColumn("Good made")
    for_words = TextColumn("For", visible=False, orderable=False)
    sheet = TextColumn("Sheet", accessor="sheet__name", visible=False)
    state = MarkColumn("State", accessor="state_mark", orderable=True, order_by="state")


class AtHandTable(MakingTable):
    """Makings that run, and those of the next days."""

    caption = "Makings at the vat, and of the next days"

    class Meta:
        exclude = ("good",)
        orderable = False


@dataclass(frozen=True, slots=True)
class WeighRow:
    """One lot to weigh out of, with where it lies."""

    lot: str
    fibre: str
    place: str
    as_is_mg: int
    moisture: Decimal
    oven_dry_mg: int
    done: str

    @classmethod
    def of(cls, row: WeighOut) -> WeighRow:
        """Return a row of a making sheet as the page shows it."""
        done = "Weighed out" if row.is_done else "On its way" if row.is_on_its_way else ""
        return cls(
            row.lot, row.fibre, row.place, row.as_is_mg, row.moisture, row.oven_dry_mg, done
        )

    def get_absolute_url(self) -> str:
        """Return the page of the lot, or of the purchase that brings it."""
        purchase, on_its_way, _ = self.lot.partition("/")
        return (
            reverse("purchase", args=[purchase]) if on_its_way else reverse("lot", args=[self.lot])
        )


class WeighTable(LedgerTable):
    """What a making is weighed out of."""

    caption = "Weigh out"
    caption_unseen = True
    shape = "three"
    nothing = "No lot is found for it."

    lot = RowHeader("Lot", code=True, named="fibre", orderable=False)
    fibre = TextColumn("Fibre", visible=False, orderable=False)
    place = TextColumn("Place", orderable=False)
    as_is_mg = KgColumn("Weigh out", basis="as is", places=3, total=True, orderable=False)
    moisture = ShareColumn("Moisture", orderable=False)
    oven_dry_mg = KgColumn("Holds", basis="oven-dry", places=3, total=True, orderable=False)
    done = TextColumn("Done", orderable=False)

    def __init__(self, data: Any, *, over: bool = False, **kwargs: Any) -> None:
        if over:
            self.nothing = "Nothing was weighed out."
        hidden = [name for name in ("place", "done") if not any(getattr(r, name) for r in data)]
        super().__init__(data, **{"exclude": hidden, **kwargs})
