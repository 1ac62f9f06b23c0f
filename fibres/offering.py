"""Offers as the arithmetic takes them, and the reading that compares those of one fibre."""

from __future__ import annotations

from datetime import date

from fibres import queries
from fibres.calc.comparing import Comparison, compare
from fibres.calc.offers import Offering, Terms
from fibres.models import Fibre, Offer, Source
from studio.units import System, show_mass


def terms_of(source: Source) -> Terms:
    """Return what an order to a source costs beside the goods, and when it can be placed."""
    return Terms(
        lead_days=source.lead_days,
        freight_minor=source.freight_minor,
        order_minimum_minor=source.order_minimum_minor,
        free_freight_from_minor=source.free_freight_from_minor,
        season=source.season,
    )


def offered(offer: Offer, *, system: System = "metric") -> Offering:
    """Return an offer as the arithmetic takes it.

    Read source, fibre and breaks beforehand where there are many: none of them is asked for twice.
    """
    return Offering(
        name=offer.source.name,
        detail=f"{show_mass(offer.pack_mg, system=system)} {offer.form.lower()}".strip(),
        pack_mg=offer.pack_mg,
        moisture=offer.moisture,
        minor_per_kg=offer.minor_per_kg,
        price_per=offer.price_per,  # type: ignore[arg-type]
        breaks=tuple((step.from_packs, step.minor_per_kg) for step in offer.breaks.all()),
        breaks_are=offer.breaks_are,  # type: ignore[arg-type]
        least_packs=offer.least_packs,
        preparation_yield=offer.fibre.preparation_yield,
        terms=terms_of(offer.source),
        valid_from=offer.valid_from,
        valid_to=offer.valid_to,
    )


def compare_offers(
    fibre: Fibre, need_oven_dry_mg: int, *, today: date, system: System = "metric"
) -> Comparison:
    """Compare what is offered of a fibre today or later, in two queries."""
    rows = queries.offers_open().filter(fibre=fibre)
    return compare(
        need_oven_dry_mg, tuple(offered(row, system=system) for row in rows), today=today
    )
