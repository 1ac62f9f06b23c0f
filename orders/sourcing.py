"""Fill the frozen rows that buying reads beside lots and promises: terms, offers and minimums."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db.models import Q, QuerySet

from fibres import queries
from fibres.calc import moisture as wet
from fibres.calc.offers import pack_breaks
from fibres.models import Fibre, Offer, Source
from fibres.offering import offered
from orders.calc.plan import PackOffer, SourceTerms, Sourcing

DAYS_A_WEEK = 7
SOURCE_MONEY = (
    "source__freight_minor", "source__order_minimum_minor", "source__free_freight_from_minor",
)  # fmt: skip


def read(today: date, fibres: Iterable[Fibre], *, weeks: int, with_money: bool = True) -> Sourcing:
    """Read what can be bought, from whom and on what terms, in two queries.

    Without money every price is 0: enough to say when to order, never to choose an offer by.
    """
    rows = list(_open_offers(today, with_money=with_money))
    sources = {offer.source_id: offer.source for offer in rows}
    offers = [_packs(offer, with_money=with_money) for offer in rows]
    return Sourcing(
        horizon_days=weeks * DAYS_A_WEEK,
        sources=tuple(
            _terms(source, with_money=with_money) for _, source in sorted(sources.items())
        ),
        # A pack so small that nothing of it can be used cannot be counted in.
        offers=tuple(offer for offer in offers if offer.pack_usable_mg),
        minimum_mg={
            fibre.name: wet.usable_mg(fibre.minimum_mg, fibre.preparation_yield)
            for fibre in fibres
            if fibre.minimum_mg and not fibre.is_closed
        },
    )


def offer_ref(pk: int) -> str:
    """Return what an offer is called in a plan."""
    return f"O-{pk}"


def offer_pk(ref: str) -> int:
    """Return the key of an offer that a plan names."""
    return int(ref.removeprefix("O-"))


def _open_offers(today: date, *, with_money: bool) -> QuerySet[Offer]:
    """Return what can be ordered from today on; without money its price breaks are not read."""
    holding = Q(valid_to__isnull=True) | Q(valid_to__gte=today)
    rows = queries.offers_open().filter(holding).order_by("pk")
    if with_money:
        return rows
    return rows.prefetch_related(None).defer("minor_per_kg", *SOURCE_MONEY)


def _terms(source: Source, *, with_money: bool) -> SourceTerms:
    money = (
        {
            "order_minimum_minor": source.order_minimum_minor,
            "free_freight_from_minor": source.free_freight_from_minor,
        }
        if with_money
        else {}
    )
    return SourceTerms(
        ref=source.name,
        lead_days=source.lead_days,
        # One freight that holds from any day.
        freight=((date.min, source.freight_minor if with_money else 0),),
        season=source.season,
        **money,
    )


def _packs(offer: Offer, *, with_money: bool) -> PackOffer:
    fibre = offer.fibre
    oven_dry_mg = wet.oven_dry_mg(offer.pack_mg, offer.moisture)
    return PackOffer(
        ref=offer_ref(offer.pk),
        source=offer.source.name,
        fibre=fibre.name,
        pack_usable_mg=wet.usable_mg(oven_dry_mg, fibre.preparation_yield),
        breaks=pack_breaks(offered(offer)) if with_money else ((offer.least_packs, 0),),
        breaks_are=offer.breaks_are,
        least_packs=offer.least_packs,
        valid_from=offer.valid_from,
        valid_to=offer.valid_to,
    )
