"""What the processes of the fault tests put right in the book, two of them at the same time."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from time import sleep
from typing import Any

from django.core.management import call_command
from django.db import connections, transaction

from fibres import services, stocktaking
from fibres.models import CountLine, Lot, Movement
from orders.audit import audit
from orders.makings import log
from orders.makings.finish import finish
from orders.models import Making
from studio.errors import StudioError
from tests.builders import KG, day, make_fibre, make_lot, make_studio
from tests.orders.vatdays import broke_fibre, logged, share


def makings_that_kept_broke(many: int) -> None:
    """Make the database, and makings of 1.84 kg oven-dry that kept 0.35 kg of it."""
    call_command("migrate", verbosity=0)
    make_studio()
    fibre = broke_fibre()
    for _ in range(many):
        making = logged(good=0, retree=0)
        log.note_broke(making, as_is_mg=KG, moisture=share("65"), fibre=fibre, by=None)
        finish(making, by=None)


def put_right_both_ends(seed: int) -> int:
    """Put less into each making, or more into what it kept; count what was taken."""
    done = 0
    for making in Making.objects.order_by("pk"):
        issued = making.issues.get().movement
        kept = _receipt(making.broke_lot)
        # By hand: 0.92 kg oven-dry go in, or 1.4 kg are kept; both at once cannot be.
        done += _corrected(issued, KG) if seed % 2 else _corrected(kept, 4 * KG)
    return done


def faults_of_the_book() -> list[str]:
    return [str(fault) for fault in audit().faults]


def put_right_while_counted() -> dict[str, int]:
    """Put a receipt right while the count of its lot is being posted; say what the lot holds."""
    call_command("migrate", verbosity=0)
    make_studio()
    lot = make_lot(make_fibre(), as_is_mg=4 * KG, moisture="0")
    receipt = _receipt(lot)
    count = stocktaking.begin(by=None)
    reason = CountLine.Reason.MISWEIGHED
    stocktaking.count_lot(count, lot, as_is_mg=3 * KG, reason=reason, by=None)
    with ThreadPoolExecutor(1) as beside:
        with transaction.atomic():
            stocktaking.post(count, by=None)
            late = beside.submit(_corrected, receipt, 2 * KG)
            # Long enough to get as far as it can before the count is there for all to see.
            sleep(1)
        corrected = late.result()
        beside.submit(connections.close_all).result()
    return {"corrected": corrected, "oven_dry_mg": Lot.objects.get(pk=lot.pk).oven_dry_mg}


def _receipt(lot: Lot) -> Movement:
    """Return the movement with which a lot came, as it was entered first."""
    return lot.movements.filter(kind=Movement.Kind.RECEIVED).earliest("pk")


def _corrected(movement: Movement, as_is_mg: int) -> int:
    told: dict[str, Any] = {"happened_on": day(), "why": "Misread", "by": None}
    try:
        services.correct(movement, as_is_mg=as_is_mg, **told)
    except StudioError:
        return 0
    return 1
