"""The vat of a commission, from what the studio knows: its sheet, mould, vat and habits."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from orders.calc._shared import as_quantity
from orders.calc.consistencies import from_share
from orders.calc.forming import LEARNED, SAID, Forming, form
from orders.calc.vat import carried
from orders.makings.forming import spec_of, to_form
from orders.makings.planning import safe_pulls, still_to_make, usual_vat
from orders.models import Commission, Making
from orders.specs import read_shrinkages
from studio.context import units_here
from studio.models import Studio
from studio.units import System, show_mass, show_number, show_share


@dataclass(frozen=True, slots=True)
class Known:
    """What :func:`orders.calc.vat.charge` takes, as far as it is known, and where it is from.

    ``prepared`` tells the heel of this vat from all that the making sheet says is over.
    """

    given: dict[str, Any]
    sources: dict[str, str]
    prepared: str = ""

    def notes(self, said: Collection[str]) -> tuple[str, ...]:
        """Return where the figures are from, but for those that were said anew."""
        notes = [note for name, note in self.sources.items() if name not in said]
        return (*notes, self.prepared) if self.prepared and not said else tuple(notes)


def known_for(commission: Commission) -> Known:
    """Return the vat of the making that is open for a commission, or of its next one."""
    studio, shrinkages = Studio.current(), read_shrinkages()
    making = _making_of(commission, studio)
    spec = spec_of(making, studio, shrinkages)
    if not making.pulls:
        making.pulls = safe_pulls(spec, making.wanted_good)
    asked = to_form(making, studio, shrinkages)
    forming = form(asked)
    given = {
        "volume": asked.vat,
        "mould": forming.opening,
        "draw": forming.draw,
        "wet_grammage": forming.wet_grammage,
        "carry": carried(
            as_quantity(spec.fibre_per_pull_mg), couched_solids=studio.couched_solids
        ),
        "pulls": making.pulls,
        "tolerance": studio.grammage_tolerance,
        "thick": from_share(asked.thick_consistency),
        "lost": 1 - spec.retention,
    }
    return Known(
        {name: value for name, value in given.items() if value is not None},
        dict(_notes(making, forming)),
        _prepared(forming, units_here(studio)),
    )


def _making_of(commission: Commission, studio: Studio) -> Making:
    """Return the making that is open for a commission, or the one that would be planned."""
    kept = (
        commission.makings.filter(state__in=Making.OPEN)
        .select_related("sheet__mould", "sheet__furnish", "mould", "vat")
        .first()
    )
    sheet = commission.sheet
    mould = sheet.mould
    return kept or Making(
        sheet=sheet,
        commission=commission,
        wanted_good=still_to_make(commission),
        pulls=0,
        mould=mould if mould and not mould.is_closed else None,
        drying=sheet.drying,
        vat=usual_vat(mould),
        thick_consistency=studio.furnish_consistency,
    )


def _prepared(forming: Forming, system: System) -> str:
    """Say what is prepared for the making, and what of it is over beside the heel."""
    if forming.charge is None:
        return ""
    total, stuff = (
        show_mass(mass, system=system) for mass in (forming.total_mg, forming.left_in_stuff_mg)
    )
    over = (
        f"beside the heel below, {stuff} stays over in stuff that is not poured"
        if forming.left_in_stuff_mg
        else "nothing is over beside the heel below"
    )
    return f"The making sheet has {total} of fibre prepared; {over}."


def _notes(making: Making, forming: Forming) -> Iterator[tuple[str, str]]:
    """Yield what each figure is from, with its name."""
    of = f"making {making.ref}" if making.ref else "the next making"
    yield (
        "pulls",
        f"For {of}: {show_number(making.pulls)} pulls for {show_number(making.wanted_good)} good "
        "sheets.",
    )
    mould, vat = making.mould, making.vat
    yield (
        "mould",
        f"Mould: {mould.name}." if mould else "No mould is chosen: one that dries to the sheet.",
    )
    if vat:
        yield "volume", f"Vat: {vat.name}."
    share = show_share(forming.consistency.magnitude / 1000, places=2)
    if forming.consistency_is == SAID:
        yield "draw", f"The consistency of {share} was said for this making."
    elif forming.consistency_is != LEARNED:
        yield (
            "draw",
            f"No draw is known for the mould, so the vat is taken at the studio’s {share}. "
            "Weigh a trial sheet to learn it.",
        )
