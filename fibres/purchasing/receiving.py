"""Taking what came of an order into the store, each kind as a lot with its share of the price."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from fibres import services
from fibres.calc.parting import part_of_packs
from fibres.models import Arrival, Lot, Purchase, PurchaseLine
from fibres.purchasing import rows
from studio.entries import acting
from studio.errors import RangeError, StudioError
from studio.models import Entry


@dataclass(frozen=True, slots=True)
class Arrived:
    """Packs of one line that came together, as they were weighed, and how wet they are."""

    line: PurchaseLine
    packs: int
    as_is_mg: int
    moisture: Decimal
    moisture_known: str = Lot.MoistureKnown.LABEL
    is_wet: bool = False
    place: str = ""
    remarks: str = ""


@acting()
def receive(
    purchase: Purchase,
    arrivals: Sequence[Arrived],
    *,
    received_on: date,
    by: Any,
    key: uuid.UUID | None = None,
) -> list[Lot]:
    """Take packs that came into the store; each arrival becomes a lot of its own.

    The first arrivals of a line bear the first part of its price, the last what is left of it.
    """
    purchase = rows.on_its_way(rows.held(purchase, key))
    _refuse_early(received_on, purchase)
    if not arrivals:
        raise StudioError("Give the packs that came, of at least one line.")
    # The lock on the purchase keeps others from its lines: who receives, asks for it first.
    lines = {line.pk: line for line in purchase.lines.select_related("fibre")}
    packs = rows.in_packs(sum(arrived.packs for arrived in arrivals))
    said = f"Received {packs} of {purchase.ref} from {purchase.source}"
    entry = rows.enter_for(purchase, "receive purchase", said, by=by, key=key)
    receipt = _Receiving(purchase, purchase.freight_by_line(), received_on, entry, by)
    lots = [receipt.take_in(_line_of(arrived, lines), arrived) for arrived in arrivals]
    is_whole = all(not line.packs_to_come for line in lines.values())
    purchase.state = Purchase.State.RECEIVED if is_whole else Purchase.State.PART_RECEIVED
    rows.save(purchase, "state")
    return lots


@dataclass(frozen=True, slots=True)
class _Receiving:
    """One act of receiving: what all its lots have in common."""

    purchase: Purchase
    freights: Mapping[int, int]
    received_on: date
    entry: Entry
    by: Any

    def take_in(self, line: PurchaseLine, arrived: Arrived) -> Lot:
        """Make a lot of one arrival, and keep what it came of."""
        split = {"packs": line.packs, "before": line.packs_received, "come": arrived.packs}
        goods = part_of_packs(line.goods_minor, **split)
        freight = part_of_packs(self.freights[line.pk], **split)
        lot = services.receive(
            services.Receipt(
                fibre=line.fibre,
                source=self.purchase.source,
                as_is_mg=arrived.as_is_mg,
                moisture=arrived.moisture,
                moisture_known=arrived.moisture_known,
                received_on=self.received_on,
                form=line.form,
                is_wet=arrived.is_wet,
                place=arrived.place,
                paid_minor=goods + freight,
                remarks=arrived.remarks,
            ),
            by=self.by,
            entry=self.entry,
        )
        Arrival.objects.create(
            line=line,
            lot=lot,
            packs=arrived.packs,
            goods_minor=goods,
            freight_minor=freight,
            entry=self.entry,
        )
        line.packs_received += arrived.packs
        line.save(update_fields=["packs_received"])
        return lot


def _line_of(arrived: Arrived, lines: Mapping[int, PurchaseLine]) -> PurchaseLine:
    """Return the line as it is now; more packs than are to come are refused."""
    line = lines.get(arrived.line.pk)
    if line is None:
        raise StudioError(
            "This line is no part of the purchase any more. Look at it again.",
            value=arrived.line.pk,
        )
    if not 0 < arrived.packs <= line.packs_to_come:
        to_come = rows.in_packs(line.packs_to_come) if line.packs_to_come else "nothing"
        raise RangeError(
            f"Of {line.fibre}, {to_come} can still come, got {arrived.packs}. Enter what came "
            "beyond the order as a lot of its own.",
            field=f"packs_{line.pk}",
            value=arrived.packs,
        )
    return line


def _refuse_early(received_on: date, purchase: Purchase) -> None:
    rows.refuse_ahead(received_on, "received_on")
    ordered_on = purchase.ordered_on
    if ordered_on and received_on < ordered_on:
        raise RangeError(
            f"{purchase.ref} was ordered on {rows.in_words(ordered_on)}. Give that day or a "
            "later one.",
            field="received_on",
            value=received_on,
        )
