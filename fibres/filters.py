"""What narrows the lists of the store."""

from __future__ import annotations

from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone
from django_filters import ChoiceFilter, ModelChoiceFilter

from fibres import places, queries
from fibres.models import Fibre, Furnish, Lot, Offer, Purchase, PurchaseLine, Source
from studio.lists import HouseFilterSet, WordsFilter

HELD = (("held", "With fibre left"), ("used", "Used up"))
OPEN = (("open", "In use"), ("closed", "Closed"))
STANDING = (("now", "Holds today"), ("later", "Still to come"), ("ended", "Ended or closed"))
ORIGIN = (("scrap", "Donated scrap"), ("bought", "Bought or made"))


def _by_closing(rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
    return rows.filter(closed_on__isnull=value == "open")


def _sources(request: Any) -> QuerySet[Source]:
    return queries.sources_to_choose(request.user)


def _places() -> list[tuple[str, str]]:
    return [(place, place) for place in places.known()]


class LotFilter(HouseFilterSet):
    """Lots by fibre, source, place, form, and whether something is left."""

    fibre = ModelChoiceFilter(queryset=Fibre.objects.all())
    source = ModelChoiceFilter(queryset=_sources, label="From")
    place = ChoiceFilter(choices=_places, label="Where it lies")
    left = ChoiceFilter(choices=HELD, method="by_left", label="Left")
    words = WordsFilter(("ref", "form", "fibre__name", "place"), label="Words")

    class Meta:
        model = Lot
        fields: list[str] = []

    def by_left(self, rows: QuerySet[Lot], name: str, value: str) -> QuerySet[Lot]:
        """Keep lots that hold something, or those that hold nothing."""
        return rows.filter(oven_dry_mg__gt=0) if value == "held" else rows.filter(oven_dry_mg=0)


class FibreFilter(HouseFilterSet):
    """Fibres by family, origin, and whether they are in use."""

    family = ChoiceFilter(choices=Fibre.Family.choices)
    origin = ChoiceFilter(choices=ORIGIN, method="by_origin", label="Origin")
    use = ChoiceFilter(choices=OPEN, method=_by_closing, label="In use")
    words = WordsFilter(("name", "state"), label="Words")

    class Meta:
        model = Fibre
        fields: list[str] = []

    def by_origin(self, rows: QuerySet[Fibre], name: str, value: str) -> QuerySet[Fibre]:
        """Keep donated scrap, or everything else."""
        return rows.filter(is_scrap=value == "scrap")


class SourceFilter(HouseFilterSet):
    """Sources by kind and whether they are in use."""

    kind = ChoiceFilter(choices=Source.Kind.choices)
    use = ChoiceFilter(choices=OPEN, method=_by_closing, label="In use")
    words = WordsFilter(("name_shown",), label="Words")

    class Meta:
        model = Source
        fields: list[str] = []


class FurnishFilter(HouseFilterSet):
    """Furnishes by a fibre in them and whether they are in use."""

    fibre = ModelChoiceFilter(
        queryset=Fibre.objects.filter(furnish_parts__isnull=False).distinct(),
        field_name="parts__fibre",
    )
    use = ChoiceFilter(choices=OPEN, method=_by_closing, label="In use")
    words = WordsFilter(("name", "remarks"), label="Words")

    class Meta:
        model = Furnish
        fields: list[str] = []


class OfferFilter(HouseFilterSet):
    """Offers by fibre, source, and whether they hold."""

    fibre = ModelChoiceFilter(queryset=Fibre.objects.filter(offers__isnull=False).distinct())
    source = ModelChoiceFilter(queryset=_sources, label="From")
    stands = ChoiceFilter(choices=STANDING, method="by_day", label="Holds")

    class Meta:
        model = Offer
        fields: list[str] = []

    def by_day(self, rows: QuerySet[Offer], name: str, value: str) -> QuerySet[Offer]:
        """Keep offers that hold today, that are to come, or that are over."""
        today = timezone.localdate()
        over = Q(closed_on__isnull=False) | Q(valid_to__lt=today)
        if value == "ended":
            return rows.filter(over)
        to_come = Q(valid_from__gt=today)
        # Written out both ways: a day that is not set is no day that is not before today.
        going_on = rows.filter(Q(valid_to__isnull=True) | Q(valid_to__gte=today), closed_on=None)
        if value == "later":
            return going_on.filter(to_come)
        return going_on.filter(Q(valid_from__isnull=True) | Q(valid_from__lte=today))


def _sources_bought_from(request: Any) -> QuerySet[Source]:
    return queries.sources_bought_from(request.user)


class PurchaseFilter(HouseFilterSet):
    """Purchases by state, source and fibre."""

    state = ChoiceFilter(choices=Purchase.State.choices)
    source = ModelChoiceFilter(queryset=_sources_bought_from, label="From")
    fibre = ModelChoiceFilter(
        queryset=Fibre.objects.filter(purchase_lines__isnull=False).distinct(),
        method="by_fibre",
        label="Fibre",
    )
    words = WordsFilter(("ref", "source_name"), label="Words")

    class Meta:
        model = Purchase
        fields: list[str] = []

    def by_fibre(self, rows: QuerySet[Purchase], name: str, value: Fibre) -> QuerySet[Purchase]:
        """Keep purchases with a line of a fibre; their sums are not added up twice by it."""
        return rows.filter(pk__in=PurchaseLine.objects.filter(fibre=value).values("purchase"))
