"""As which fibre heel and broke are kept, and until when a wet heel keeps as it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from fibres.models import Fibre, FurnishPart
from fibres.services import keeps_wet_until
from orders.calc.makingsheet import HeelKeeps
from orders.models import Making

# Air-dry fibre holds 5 to 10 % of water, wet pulp far more; between the two nothing is kept
# (common practice, no source).
WET_FROM = Decimal("0.2")


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


def heel_keeps(making: Making) -> HeelKeeps | None:
    """Return until when the heel keeps wet, by the rule of the lot that it becomes.

    It counts from the day on which the making is finished and the heel becomes a lot; until then
    that is taken to be the day at the vat. The fibre is the one that the log has it kept as, else
    the one that the log offers first. None where it is not kept, not kept wet, or its fibre has
    no keeping time.
    """
    if making.heel in {Making.Heel.THROWN, Making.Heel.NONE}:
        return None
    if making.heel_moisture is not None and making.heel_moisture < WET_FROM:
        return None
    fibre = making.heel_fibre or kept_as(making).first()
    since: date = making.finished_on or making.planned_on
    until = keeps_wet_until(fibre, since) if fibre else None
    if fibre is None or until is None:
        return None
    return HeelKeeps(
        fibre.name, (until - since).days, until, is_finished=making.finished_on is not None
    )
