"""What the search box finds in the store: lots, sources, purchases, fibres and furnishes.

Rows come from the readings that leave out what a role may not see, and words are looked for in
the fields that the list of the noun looks in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.db.models import QuerySet
from django.urls import reverse

from fibres import queries
from fibres.filters import FibreFilter, FurnishFilter, LotFilter, PurchaseFilter, SourceFilter
from fibres.models import Fibre, Furnish, Purchase, Source
from studio.lists import HouseFilterSet
from studio.search import Mark, Noun, Shown

Row = Mapping[str, Any]
CLOSED = ("closed", "Closed")
USED_UP = ("closed", "Used up")


def words_fields(filters: type[HouseFilterSet]) -> Callable[[Any], tuple[str, ...]]:
    """Return what gives the fields in which a list looks for words, the same for every role."""
    searched: tuple[str, ...] = filters.base_filters["words"].searched
    return lambda user: searched


def closed_mark(row: Row) -> Mark | None:
    """Return the mark of a row that was closed."""
    return CLOSED if row["closed_on"] else None


def _sources(user: Any) -> QuerySet[Source]:
    return queries.sources_named(user).order_by("name_shown")


def _purchases(user: Any) -> QuerySet[Purchase]:
    return queries.purchases_named(user).order_by("-pk")


def _lot(row: Row) -> Shown:
    return Shown(
        address=reverse("lot", args=[row["ref"]]),
        ref=row["ref"],
        name=row["fibre__name"],
        also=(row["form"], row["place"]),
        mark=None if row["oven_dry_mg"] else USED_UP,
    )


def _source(row: Row) -> Shown:
    return Shown(
        address=reverse("source", args=[row["pk"]]),
        name=row["name_shown"],
        also=(Source.Kind(row["kind"]).label,),
        mark=closed_mark(row),
    )


def _purchase(row: Row) -> Shown:
    return Shown(
        address=reverse("purchase", args=[row["ref"]]),
        ref=row["ref"],
        name=row["source_name"],
        mark=Purchase(state=row["state"]).state_mark,
    )


def _fibre(row: Row) -> Shown:
    return Shown(
        address=reverse("fibre", args=[row["pk"]]),
        name=row["name"],
        also=(row["state"],),
        mark=closed_mark(row),
    )


def _furnish(row: Row) -> Shown:
    return Shown(
        address=reverse("furnish", args=[row["pk"]]),
        name=row["name"],
        hidden=(row["remarks"],),
        mark=closed_mark(row),
    )


LOTS = Noun(
    one="lot",
    many="lots",
    route="lots",
    need="read",
    rows=lambda user: queries.lots_for(user).order_by("-received_on"),
    fields=words_fields(LotFilter),
    columns=("ref", "fibre__name", "form", "place", "oven_dry_mg"),
    shown=_lot,
)
SOURCES = Noun(
    one="source",
    many="sources",
    route="sources",
    need="read",
    rows=_sources,
    fields=words_fields(SourceFilter),
    columns=("name_shown", "pk", "kind", "closed_on"),
    shown=_source,
)
PURCHASES = Noun(
    one="purchase",
    many="purchases",
    route="purchases",
    need="read",
    rows=_purchases,
    fields=words_fields(PurchaseFilter),
    columns=("ref", "source_name", "state"),
    shown=_purchase,
)
FIBRES = Noun(
    one="fibre",
    many="fibres",
    route="fibres",
    need="read",
    rows=lambda user: Fibre.objects.order_by("name"),
    fields=words_fields(FibreFilter),
    columns=("name", "pk", "state", "closed_on"),
    shown=_fibre,
)
FURNISHES = Noun(
    one="furnish",
    many="furnishes",
    route="furnishes",
    need="read",
    rows=lambda user: Furnish.objects.order_by("name"),
    fields=words_fields(FurnishFilter),
    columns=("name", "pk", "remarks", "closed_on"),
    shown=_furnish,
)
