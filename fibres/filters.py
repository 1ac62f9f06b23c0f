"""What narrows the lists of the store."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django_filters import ChoiceFilter, ModelChoiceFilter

from fibres import queries
from fibres.models import Fibre, Furnish, Lot, Source
from studio.lists import HouseFilterSet, WordsFilter

HELD = (("held", "With fibre left"), ("used", "Used up"))
OPEN = (("open", "In use"), ("closed", "Closed"))
ORIGIN = (("scrap", "Donated scrap"), ("bought", "Bought or made"))


def _by_closing(rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
    return rows.filter(closed_on__isnull=value == "open")


def _sources(request: Any) -> QuerySet[Source]:
    return queries.sources_to_choose(request.user)


class LotFilter(HouseFilterSet):
    """Lots by fibre, source, form, and whether something is left."""

    fibre = ModelChoiceFilter(queryset=Fibre.objects.all())
    source = ModelChoiceFilter(queryset=_sources, label="From")
    left = ChoiceFilter(choices=HELD, method="by_left", label="Left")
    words = WordsFilter(("ref", "form", "fibre__name"), label="Words")

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
