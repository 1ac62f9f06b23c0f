"""The makings of the demo, entered through the same acts as at the vat."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from fibres.models import Lot
from orders.makings import log
from orders.makings.finish import finish
from orders.makings.planning import plan_making, usual_dryer, usual_vat
from orders.models import Commission, Dryer, Making, Sheet, TrialSheet
from studio.models import Mould, Vat
from studio.reading import read_quantity
from studio.units import to_mg, to_um


def enter_kit(told: dict[str, Any]) -> None:
    """Enter vats and dryers, and the draw of moulds that is known."""
    for row in told["vats"]:
        inside = read_quantity(row["inside"], "size", field="inside")
        vat = Vat(
            name=row["name"],
            width_um=inside.width_um,
            height_um=inside.height_um,
            depth_um=to_um(read_quantity(row["depth"], "length", field="depth")),
        )
        vat.full_clean()
        vat.save()
    for row in told["dryers"]:
        dryer = Dryer(**{**row, "days_per_load": Decimal(row["days_per_load"])})
        dryer.full_clean()
        dryer.save()
    for name, draw in told["draws"].items():
        mould = Mould.objects.get(name=name)
        mould.draw_um = to_um(read_quantity(draw, "length", field="draw"))
        mould.full_clean()
        mould.save()


def enter_makings(told: list[dict[str, Any]], lots: dict[str, Lot], today: date, by: Any) -> None:
    """Plan every making; log and finish those that are over."""
    for row in told:
        day = today + timedelta(days=row["day"])
        making = _plan(row, day, by)
        if "posts" in row:
            _log(making, row, lots, by)
            finish(making, finished_on=day, by=by)


def _plan(row: dict[str, Any], day: date, by: Any) -> Making:
    commission = Commission.objects.filter(ref=row.get("commission")).first()
    sheet = commission.sheet if commission else Sheet.objects.get(name=row["sheet"])
    making = Making(
        sheet=sheet,
        mould=sheet.mould,
        drying=sheet.drying,
        vat=usual_vat(sheet.mould),
        dryer=usual_dryer(sheet.drying),
        planned_on=day,
        commission=commission,
        wanted_good=row["good"],
        pulls=row.get("pulls", 0),
        remarks=row.get("remarks", ""),
    )
    return plan_making(making, by=by)


def _log(making: Making, row: dict[str, Any], lots: dict[str, Lot], by: Any) -> None:
    log.start(making, by=by)
    for name, mass in row["issues"].items():
        as_is_mg = to_mg(read_quantity(mass, "mass", field="issue"))
        log.issue(making, lots[name], as_is_mg=as_is_mg, by=by)
    for number, counts in enumerate(row["posts"], start=1):
        if number > 1:
            log.begin_post(making, by=by)
        for what, times in counts.items():
            log.tap(making, what, post=number, change=times, by=by)
    for operation, minutes in row["minutes"].items():
        log.spend(making, operation, Decimal(minutes), by=by)
    for mass in row.get("weighed", ()):
        mass_mg = to_mg(read_quantity(mass, "mass", field="weighed"))
        log.weigh_trial(making, TrialSheet(mass_mg=mass_mg), by=by)
    log.note_heel(
        making,
        row["heel"],
        as_is_mg=to_mg(read_quantity(row["heel_mass"], "mass", field="heel")),
        moisture=Decimal(row["heel_moisture"]),
        by=by,
    )
