"""Which lots a making may be weighed out of: those of its furnish first, within its limits.

And how much still is to be, rounded up to what a page shows: never less than what is needed.
"""

from __future__ import annotations

from datetime import date
from decimal import ROUND_CEILING, Decimal

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When

from fibres.models import Fibre, Lot
from orders import snapshot
from orders.calc import weighed as weighed_calc
from orders.calc.forming import form
from orders.calc.makingsheet import WeighOut
from orders.makings.atthevat import usable_by_fibre
from orders.makings.forming import to_form
from orders.makings.keptas import furnish_fibres
from orders.makings.lots import furnishes
from orders.makings.sheet import sheet_of
from orders.models import Making
from studio.errors import StudioError
from studio.models import Studio
from studio.units import Quantity, System, from_mg, to_mg, ureg

# From what mass on, in the unit, a page shows it how finely; see ``studio.units.show_mass``.
METRIC_STEPS = (("999.5", "kg", "0.01"), ("99.995", "kg", "0.001"), ("1", "g", "0.01"))
LEAST_METRIC_STEP = ("g", "0.001")
OUNCES = (("15.995", "0.1"), ("1", "0.01"), ("0.01", "0.0001"))
LEAST_OUNCE_STEP = "0.000001"


def rounded_up(mass_mg: int, system: System = "metric") -> Quantity:
    """Return a mass as it would be written down to be weighed: no finer than a page shows it."""
    if system == "US":
        ounces = from_mg(mass_mg).to("oz").magnitude
        step = next((step for least, step in OUNCES if ounces >= Decimal(least)), LEAST_OUNCE_STEP)
        return ureg.Quantity(_up_to(ounces, step), "oz")
    grams = from_mg(mass_mg).to("g").magnitude
    unit, step = next(
        ((unit, step) for least, unit, step in METRIC_STEPS if grams >= Decimal(least)),
        LEAST_METRIC_STEP,
    )
    return ureg.Quantity(_up_to(from_mg(mass_mg).to(unit).magnitude, step), unit)


def _up_to(number: Decimal, step: str) -> Decimal:
    return number.quantize(Decimal(step), rounding=ROUND_CEILING)


def rounded_up_mg(mass_mg: int) -> int:
    """Return the most that a mass is written down as, in whichever units."""
    return max(to_mg(rounded_up(mass_mg, "metric")), to_mg(rounded_up(mass_mg, "US")))


def still_to_weigh(making: Making, today: date) -> list[WeighOut]:
    """Return what the making sheet would still have weighed out; nothing where it cannot say."""
    try:
        # The log is read after many a tap: lots are looked for only while any fibre is wanted.
        rows = sheet_of(making, today).weigh if _is_any_wanted(making) else ()
    except StudioError:
        return []
    return [row for row in rows if not row.is_done and not row.is_on_its_way]


def _is_any_wanted(making: Making) -> bool:
    """Tell whether any line of the furnish still takes fibre, whatever the lots hold."""
    made = furnishes([making.sheet.furnish_id]).get(making.sheet.furnish_id)
    if made is None:
        return False
    forming = form(to_form(making, Studio.current(), snapshot.read_shrinkages()))
    weighed = usable_by_fibre(making.issues.select_related("lot__fibre")).get(making.pk, {})
    still = weighed_calc.still_to_weigh(made.parts, forming.total_mg, weighed)
    return any(line.target for line in still)


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
