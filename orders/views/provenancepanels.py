"""What pages show of provenance: from where, and what became of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest

from fibres.models import Lot
from orders import provenance, repeating, wording
from orders import provenancewording as words
from orders.calc.makingsheet import MakingSheet
from orders.calc.statement import WORDS
from orders.models import Commission, Delivery, Making
from orders.provenance import Became, Origin, Part
from orders.provenancetables import (
    DifferenceTable,
    DrawnTable,
    LotRow,
    MadeRow,
    MadeTable,
    TracedTable,
)
from orders.views.shapes import today
from studio.context import current_studio
from studio.lists import house_table
from studio.tables import LedgerTable
from studio.working import Line

MAKINGS_ON_A_PAGE = 100


@dataclass(frozen=True, slots=True)
class FromWhere:
    """Where the fibre of one making came from, ready to be shown."""

    making: Making
    is_so_far: bool
    drawn: LedgerTable
    traced: LedgerTable | None
    said: str
    lines: list[Line]
    claim: str
    is_claim_kept: bool
    permanence: str
    card: str


def from_where(
    request: HttpRequest, makings: Iterable[Making], *, claim: Decimal | None = None
) -> dict[str, Any]:
    """Return the section on where the fibre of makings came from; empty where nothing is known.

    ``claim`` is the least recycled share that was agreed for them.
    """
    found = provenance.origins(makings, request.user)
    return {"whence": [_from_where(request, origin, claim) for origin in found]}


def claim_of(commission: Commission | None) -> Decimal | None:
    """Return the least recycled share that was agreed with a client; None where none was."""
    return commission.claim_recycled if commission else None


def _from_where(request: HttpRequest, origin: Origin, claim: Decimal | None) -> FromWhere:
    statement = origin.statement
    beside = statement.beside(claim) if claim and statement.total_mg else None
    system = current_studio(request).units
    making = origin.making
    is_so_far = bool(making.is_open)
    so_far = ", so far" if is_so_far else ""
    return FromWhere(
        making=making,
        is_so_far=is_so_far,
        drawn=house_table(
            request,
            DrawnTable,
            [_row(part) for part in origin.drawn],
            prefix=f"drawn-{making.pk}-",
            paginate=False,
            caption=f"Lots weighed out for {making.ref}{so_far}",
        ),
        traced=house_table(
            request,
            TracedTable,
            [_row(part) for part in origin.traced],
            prefix=f"traced-{making.pk}-",
            paginate=False,
            caption=f"In the broke and heel that went into {making.ref}",
        )
        if origin.traced
        else None,
        said=statement.sentences(),
        lines=statement.lines(system),
        claim=beside.words() if beside else "",
        is_claim_kept=beside is None or beside.is_kept,
        permanence=origin.permanence,
        card=words.card(origin, system),
    )


def _row(part: Part) -> LotRow:
    lot = part.lot
    counts_as = "in-house" if part.is_own else lot.fibre.source_class
    return LotRow(
        ref=lot.ref,
        address=lot.get_absolute_url(),
        fibre=lot.fibre.name,
        source=lot.source_name,  # type: ignore[attr-defined]
        source_address=lot.source.get_absolute_url(),
        as_is_mg=part.drawn.as_is_mg if part.drawn else None,
        oven_dry_mg=part.drawn.oven_dry_mg if part.drawn else None,
        share=part.share,
        counts_as=WORDS[counts_as],
        through=wording.named([making.ref for making in part.through]) if part.through else "",
    )


def makings_in(delivery: Delivery) -> QuerySet[Making]:
    """Return the makings whose sheets are in a delivery."""
    sent = delivery.sheet_movements.order_by().values("making")
    return Making.objects.filter(pk__in=sent).order_by("pk")


# --- what became of it --------------------------------------------------------------------------


def became(request: HttpRequest, lots: QuerySet[Lot]) -> dict[str, Any]:
    """Return the section on what became of the fibre of lots."""
    found = provenance.became_of(lots, request.user)
    return {
        "became": made_table(request, found, paginate=True),
        "became_said": words.became_in_words(found, today(), current_studio(request).units),
    }


def made_table(
    request: HttpRequest,
    found: Sequence[Became],
    *,
    prefix: str = "became-",
    paginate: bool = False,
) -> LedgerTable:
    """Return the table of makings that fibre went into; a card shows all of them."""
    return house_table(
        request,
        MadeTable,
        [_made(one) for one in found],
        prefix=prefix,
        paginate=paginate,
        per_page=MAKINGS_ON_A_PAGE,
    )


def _made(one: Became) -> MadeRow:
    making = one.making
    is_over = making.finished_on is not None
    return MadeRow(
        ref=making.ref,
        address=making.get_absolute_url(),
        sheet=making.sheet.name,
        day=making.finished_on,
        share=one.share,
        good=one.good if is_over else None,
        retree=one.retree if is_over else None,
        state_mark=making.state_mark,
        how="broke or heel" if one.is_in_broke_alone else "fibre",
    )


# --- a making beside the one that it repeats ----------------------------------------------------


def compared(
    request: HttpRequest, making: Making, sheet: MakingSheet | None = None
) -> dict[str, Any]:
    """Return the section on what differs from the making that is repeated, if it repeats one."""
    system = current_studio(request).units
    found = repeating.compared(making, sheet, user=request.user, system=system)
    if found is None:
        return {"compared": None}
    table = house_table(
        request, DifferenceTable, list(found.lines), prefix="compared-", paginate=False
    )
    return {"compared": found, "compared_table": table}
