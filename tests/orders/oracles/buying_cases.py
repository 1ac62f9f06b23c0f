"""Tiny buying problems for the search: one or two fibres, up to four days, whole kilograms.

Every figure is a whole one, so that neither price nor holding is ever rounded.
"""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from random import Random

from orders.calc.planrows import (
    BREAKS_ARE,
    Demand,
    PackOffer,
    PlanLot,
    Snapshot,
    SourceTerms,
    Sourcing,
)

KG = 1_000_000
TODAY = date(2027, 3, 1)
FIBRES = ("abaca", "linter")


def tiny(choose: Random) -> Snapshot:
    """Return a snapshot in which every fibre is offered and can arrive within the horizon."""
    fibres = FIBRES[: choose.choice([1, 1, 2])]
    days = choose.randint(2, 4)
    sources = tuple(_source(choose, f"S{number}", days) for number in range(choose.randint(1, 2)))
    return Snapshot(
        today=TODAY,
        currency="GBP",
        lots=tuple(_lots(choose, fibres, days)),
        commissions=(),
        sourcing=Sourcing(
            horizon_days=days,
            sources=sources,
            offers=tuple(_offers(choose, fibres, sources, days)),
            minimum_mg={fibre: choose.choice([0, 0, 1, 2]) * KG for fibre in fibres},
            holding_minor_per_kg_day={
                fibre: Decimal(choose.choice([0, 0, 5, 40])) for fibre in fibres
            },
            demand=tuple(
                Demand(fibre, TODAY + timedelta(days=day), choose.randint(1, 5) * KG)
                for fibre in fibres
                for day in range(days)
                if choose.randint(0, 1)
            ),
        ),
    )


def _lots(choose: Random, fibres: tuple[str, ...], days: int) -> list[PlanLot]:
    lots = []
    for fibre in fibres:
        for since in [-9, *([choose.randint(1, days - 1)] if choose.randint(0, 3) == 0 else [])]:
            mass = choose.choice([0, 2, 4, 6]) * KG
            if mass:
                lots.append(
                    PlanLot(
                        f"L{len(lots)}", fibre, mass, mass, mass, TODAY + timedelta(days=since)
                    )
                )
    return lots


def _source(choose: Random, ref: str, days: int) -> SourceTerms:
    lead = choose.randint(0, min(2, days - 1))
    freight: list[tuple[date, int]] = [(TODAY, choose.choice([0, 300, 900, 2000]))]
    if choose.randint(0, 3) == 0:
        freight.append((TODAY + timedelta(days=1), choose.choice([100, 700, 1500])))
    return SourceTerms(
        ref=ref,
        lead_days=lead,
        freight=tuple(freight),
        order_minimum_minor=choose.choice([0, 0, 0, 1500, 2500]),
        free_freight_from_minor=choose.choice([None, None, 2500, 4000]),
        season=("03-01", "03-02") if days - lead > 2 and choose.randint(0, 5) == 0 else None,
    )


def _offers(
    choose: Random, fibres: tuple[str, ...], sources: tuple[SourceTerms, ...], days: int
) -> list[PackOffer]:
    offers: list[PackOffer] = []
    for place, source in enumerate(sources):
        kinds = list(fibres) if place == 0 else [choose.choice(fibres)]
        if len(kinds) == 1 and choose.randint(0, 1):
            kinds *= 2
        for fibre in kinds:
            dear = choose.choice([800, 1100, 1500])
            breaks = [(1, dear)]
            if choose.randint(0, 1):
                breaks.append((choose.choice([2, 3, 4]), dear - choose.choice([50, 150, 400])))
            limit = choose.randint(0, 4) == 0 and source.season is None
            offers.append(
                PackOffer(
                    ref=f"O{len(offers)}",
                    source=source.ref,
                    fibre=fibre,
                    pack_usable_mg=choose.choice([1, 2, 3, 5]) * KG,
                    breaks=tuple(breaks),
                    breaks_are=choose.choice(BREAKS_ARE),
                    least_packs=choose.choice([1, 1, 1, 2, 3]),
                    valid_to=(
                        TODAY + timedelta(days=days - 1 - source.lead_days) if limit else None
                    ),
                )
            )
    return offers
