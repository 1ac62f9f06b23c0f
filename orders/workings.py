"""The sums behind an answer about a sheet or a commission, line by line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import takewhile

from orders.calc.chain import FibreNeed, fibre_for_sheets
from orders.calc.moulds import choose_mould, dry_size, mould_for
from orders.calc.sheets import pulls_possible
from orders.calc.spec import SheetSpec
from orders.services import FibrePlan
from studio.models import Mould
from studio.sizes import Size
from studio.units import Q, System, show_mass, show_share, show_size
from studio.working import Line

USUAL_NUMBER = 100
# From here on the sums are those of one fibre, and a furnish may have several.
FIRST_LINE_OF_ONE_FIBRE = "Oven-dry needed"
# Common practice, no source; the same that choosing a mould allows.
TOLERANCE_UM = 1_000


def need_of(spec: SheetSpec, wanted: int) -> FibreNeed:
    """Return pulls and usable fibre for good sheets, whatever fibre they are of."""
    return fibre_for_sheets(
        wanted, as_is_mass=Q(0, "kg"), moisture=Decimal(0), preparation_yield=Decimal(1), spec=spec
    )


def vat_lines(need: FibreNeed, system: System) -> list[Line]:
    """Set out good sheets, fibre of one, pulls, and the fibre into the vat."""
    lines = takewhile(lambda line: line.label != FIRST_LINE_OF_ONE_FIBRE, need.lines(system))
    return list(lines)


def fibre_lines(plan: Sequence[FibrePlan], system: System) -> list[Line]:
    """Set out what each fibre of the furnish takes out of the store, and from which lots."""
    lines: list[Line] = []
    for part in plan:
        kept = show_share(part.preparation_yield)
        lines.append(
            Line(
                part.fibre,
                show_mass(part.needs_mg, system=system),
                f"oven-dry; {show_share(part.share)} of the fibre in the vat / {kept} "
                "preparation yield",
                "line",
            )
        )
        lines += [
            Line(
                f"Weigh out of {pick.lot}",
                show_mass(pick.as_is_mg, system=system),
                f"as is; {show_mass(pick.oven_dry_mg, system=system)} oven-dry and its water",
            )
            for pick in part.picks
        ]
        if part.short_mg:
            short = show_mass(part.short_mg, system=system, places=_fine(system))
            lines.append(Line("Missing", short, "oven-dry; no lot is left for it", "answer"))
    return lines


def _fine(system: System) -> int | None:
    return 3 if system == "metric" else None


def good_sheets(spec: SheetSpec, usable_mg: int, share: Decimal = Decimal(1)) -> int:
    """Return good sheets, on average, where so much fibre is a share of the furnish."""
    pulls = pulls_possible(Fraction(usable_mg) / Fraction(share), spec=spec)
    return math.floor(pulls * spec.at_least_one_per_pull() * spec.good_share)


@dataclass(frozen=True, slots=True)
class SheetWork:
    """What a sheet comes to: its sum, which mould suits it, and what to look out for."""

    lines: tuple[Line, ...]
    mould: str
    warning: str = ""


def sheet_work(
    spec: SheetSpec, *, moulds: Iterable[Mould], mould: Mould | None, system: System
) -> SheetWork:
    """Reckon a sheet for a hundred good ones, and look through the moulds for it."""
    need = need_of(spec, USUAL_NUMBER)
    lines = vat_lines(need, system)
    at_hand = list(moulds)
    warning = ""
    # A sheet that is cut has its pull in the sum already.
    if mould is not None and spec.mould is None:
        dry = dry_size(Size(mould.width_um, mould.height_um), shrinkage=spec.shrinkage)
        lines.append(
            Line(
                f"Dry size from {mould.name}",
                show_size(dry, system=system),
                f"opening less {show_share(spec.shrinkage[0])} across and "
                f"{show_share(spec.shrinkage[1])} along",
                "line",
            )
        )
        warning = _misfit(spec, dry, system)
    return SheetWork(tuple(lines), _mould_words(spec, at_hand, system), warning)


def _misfit(spec: SheetSpec, dry: Size, system: System) -> str:
    """Say that an uncut sheet does not come out of its mould in its size."""
    either = (dry, dry.turned())
    near = [
        max(abs(way.width_um - spec.size.width_um), abs(way.height_um - spec.size.height_um))
        for way in either
    ]
    if min(near) <= TOLERANCE_UM:
        return ""
    return (
        f"The mould gives {show_size(dry, system=system)} dry, not "
        f"{show_size(spec.size, system=system)}. Grammage and fibre are reckoned for the size "
        "you gave; take another mould or give the size that it makes."
    )


def _mould_words(spec: SheetSpec, moulds: Sequence[Mould], system: System) -> str:
    wanted = mould_for(spec.size, shrinkage=spec.shrinkage)
    opening = f"It takes an opening of {show_size(wanted, system=system)} or more"
    by_size = {Size(mould.width_um, mould.height_um): mould for mould in reversed(moulds)}
    chosen = choose_mould(by_size, size=spec.size, shrinkage=spec.shrinkage)
    if chosen is None:
        return f"{opening}; no mould here is that large."
    dry = dry_size(chosen, shrinkage=spec.shrinkage)
    return (
        f"{opening}. The smallest here is {by_size[chosen].name}: it dries to "
        f"{show_size(dry, system=system)}."
    )
