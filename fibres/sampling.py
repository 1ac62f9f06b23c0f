"""A sample of a lot, weighed wet and oven-dry: what it says of the lot, and what it puts right."""

from __future__ import annotations

import uuid
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import Q, Sum

from fibres import keeping, ledger, offshelf
from fibres.calc import moisture as wet
from fibres.models import Lot, MoistureTest, Movement
from studio.entries import acting, enter, refuse_repeat
from studio.errors import NotEnoughError, RangeError
from studio.models import Entry
from studio.units import from_mg, show_share

# What to do where the figure in the book cannot have been wrong.
OTHERWISE = "weigh the sample again, or enter that water came or went since"


@acting()
def weigh_moisture(
    lot: Lot,
    *,
    wet_mg: int,
    dry_mg: int,
    tare_mg: int,
    tested_on: date,
    by: Any,
    has_dried: bool = False,
    key: uuid.UUID | None = None,
) -> MoistureTest:
    """Enter a weighed sample: put the figure right, or note that the lot has dried or drawn water.

    Where the figure in the book was wrong, what is there as is stays and the oven-dry fibre is
    corrected. Where water has come or gone since, the oven-dry fibre stays.
    """
    if key is not None:
        refuse_repeat(key)
    found = _moisture_found(wet_mg, dry_mg, tare_mg)
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    ledger.refuse_odd_day(tested_on, received_on=lot.received_on)
    ledger.refuse_before_count(lot, tested_on, by=by)
    if not lot.oven_dry_mg and not has_dried:
        raise NotEnoughError(
            f"Lot {lot.ref} holds nothing any more, so no figure of it can be put right.",
            field="wet",
            value=wet_mg,
        )
    said = f"Moisture of {lot.ref} weighed: {show_share(found)}"
    entry = enter("test moisture", said, page=lot.get_absolute_url(), key=key, by=by)
    weighed = {"wet_mg": wet_mg, "dry_mg": dry_mg, "tare_mg": tare_mg, "moisture": found}
    test = MoistureTest(lot=lot, tested_on=tested_on, entry=entry, **weighed)
    test.full_clean()
    test.save()
    if not has_dried:
        _put_right(lot, found, tested_on, entry)
    Lot.objects.filter(pk=lot.pk).update(moisture=found, moisture_known=Lot.MoistureKnown.WEIGHED)
    return test


def _moisture_found(wet_mg: int, dry_mg: int, tare_mg: int) -> Decimal:
    """Return the moisture of a sample as shares are kept; one that is all water is refused."""
    found = wet.moisture_from_sample(
        from_mg(wet_mg), dry_mass=from_mg(dry_mg), tare_mass=from_mg(tare_mg)
    ).quantize(Decimal("0.000001"))
    if found >= 1:
        raise RangeError(
            "The sample was all water. Weigh it again, oven-dry and as it is.",
            field="dry",
            value=dry_mg,
        )
    return found


def _put_right(lot: Lot, found: Decimal, tested_on: date, entry: Entry) -> None:
    """Correct the fibre of a lot whose figure was wrong, and what it is said to have come with."""
    change = wet.oven_dry_mg(wet.as_is_mg(lot.oven_dry_mg, lot.moisture), found) - lot.oven_dry_mg
    if not change:
        return
    # Fibre that was never there was not paid for by the kilogram either; what a count found
    # never came with the receipt.
    received = lot.received_oven_dry_mg + round(change * _share_that_came(lot))
    if received > lot.as_is_mg:
        raise RangeError(
            f"At {show_share(found)} moisture {lot.ref} would hold more fibre than it weighed "
            "when it came. Weigh the sample again, or enter that water came or went since.",
            field="dry",
            value=found,
        )
    if change > 0:
        keeping.refuse_more_than_was_made(lot, received, field="dry", otherwise=OTHERWISE)
    Lot.objects.filter(pk=lot.pk).update(received_oven_dry_mg=received)
    lot.moisture = found
    ledger.post(
        lot,
        Movement.Kind.CORRECTED,
        change,
        happened_on=tested_on,
        entry=entry,
        moisture=found,
        why="Moisture weighed",
    )
    if change < 0:
        offshelf.refuse_below_weighed_out(lot, field="dry", otherwise=OTHERWISE)


def _share_that_came(lot: Lot) -> Fraction:
    """Return how much of what a lot holds came with its receipt; counts found the rest."""
    out = Movement.OUT_OF_STORE
    gone = lot.movements.filter(Q(kind__in=out) | Q(reverses__kind__in=out))
    gone_mg = -gone.aggregate(all=Sum("oven_dry_mg", default=0))["all"]
    left_mg = max(lot.received_oven_dry_mg - gone_mg, 0)
    return Fraction(min(left_mg, lot.oven_dry_mg), lot.oven_dry_mg)
