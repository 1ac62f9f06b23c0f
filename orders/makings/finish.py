"""Finishing a making: everything that was noted at the vat moves the store at once, or nothing."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from itertools import count
from typing import Any

from django.utils import timezone

from fibres import ledger
from fibres.models import Fibre, Lot, Movement, Source
from fibres.services import Receipt, receive
from fibres.wording import mass_words
from orders.makings.balance import MassBalance, balance_of, fibre_in_a_sheet, sheets_of
from orders.makings.keptas import WET_FROM
from orders.makings.log import at_the_vat, page_of
from orders.models import Issue, Making, SheetMovement
from studio.entries import acting, enter, refuse_repeat
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Entry

__all__ = [
    "MassBalance",
    "balance_of",
    "fibre_in_a_sheet",
    "finish",
    "own_source",
    "sheets_of",
    "unready",
]

OWN_SOURCE = "The studio"


def unready(making: Making) -> list[str]:
    """Say what keeps a making from being finished, besides what its lots no longer hold."""
    faults = []
    if not making.issues.exists():
        faults.append("Nothing has been weighed out for it. Enter what was taken from which lot.")
    if not making.heel:
        faults.append("Say what is left in the vat: kept, thrown away, or nothing.")
    return faults


def short_lots(issues: Sequence[Issue], lots: dict[int, Lot]) -> list[str]:
    """Say which lots no longer hold what was weighed out of them."""
    wanted: dict[int, int] = {}
    for issue in issues:
        wanted[issue.lot_id] = wanted.get(issue.lot_id, 0) + issue.oven_dry_mg
    faults = []
    for pk, mass in wanted.items():
        held = lots[pk].oven_dry_mg
        if mass > held:
            has, asked = mass_words(held, mass)
            faults.append(
                f"Lot {lots[pk].ref} holds {has} oven-dry by now and {asked} was weighed out of "
                "it. Put that right in the lot, or put back what was not taken."
            )
    return faults


@acting()
def finish(
    making: Making,
    *,
    finished_on: date | None = None,
    accept_over: bool = False,
    by: Any,
    key: uuid.UUID | None = None,
) -> Making:
    """Post issues, broke, heel and sheets in one entry, and close the log.

    ``accept_over`` finishes a making though more fibre is counted in it than was issued: a sheet
    that is heavier than it was taken to be is no reason to leave the store wrong.
    """
    if key is not None:
        refuse_repeat(key)
    held = at_the_vat(making)
    issues = list(held.issues.order_by("lot_id", "pk"))
    _refuse_unready(held, issues)
    balance = balance_of(held)
    _refuse_too_much(held, balance, accept_over=accept_over)
    day = finished_on or timezone.localdate()
    entry = enter(
        "finish making",
        f"Finished {held.ref}: {balance.good} good and {balance.retree} retree sheets",
        page=page_of(held),
        key=key,
        by=by,
    )
    _post_issues(held, issues, day, entry)
    held.broke_lot = _lot_of(
        held, "Broke", held.broke_fibre, held.broke_as_is_mg, held.broke_moisture, day, entry
    )
    if held.heel == Making.Heel.KEPT:
        held.heel_lot = _lot_of(
            held, "Heel", held.heel_fibre, held.heel_as_is_mg, held.heel_moisture, day, entry
        )
    _post_sheets(held, balance, day, entry)
    held.state, held.finished_on = Making.State.FINISHED, day
    held.save(update_fields=["state", "finished_on", "broke_lot", "heel_lot"])
    return held


def _refuse_unready(making: Making, issues: Sequence[Issue]) -> None:
    """Refuse with every reason at once; the lots stay locked until all has moved."""
    keys = sorted({issue.lot_id for issue in issues})
    lots = {
        lot.pk: lot for lot in Lot.objects.select_for_update().filter(pk__in=keys).order_by("pk")
    }
    short = short_lots(issues, lots)
    faults = [*unready(making), *short]
    if faults:
        kind = NotEnoughError if short else StudioError
        raise kind(" ".join(faults))


def _refuse_too_much(making: Making, balance: MassBalance, *, accept_over: bool) -> None:
    added_mg = sum(making.doses.values_list("mass_mg", flat=True))
    if balance.kept_mg > balance.issued_mg + added_mg:
        kept, issued = mass_words(balance.kept_mg, balance.issued_mg + added_mg)
        raise RangeError(
            f"Broke and heel come to {kept} oven-dry, and {issued} went into the making. Weigh "
            "them again, and look at their moisture: drained pulp is mostly water.",
            value=balance.kept_mg,
        )
    if balance.over_mg and not accept_over:
        (over,) = mass_words(balance.over_mg)
        raise RangeError(
            f"Sheets, broke and heel come to {over} more than was issued. Count again, or weigh a "
            "sheet; if it is right all the same, say so and finish.",
            field="accept_over",
            value=balance.over_mg,
        )


def _post_issues(making: Making, issues: Sequence[Issue], day: date, entry: Entry) -> None:
    for issue in issues:
        lot = Lot.objects.get(pk=issue.lot_id)
        issue.movement = ledger.post(
            lot,
            Movement.Kind.ISSUED,
            -issue.oven_dry_mg,
            happened_on=day,
            entry=entry,
            as_is_mg=-issue.as_is_mg,
            moisture=issue.moisture,
            why=f"Making {making.ref}",
        )
        issue.save(update_fields=["movement"])


def _lot_of(
    making: Making,
    what: str,
    fibre: Fibre | None,
    as_is_mg: int | None,
    moisture: Decimal | None,
    day: date,
    entry: Entry,
) -> Lot | None:
    """Enter what is kept as a lot of its own; it was paid for with the making's own fibre."""
    if fibre is None or not as_is_mg or moisture is None:
        return None
    return receive(
        Receipt(
            fibre=fibre,
            source=own_source(),
            as_is_mg=as_is_mg,
            moisture=moisture,
            received_on=day,
            moisture_known=Lot.MoistureKnown.ASSUMED,
            form=f"{what} of {making.ref}",
            is_wet=moisture >= WET_FROM,
            paid_minor=0,
            sorting_minutes=Decimal(0),
        ),
        by=entry.by,
        entry=entry,
    )


def own_source() -> Source:
    """Return the studio as a source, entered the first time it is needed."""
    found = Source.objects.filter(kind=Source.Kind.STUDIO, closed_on=None).order_by("pk").first()
    if found is None:
        # Closed sources, and those of others, keep their names.
        names = (f"{OWN_SOURCE} {number}" if number > 1 else OWN_SOURCE for number in count(1))
        name = next(one for one in names if not Source.objects.filter(name__iexact=one).exists())
        found = Source(name=name, kind=Source.Kind.STUDIO)
        found.full_clean()
        found.save()
    return found


def _post_sheets(making: Making, balance: MassBalance, day: date, entry: Entry) -> None:
    quality = SheetMovement.Quality
    for name, sheets in ((quality.GOOD, balance.good), (quality.RETREE, balance.retree)):
        if not sheets:
            continue
        made = SheetMovement(
            making=making,
            quality=name,
            kind=SheetMovement.Kind.MADE,
            sheets=sheets,
            happened_on=day,
            entry=entry,
        )
        made.full_clean(exclude=["delivery", "making", "entry"], validate_unique=False)
        made.save()
