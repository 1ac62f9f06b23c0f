"""Repeat a making: plan it once more as it was, and say what is different this time."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from typing import Any

from fibres.calc import moisture as wet
from fibres.models import Addition, Lot
from orders.calc.differences import (
    Difference,
    DoseUsed,
    LotUsed,
    MakingFacts,
    conclusion,
    differences,
)
from orders.calc.makingsheet import MakingSheet
from orders.calc.planrows import Part
from orders.makings.lots import furnishes
from orders.makings.planning import plan_making
from orders.models import Commission, Dose, Making
from orders.provenance import Trail, trail_of
from studio.errors import StudioError
from studio.units import System, show_grammage, show_size

State = Making.State


def refuse_unfinished(making: Making) -> None:
    """Refuse to repeat what has not been made."""
    if making.state != State.FINISHED:
        word = making.get_state_display().lower()
        raise StudioError(
            f"{making.ref} is {word}. Only a finished making can be repeated.", value=word
        )


def repeat(
    earlier: Making,
    *,
    wanted_good: int,
    planned_on: date,
    commission: Commission | None = None,
    by: Any,
    key: uuid.UUID | None = None,
) -> Making:
    """Plan a making as an earlier one was made; what is closed by now is left open."""
    refuse_unfinished(earlier)
    mould, vat, dryer = (
        None if row is None or row.is_closed else row
        for row in (earlier.mould, earlier.vat, earlier.dryer)
    )
    return plan_making(
        Making(
            sheet=earlier.sheet,
            commission=commission,
            wanted_good=wanted_good,
            # What the safe count asks for today; what was learned since counts.
            pulls=0,
            planned_on=planned_on,
            mould=mould,
            vat=vat,
            dryer=dryer,
            drying=earlier.drying,
            consistency=earlier.consistency,
            thick_consistency=earlier.thick_consistency,
            beaten_minutes=earlier.beaten_minutes,
            repeats=earlier,
        ),
        by=by,
        key=key,
    )


@dataclass(frozen=True, slots=True)
class Compared:
    """A making beside the one that it repeats."""

    earlier: Making
    lines: tuple[Difference, ...]
    said: str


def compared(
    making: Making, sheet: MakingSheet | None = None, *, user: Any, system: System = "metric"
) -> Compared | None:
    """Return what differs from the making that is repeated; None for one that repeats none.

    ``sheet`` is the making sheet of a making that is not over: what it is to be weighed out of.
    """
    earlier = making.repeats
    if earlier is None:
        return None
    trail = trail_of([earlier, making], user)
    was, now = (_Reading(one, trail, system) for one in (earlier, making))
    then = was.facts(_drawn(trail, earlier), was.noted)
    if making.is_open:
        lots = _to_weigh(sheet) if sheet else _drawn(trail, making)
        if sheet is None or sheet.missing:
            lots = _by_furnish(making, lots, sheet, {lot.fibre for lot in then.lots})
        lines = differences(then, now.facts(lots, now.planned()))
    else:
        lines = differences(then, now.facts(_drawn(trail, making), now.noted))
    said = conclusion(
        lines, earlier=earlier.ref, sample=earlier.sample, is_planned=bool(making.is_open)
    )
    return Compared(earlier, lines, said)


@dataclass(frozen=True, slots=True)
class _Reading:
    """What a making says of itself."""

    making: Making
    trail: Trail
    system: System

    def facts(self, lots: tuple[LotUsed, ...], doses: tuple[DoseUsed, ...]) -> MakingFacts:
        making = self.making
        sheet = making.sheet
        return MakingFacts(
            ref=making.ref,
            lots=lots,
            doses=doses,
            size=show_size(sheet.size, system=self.system),
            grammage=show_grammage(sheet.grammage),
            mould=making.mould.name if making.mould else "",
            drying=str(making.get_drying_display()),
            dryer=making.dryer.name if making.dryer else "",
            vat=making.vat.name if making.vat else "",
            consistency=making.consistency,
            beaten_minutes=making.beaten_minutes,
            sample=making.sample,
        )

    @property
    def noted(self) -> tuple[DoseUsed, ...]:
        """What was noted as added, on the fibre that was issued."""
        whole = self.trail.usable_mg(self.making.pk)
        rows = Dose.objects.filter(making=self.making).order_by("pk") if whole else ()
        return tuple(
            DoseUsed(row.name, row.kind, Fraction(row.mass_mg, whole), row.bottle) for row in rows
        )

    def planned(self) -> tuple[DoseUsed, ...]:
        """Return what the furnish says is to be added; what is noted stands in its place."""
        rows = Addition.objects.filter(furnish_id=self.making.sheet.furnish_id).order_by("pk")
        told = {row.name: DoseUsed(row.name, row.kind, Fraction(row.dose)) for row in rows}
        return tuple({**told, **{dose.name: dose for dose in self.noted}}.values())


def _drawn(trail: Trail, making: Making) -> tuple[LotUsed, ...]:
    whole = trail.usable_mg(making.pk)
    return tuple(
        LotUsed(
            fibre=drawn.lot.fibre.name,
            ref=drawn.lot.ref,
            moisture=drawn.moisture,
            share=Fraction(drawn.usable_mg, whole) if whole else Fraction(0),
        )
        for drawn in trail.drawn.get(making.pk, {}).values()
    )


def _to_weigh(sheet: MakingSheet) -> tuple[LotUsed, ...]:
    """Return the lots that a making sheet names, weighed out already or still to be."""
    lots = {
        lot.ref: lot
        for lot in Lot.objects.filter(ref__in={row.lot for row in sheet.weigh}).select_related(
            "fibre"
        )
    }
    usable = [
        wet.usable_mg(row.oven_dry_mg, lots[row.lot].yield_now)
        if row.lot in lots
        else row.oven_dry_mg
        for row in sheet.weigh
    ]
    whole = sum(usable)
    return _added_up(
        LotUsed(row.fibre, row.lot, row.moisture, Fraction(mass, whole))
        for row, mass in zip(sheet.weigh, usable, strict=True)
        if mass
    )


def _by_furnish(
    making: Making, lots: tuple[LotUsed, ...], sheet: MakingSheet | None, used: Collection[str]
) -> tuple[LotUsed, ...]:
    """Return the fibres as the furnish has them, each with the lots that are known so far.

    A substitute that was ``used`` before stands for its part of the furnish.
    """
    missing = None if sheet is None else {lack.fibre for lack in sheet.missing}
    furnish = making.sheet.furnish_id
    made = furnishes([furnish]).get(furnish)
    found: list[LotUsed] = []
    for part in made.parts if made else ():
        of_part = [lot for lot in lots if lot.fibre in part.fibres]
        whole, share = sum(lot.share for lot in of_part), Fraction(part.target)
        found += [replace(lot, share=lot.share / whole * share) for lot in of_part]
        why = _why_no_lot(part, missing, is_begun=bool(of_part))
        if why and of_part:
            found.append(LotUsed(of_part[-1].fibre, "", None, Fraction(0), why))
        elif why:
            fibre = next((one for one in part.fibres if one in used), part.fibres[0])
            found.append(LotUsed(fibre, "", None, share, why))
    return tuple(found)


def _why_no_lot(part: Part, missing: Collection[str] | None, *, is_begun: bool) -> str:
    """Say why a part of a furnish has no lot, or not enough; nothing where it has."""
    if missing is None:
        return "its making sheet cannot be worked out yet"
    # As the making sheet names what is missing.
    if " or ".join(part.fibres) in missing:
        return "no lot is left for the rest" if is_begun else "no lot is left for it"
    return "" if is_begun else "not set aside while another fibre is missing"


def _added_up(rows: Iterable[LotUsed]) -> tuple[LotUsed, ...]:
    """Add up what is named twice: a part weighed out, and a part still to be."""
    shares: dict[str, Fraction] = defaultdict(Fraction)
    last: dict[str, LotUsed] = {}
    for row in rows:
        shares[row.ref] += row.share
        last[row.ref] = row
    return tuple(
        LotUsed(row.fibre, row.ref, row.moisture, shares[row.ref]) for row in last.values()
    )
