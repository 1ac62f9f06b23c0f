"""Readings of the store, each in a number of queries that does not grow with the rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.db.models import Case, Count, F, Max, Prefetch, Q, QuerySet, Sum, Value, When

from fibres.calc import moisture as wet
from fibres.calc.parting import part_by_mass, part_of_packs
from fibres.models import (
    Addition,
    Arrival,
    Fibre,
    Furnish,
    FurnishPart,
    Lot,
    Movement,
    Offer,
    Purchase,
    PurchaseLine,
    Source,
)
from studio import roles

# What only the owner sees is left out where the rows are read, not where they are shown.
LOT_MONEY = ("paid_minor",)
SOURCE_MONEY = ("freight_minor", "order_minimum_minor", "free_freight_from_minor")
ARRIVAL_MONEY = ("goods_minor", "freight_minor")
A_DONOR = "A donor"


def knows_donors(user: Any) -> bool:
    """Tell whether a person takes gifts in and so knows who brought them."""
    return roles.can(user, "store.receive")


def _name_shown(user: Any, path: str = "") -> Any:
    """Return the name of a source as a person may read it, for a query."""
    if knows_donors(user):
        return F(f"{path}name")
    unnamed = When(
        **{f"{path}kind": Source.Kind.DONOR, f"{path}may_be_named": False}, then=Value(A_DONOR)
    )
    return Case(unnamed, default=F(f"{path}name"))


def lots_for(user: Any) -> QuerySet[Lot]:
    """Return lots with fibre and source, without money where the role may not see it."""
    lots = Lot.objects.select_related("fibre", "source").annotate(
        source_name=_name_shown(user, "source__")
    )
    return lots if roles.can(user, "money") else lots.defer(*LOT_MONEY)


def sources_named(user: Any) -> QuerySet[Source]:
    """Return sources by the name that may be read, and nothing reckoned of them."""
    return Source.objects.annotate(name_shown=_name_shown(user))


def sources_for(user: Any) -> QuerySet[Source]:
    """Return sources by the name that may be read, with what came from each."""
    sources = (
        sources_named(user)
        .annotate(
            lots_given=Count("lots"),
            given_mg=Sum("lots__received_oven_dry_mg", default=0),
            last_received=Max("lots__received_on"),
        )
        .order_by("name_shown", "pk")
    )
    return sources if roles.can(user, "money") else sources.defer(*SOURCE_MONEY)


def offers_for(user: Any) -> QuerySet[Offer]:
    """Return offers with fibre and source, without prices where the role may not see them."""
    offers = Offer.objects.select_related("fibre", "source").annotate(
        source_name=_name_shown(user, "source__")
    )
    if roles.can(user, "money"):
        return offers.prefetch_related("breaks")
    return offers.defer("minor_per_kg", *(f"source__{name}" for name in SOURCE_MONEY))


def sources_to_choose(user: Any) -> QuerySet[Source]:
    """Return the sources that a person may tell apart by name."""
    if knows_donors(user):
        return Source.objects.all()
    return Source.objects.exclude(kind=Source.Kind.DONOR, may_be_named=False)


def fibres_in_store() -> QuerySet[Fibre]:
    """Return fibres with what is on hand, in how many lots, and the last receipt."""
    held = Q(lots__oven_dry_mg__gt=0)
    return Fibre.objects.annotate(
        on_hand_mg=Sum("lots__oven_dry_mg", filter=held, default=0),
        lots_held=Count("lots", filter=held),
        last_received=Max("lots__received_on"),
    ).order_by("name")


def furnishes() -> QuerySet[Furnish]:
    """Return furnishes with their parts and the fibre of each."""
    parts = FurnishPart.objects.select_related("fibre").prefetch_related("substitutes")
    # Rows that are counted over lose the model's own order.
    counted = Furnish.objects.annotate(addition_count=Count("additions")).order_by("name")
    return counted.prefetch_related(Prefetch("parts", parts))


def movements_of(lot: Lot) -> QuerySet[Movement]:
    """Return the ledger of a lot, oldest first, with who entered each line."""
    also = ("entry__by", "reverses", "reversed_by", "count_line__stocktake")
    return lot.movements.select_related(*also).order_by("pk")


def additions_for(user: Any, furnish: Furnish) -> QuerySet[Addition]:
    """Return the additions of a furnish, without prices where the role may not see them."""
    additions = furnish.additions.all()
    return additions if roles.can(user, "money") else additions.defer("minor_per_kg")


@dataclass(frozen=True, slots=True)
class ToCome:
    """Packs of one line of a purchase that are on their way, at the moisture agreed.

    ``ref`` is the purchase with the number of the line in it, such as "P-001/2"; ``paid_minor``
    is their share of goods and freight, None where money was not read.
    """

    ref: str
    purchase: str
    fibre_id: int
    packs: int
    as_is_mg: int
    oven_dry_mg: int
    moisture: Decimal
    expected_on: date
    paid_minor: int | None


def packs_to_come(*, with_money: bool = True) -> list[ToCome]:
    """Return what is ordered and has not come, line by line, in one query.

    Every line of a purchase is read, come or not: each bears its share of the freight.
    """
    money = ("goods_minor", "purchase__freight_minor") if with_money else ()
    rows = (
        PurchaseLine.objects.filter(purchase__state__in=Purchase.ON_ITS_WAY)
        .order_by("purchase_id", "pk")
        .values(
            "purchase__ref", "purchase__expected_on", "fibre_id", "packs", "packs_received",
            "pack_mg", "moisture", *money,
        )
    )  # fmt: skip
    by_purchase = groupby(rows, key=lambda row: row["purchase__ref"])
    return [found for _, lines in by_purchase for found in _of_purchase(list(lines), with_money)]


def _of_purchase(lines: list[dict[str, Any]], with_money: bool) -> Iterator[ToCome]:
    freights: tuple[int, ...] = (0,) * len(lines)
    if with_money:
        masses = [
            wet.oven_dry_mg(line["packs"] * line["pack_mg"], line["moisture"]) for line in lines
        ]
        freights = part_by_mass(lines[0]["purchase__freight_minor"], masses)
    for number, (line, freight) in enumerate(zip(lines, freights, strict=True), 1):
        came = line["packs_received"]
        packs = line["packs"] - came
        if not packs:
            continue
        split = {"packs": line["packs"], "before": came, "come": packs}
        paid = (
            sum(part_of_packs(part, **split) for part in (line["goods_minor"], freight))
            if with_money
            else None
        )
        as_is_mg = packs * line["pack_mg"]
        yield ToCome(
            ref=f"{line['purchase__ref']}/{number}",
            purchase=line["purchase__ref"],
            fibre_id=line["fibre_id"],
            packs=packs,
            as_is_mg=as_is_mg,
            oven_dry_mg=wet.oven_dry_mg(as_is_mg, line["moisture"]),
            moisture=line["moisture"],
            expected_on=line["purchase__expected_on"],
            paid_minor=paid,
        )


def on_its_way_by_fibre() -> dict[int, int]:
    """Return the oven-dry milligrams that are ordered and have not come, by key of the fibre."""
    found: dict[int, int] = {}
    for one in packs_to_come(with_money=False):
        found[one.fibre_id] = found.get(one.fibre_id, 0) + one.oven_dry_mg
    return found


# --- purchases ----------------------------------------------------------------------------------


def purchases_named(user: Any) -> QuerySet[Purchase]:
    """Return purchases by the name of their source that may be read."""
    return Purchase.objects.annotate(source_name=_name_shown(user, "source__"))


def purchases_for(user: Any) -> QuerySet[Purchase]:
    """Return purchases with lines and source, without prices where the role may not see them."""
    lines = PurchaseLine.objects.select_related("fibre").order_by("pk")
    purchases = purchases_named(user).select_related("source")
    if roles.can(user, "money"):
        # Rows that are added up lose the model's own order.
        purchases = purchases.annotate(goods_minor=Sum("lines__goods_minor")).order_by("-pk")
    else:
        purchases, lines = purchases.defer("freight_minor"), lines.defer("goods_minor")
    return purchases.prefetch_related(Prefetch("lines", lines))


def arrivals_for(user: Any, purchase: Purchase) -> QuerySet[Arrival]:
    """Return what came of a purchase and stands, each with its lot, without prices for some."""
    arrivals = (
        Arrival.objects.standing()
        .filter(line__purchase=purchase)
        .select_related("lot__fibre", "line")
        .order_by("pk")
    )
    if roles.can(user, "money"):
        return arrivals
    return arrivals.defer(*ARRIVAL_MONEY, "line__goods_minor", "lot__paid_minor")


def purchase_of(lot: Lot) -> Purchase | None:
    """Return the purchase that a lot came of, or None."""
    return Purchase.objects.filter(lines__arrivals__lot=lot).only("ref").first()


def sources_bought_from(user: Any) -> QuerySet[Source]:
    """Return the sources of purchases, as far as a person may know them by name."""
    return sources_to_choose(user).filter(purchases__isnull=False).distinct()


def offers_open() -> QuerySet[Offer]:
    """Return the offers that an order can be made of, with fibre, source and price breaks."""
    return (
        Offer.objects.filter(closed_on=None, source__closed_on=None)
        .filter(fibre__closed_on=None, fibre__is_refused=False)
        .exclude(source__kind=Source.Kind.DONOR)
        .select_related("fibre", "source")
        .prefetch_related("breaks")
    )


def sources_with_offers() -> QuerySet[Source]:
    """Return the sources that something can be ordered from, with the number of offers."""
    return (
        Source.objects.annotate(
            offer_count=Count("offers", filter=Q(offers__in=offers_open().values("pk")))
        )
        .filter(offer_count__gt=0)
        .order_by("name")
    )
