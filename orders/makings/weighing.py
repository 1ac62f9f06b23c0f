"""Which lots a making may be weighed out of: those of its furnish first, within its limits."""

from __future__ import annotations

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from fibres.models import Fibre, FurnishPart, Lot
from orders.models import Making


def lots_for(making: Making) -> QuerySet[Lot]:
    """Return the lots with fibre in them that the commission allows, its furnish's own first.

    A lot of another fibre can be weighed out too: the log says what was done, and the making is
    then seen to differ from its furnish.
    """
    lots = Lot.objects.filter(oven_dry_mg__gt=0, closed_on=None).select_related("fibre")
    commission = making.commission
    if commission is not None:
        if commission.no_scrap:
            lots = lots.exclude(Q(fibre__is_scrap=True) | Q(fibre__family=Fibre.Family.BROKE))
        only = list(commission.only_lots.values_list("pk", flat=True))
        if only:
            lots = lots.filter(pk__in=only)
    own, stand_ins = furnish_fibres(making)
    return lots.annotate(
        nearness=Case(
            When(fibre__in=own, then=Value(0)),
            When(fibre__in=stand_ins, then=Value(1)),
            default=Value(2),
            output_field=IntegerField(),
        )
    ).order_by("nearness", "fibre__name", "received_on", "pk")


def furnish_fibres(making: Making) -> tuple[list[int], list[int]]:
    """Return the keys of the fibres of the furnish, and of those that may stand in for them."""
    parts = FurnishPart.objects.filter(furnish=making.sheet.furnish_id)
    own = list(parts.values_list("fibre_id", flat=True))
    stand_ins = parts.exclude(substitutes=None).values_list("substitutes", flat=True)
    return own, list(stand_ins)


def kept_as(making: Making) -> QuerySet[Fibre]:
    """Return the fibres that heel or broke can be kept as: the studio's own, then the furnish's.

    Own broke is a fibre of its own: it is not recycled content (ISO 14021), whatever it was made
    of.
    """
    own, _ = furnish_fibres(making)
    in_house = Q(source_class=Fibre.SourceClass.IN_HOUSE)
    return (
        Fibre.objects.filter(closed_on=None, is_refused=False)
        .filter(in_house | Q(pk__in=own))
        .annotate(
            nearness=Case(
                When(in_house, then=Value(0)), default=Value(1), output_field=IntegerField()
            )
        )
        .order_by("nearness", "name")
    )


def broke_fibres() -> QuerySet[Fibre]:
    """Return the fibres that broke can be kept as: in-house alone."""
    return Fibre.objects.filter(
        closed_on=None, is_refused=False, source_class=Fibre.SourceClass.IN_HOUSE
    )
