"""How wet what came of an order was found to be, and what can be claimed for it."""

from __future__ import annotations

from decimal import Decimal

from fibres.calc import moisture as wet
from fibres.calc.claims import Claim, claim_for_water
from fibres.models import Arrival, Lot

# As many places as a moisture agreed can have.
PLACES = Decimal("0.000001")


def moisture_received(lot: Lot) -> Decimal | None:
    """Return the moisture a lot came with, as far as it was weighed; None where it was not.

    Water that came or went in the store is none of the source's doing: where the book says so,
    the fibre received has stayed and tells how wet the lot was.
    """
    if lot.moisture_known != Lot.MoistureKnown.WEIGHED or not lot.as_is_mg:
        return None
    if wet.oven_dry_mg(lot.as_is_mg, lot.moisture) == lot.received_oven_dry_mg:
        return lot.moisture
    found = 1 - Decimal(lot.received_oven_dry_mg) / lot.as_is_mg
    return found.quantize(PLACES)


def is_wetter(arrival: Arrival) -> bool | None:
    """Tell whether packs came wetter than agreed; None where nobody weighed a sample."""
    found = moisture_received(arrival.lot)
    return None if found is None else _exceeds_agreed(found, arrival)


def _exceeds_agreed(found: Decimal, arrival: Arrival) -> bool:
    """Tell whether a moisture is above the one agreed, in milligrams of fibre too.

    Of a small lot, the milligram that its fibre was rounded to is more than the last place.
    """
    lot, agreed = arrival.lot, arrival.line.moisture
    return found > agreed and lot.received_oven_dry_mg < wet.oven_dry_mg(lot.as_is_mg, agreed)


def claim_of(arrival: Arrival) -> Claim | None:
    """Return the claim for packs that came wetter than agreed, or None where there is none."""
    found = moisture_received(arrival.lot)
    # A lot of which every milligram was put down to water is no delivery to reckon with.
    if found is None or found >= 1 or not _exceeds_agreed(found, arrival):
        return None
    claim = claim_for_water(
        arrival.lot.as_is_mg,
        agreed=arrival.line.moisture,
        found=found,
        goods_minor=arrival.goods_minor,
        # The price is for packs as sold, whatever the scales show.
        invoiced_as_is_mg=arrival.packs * arrival.line.pack_mg,
    )
    return claim if claim.short_mg else None
