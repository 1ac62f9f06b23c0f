"""Makings at the vat for tests: a lot to weigh out of, and the fibre that broke is kept as."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from fibres.models import Fibre, Lot
from orders.makings import log
from orders.models import Making
from tests.builders import KG, make_fibre, make_furnish, make_lot, make_making, make_sheet

GRAM = 1000


def broke_fibre() -> Fibre:
    """Make the fibre that own broke is kept as; it keeps wet for a week."""
    return make_fibre(
        code="BR",
        family=Fibre.Family.BROKE,
        source_class=Fibre.SourceClass.IN_HOUSE,
        keeps_wet_days=7,
    )


def making_and_lot(by: Any = None, **lot: Any) -> tuple[Making, Lot]:
    """Start a making of A4 at 120 g/m² whose one fibre lies in a lot of 10 kg at 8 %."""
    fibre = make_fibre()
    found = make_lot(fibre, **lot)
    making = make_making(make_sheet(make_furnish({fibre: "1"})))
    return log.start(making, by=by), found


def logged(by: Any = None, *, as_is_mg: int = 2 * KG, good: int = 100, retree: int = 4) -> Making:
    """Log a making as far as it goes before it is finished: one issue, sheets, no heel."""
    making, lot = making_and_lot(by)
    log.issue(making, lot, as_is_mg=as_is_mg, by=by)
    count(making, by, good=good, retree=retree)
    return log.note_heel(making, Making.Heel.NONE, by=by)


def count(making: Making, by: Any = None, **counts: int) -> None:
    """Count sheets in the first post."""
    for what, number in counts.items():
        if number:
            log.tap(making, what, post=1, change=number, by=by)


def share(percent: str) -> Decimal:
    return Decimal(percent) / 100
