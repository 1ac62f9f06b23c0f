"""The making sheet of a making, from the store as it stands: page, print and command read it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from fibres.models import Addition, Fibre
from orders import workings
from orders.calc.forming import LEARNED, SAID, Forming
from orders.calc.loads import Loads, blender_loads, loads_for
from orders.calc.makingsheet import (
    About,
    DoseOut,
    DryerLoads,
    MakingSheet,
    Missing,
    WeighOut,
)
from orders.calc.makingsteps import soaking, steps_of
from orders.learning.used import figures_used
from orders.makings import notices, planning
from orders.makings.keptas import heel_keeps
from orders.makings.lots import Drawing, drawing_for, places_of
from orders.models import Making
from orders.wording import day
from studio import cautions
from studio.context import units_here
from studio.models import Studio
from studio.units import Q, System, show_grammage

# The order in which additions go in; common practice, no source.
FIRST_IN = (
    Addition.Kind.FILLER,
    Addition.Kind.PIGMENT,
    Addition.Kind.OTHER,
    Addition.Kind.RETENTION_AID,
    Addition.Kind.SIZING,
    Addition.Kind.FORMATION_AID,
)


def sheet_of(making: Making, today: date) -> MakingSheet:
    """Return everything for one run; of one that is over, what it was weighed out of."""
    studio = Studio.current()
    drawing = drawing_for(making, today)
    forming = drawing.forming
    weigh = _weigh(drawing)
    doses = _doses(making, forming.total_mg)
    fibres = _used(drawing, weigh)
    beater, blender = _loads(studio, forming.total_mg)
    steps = steps_of(
        [fibre.family for fibre in fibres],
        doses=[dose.kind for dose in doses],
        drying=making.drying,
        is_beaten=beater is not None,
    )
    return MakingSheet(
        about=_about(making),
        forming=forming,
        weigh=weigh,
        missing=_missing(drawing),
        soak=_soak(making, weigh, fibres, today),
        doses=doses,
        beater=beater,
        blender=blender,
        dryer=_dryer(making),
        heel_keeps=heel_keeps(making),
        cautions=(*cautions.of_steps(steps), *_of_fibres(fibres)),
        notes=_notes(making, forming, units_here(studio)),
        clashes=notices.clashes(making, drawing.taken, today),
        holding=notices.holding(making, forming, units_here(studio)),
        reckoned_with=figures_used(
            making,
            fibres,
            [row.lot for row in weigh],
            has_draw=forming.consistency_is == LEARNED,
            system=units_here(studio),
        ),
    )


def _loads(studio: Studio, total_mg: int) -> tuple[Loads | None, Loads | None]:
    """Return how it goes through the beater, or, too little for it, through a blender."""
    if total_mg >= studio.beater_least_mg:
        in_beater = loads_for(
            total_mg,
            least_mg=studio.beater_least_mg,
            most_mg=studio.beater_most_mg,
            consistency=Q(studio.furnish_consistency * 1000, "g/L"),
        )
        return in_beater, None
    water = Q(studio.blender_litres, "L")
    return None, blender_loads(total_mg, load_mg=studio.blender_mg, water=water)


def _about(making: Making) -> About:
    sheet, commission = making.sheet, making.commission
    return About(
        ref=making.ref,
        title=f"{commission.ref} {commission.title}" if commission else sheet.name,
        commission=commission.ref if commission else "",
        state=str(making.get_state_display()),
        planned_on=making.planned_on,
        sheet=sheet.name,
        size=sheet.size,
        grammage=sheet.grammage,
        furnish=sheet.furnish.name,
        mould=making.mould.name if making.mould else "",
        vat=making.vat.name if making.vat else "",
        drying=str(making.get_drying_display()),
        wanted_good=making.wanted_good,
    )


# --- lots ----------------------------------------------------------------------------------------


def _weigh(drawing: Drawing) -> tuple[WeighOut, ...]:
    """Return what was weighed out, and what is still to be."""
    weighed = [
        WeighOut(
            fibre=issue.lot.fibre.name,
            lot=issue.lot.ref,
            place=issue.lot.place,
            as_is_mg=issue.as_is_mg,
            oven_dry_mg=issue.oven_dry_mg,
            moisture=issue.moisture,
            is_done=True,
        )
        for issue in drawing.issues
    ]
    picks = drawing.answer.picks if drawing.answer else ()
    known = places_of(pick.lot for pick in picks)
    for pick in picks:
        lot = known.get(pick.lot)
        weighed.append(
            WeighOut(
                fibre=pick.fibre,
                lot=pick.lot,
                place=lot.place if lot else "",
                as_is_mg=pick.as_is_mg,
                oven_dry_mg=pick.oven_dry_mg,
                moisture=lot.moisture if lot else _water(pick.as_is_mg, pick.oven_dry_mg),
                is_on_its_way=lot is None,
            )
        )
    return tuple(weighed)


def _water(as_is_mg: int, oven_dry_mg: int) -> Decimal:
    return 1 - Decimal(oven_dry_mg) / as_is_mg if as_is_mg else Decimal(0)


def _missing(drawing: Drawing) -> tuple[Missing, ...]:
    answer = drawing.answer
    return tuple(
        Missing(" or ".join(lack.fibres), lack.oven_dry_mg)
        for lack in (answer.short if answer else ())
    )


def _used(drawing: Drawing, weigh: Sequence[WeighOut]) -> list[Fibre]:
    """Return the fibres that go in; those of the furnish where no lot is found yet."""
    by_name = {fibre.name: fibre for fibre in drawing.made.fibres}
    names = list(dict.fromkeys(row.fibre for row in weigh)) or [
        part.fibres[0] for part in drawing.made.parts
    ]
    return [by_name[name] for name in names if name in by_name]


def _soak(
    making: Making, weigh: Sequence[WeighOut], fibres: Iterable[Fibre], today: date
) -> tuple[str, ...]:
    """Say what is soaked and from when, alike fibres together."""
    family = {fibre.name: fibre for fibre in fibres}
    alike: dict[tuple[str, date], list[str]] = {}
    for row in weigh:
        fibre = family.get(row.fibre)
        how = soaking(fibre.family, row.moisture) if fibre else ""
        if fibre and how and not row.is_done:
            begin = making.planned_on - timedelta(days=max(fibre.preparation_days, 1))
            names = alike.setdefault((how, begin), [])
            if row.fibre not in names:
                names.append(row.fibre)
    return tuple(
        f"{', '.join(names)}: {how}, from {day(begin, today)}"
        + (", which is past: choose a later day, or tear it smaller" if begin < today else "")
        for (how, begin), names in alike.items()
    )


def _of_fibres(fibres: Iterable[Fibre]) -> list[str]:
    """Return the cautions that fibres bring, each once."""
    found: dict[str, list[str]] = {}
    for fibre in fibres:
        if fibre.cautions:
            found.setdefault(fibre.cautions, []).append(fibre.name)
    return [f"{', '.join(names)}: {care}" for care, names in found.items()]


# --- the rest ------------------------------------------------------------------------------------


def _doses(making: Making, total_mg: int) -> tuple[DoseOut, ...]:
    """Return what is added, dosed on all the fibre that is prepared, in the order it goes in."""
    rows = Addition.objects.filter(furnish_id=making.sheet.furnish_id)
    return tuple(
        DoseOut(
            name=row.name,
            kind=row.kind,
            dose=row.dose,
            mass_mg=round(Fraction(row.dose) * total_mg),
        )
        for row in sorted(rows, key=lambda row: (FIRST_IN.index(Addition.Kind(row.kind)), row.pk))
    )


def _dryer(making: Making) -> DryerLoads | None:
    dryer = making.dryer
    if dryer is None:
        return None
    count = math.ceil(making.pulls / dryer.pulls_per_load)
    return DryerLoads(dryer.name, count, dryer.pulls_per_load, count * dryer.days_per_load)


def _notes(making: Making, forming: Forming, system: System) -> tuple[str, ...]:
    few = planning.few_pulls_words(forming.asked.spec, making.pulls, making.wanted_good)
    found = [f"{few} Plan more pulls, or another making for the rest."] if few else []
    if making.vat and forming.is_heel_larger:
        found.append(
            "The vat takes more fibre than the sheets do. A smaller vat or a deckle box would "
            "spare most of it; or keep the heel for the next small order."
        )
    draw = forming.asked.draw
    if forming.consistency_is == SAID and draw is not None:
        dry = forming.asked.spec.grammage * draw.to("mm").magnitude
        grammage = show_grammage(dry / forming.draw.to("mm").magnitude)
        found.append(f"By the draw of the mould this consistency gives about {grammage} dry.")
    if forming.consistency_is not in {SAID, LEARNED} and making.vat:
        found.append(
            "No draw of the mould is known: weigh the trial sheets, and put the consistency right."
        )
    if making.mould:
        spec = forming.asked.spec
        warning = workings.sheet_work(spec, moulds=(), mould=making.mould, system=system).warning
        found += [warning] if warning else []
    return tuple(found)
