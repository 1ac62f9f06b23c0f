"""A making as the arithmetic takes it: its sheet on its own mould, and what fills its vat."""

from __future__ import annotations

from decimal import Decimal

from orders import specs
from orders.calc.forming import ToForm
from orders.calc.spec import SheetSpec
from orders.models import Making, Sheet
from orders.specs import read_shrinkages
from studio.models import Studio
from studio.sizes import Size
from studio.units import Q, from_um

Shrinkages = dict[tuple[int, str], tuple[Decimal, Decimal]]


def spec_of(
    making: Making,
    studio: Studio | None = None,
    shrinkages: dict[tuple[int, str], tuple[Decimal, Decimal]] | None = None,
) -> SheetSpec:
    """Return the sheet as this making forms it: on its own mould, dried its own way."""
    if shrinkages is None:
        shrinkages = read_shrinkages()
    kept = making.sheet
    sheet = Sheet(
        **{
            field.attname: getattr(kept, field.attname)
            for field in Sheet._meta.concrete_fields
            if field.attname not in {"mould_id", "drying"}
        },
        mould=making.mould,
        drying=making.drying,
    )
    return specs.spec_of(sheet, studio or Studio.current(), shrinkages)


def to_form(making: Making, studio: Studio, shrinkages: Shrinkages) -> ToForm:
    """Return a making as the arithmetic takes it."""
    mould, vat = making.mould, making.vat
    return ToForm(
        spec=spec_of(making, studio, shrinkages),
        pulls=making.pulls,
        trial_pulls=studio.trial_pulls,
        opening=Size(mould.width_um, mould.height_um) if mould else None,
        vat=Q(vat.litres, "L") if vat else None,
        draw=from_um(mould.draw_um) if mould and mould.draw_um else None,
        consistency=making.consistency,
        usual_consistency=studio.vat_consistency,
        thick_consistency=making.thick_consistency,
        couched_solids=studio.couched_solids,
        tolerance=studio.grammage_tolerance,
        heel_mg=studio.heel_mg,
    )
