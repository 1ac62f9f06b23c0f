"""When a vat is topped up and with how much, worked out in stretches between the top-ups."""

from __future__ import annotations

from decimal import Context, Decimal, localcontext
from fractions import Fraction
from typing import NamedTuple

from orders.calc._consistency import FIGURES, as_decimal
from orders.calc._thinning import Draining
from orders.calc.vatrows import TopUp, VatCharge, VatPlan
from studio.errors import RangeError
from studio.units import show_number

# Every top-up is worked out: so many take a second or two, and no vat gives them in one run.
MOST_PULLS = 20_000


class Stretch(NamedTuple):
    """Pulls on end from a vat at its full level; ``times`` over, topped up after each."""

    fibre_g: Decimal
    pulls: int
    times: int = 1


def charged(plan: VatPlan) -> VatCharge:
    """Return the charge, the top-ups and the heel of a vat."""
    vat = plan.draining
    _refuse(plan, vat)
    thinned = vat.until(plan.tolerance)
    within = None if thinned is None else _at_most(thinned + 1, vat.most)
    every = _interval(thinned, vat.most, plan.pulls)
    with localcontext(Context(prec=FIGURES)):
        stretches = _stretches(plan, vat, every, within)
        last = stretches[-1]
        drawn = sum(
            (each.times * each.fibre_g * (1 - vat.fibre_share(each.pulls)) for each in stretches),
            Decimal(0),
        )
        lost = drawn * as_decimal(plan.lost)
        return VatCharge(
            plan=plan,
            pulls_within_tolerance=within,
            recharge_every=every,
            last_g_m2=_last_g_m2(plan, vat),
            recharge=_restored(plan, vat, plan.pulls),
            scoop=None if every is None else _restored(plan, vat, every),
            schedule=_schedule(plan, vat, stretches),
            heel_volume_l=as_decimal(vat.level(last.pulls)),
            heel_fibre_g=last.fibre_g * vat.fibre_share(last.pulls),
            fibre_in_sheets_g=drawn - lost,
            fibre_lost_g=lost,
        )


def _at_most(number: int, limit: int | None) -> int:
    return number if limit is None else min(number, limit)


def _interval(thinned: int | None, most: int | None, pulls: int) -> int | None:
    """Return every how many pulls the vat is topped up, or None where it needs nothing."""
    if thinned is not None:
        return max(1, thinned)
    return most if most is not None and pulls > most else None


def _stretches(
    plan: VatPlan, vat: Draining, every: int | None, within: int | None
) -> tuple[Stretch, ...]:
    """Return the pulls between the top-ups: the usual ones, then those to the end."""
    full = as_decimal(plan.fibre_charge_g)
    reach = vat.most if within is None else within
    if plan.thick_g_per_l is None or every is None or reach is None or plan.pulls <= reach:
        return (Stretch(full, plan.pulls),)
    times, rest = divmod(plan.pulls - 1, every)
    rest += 1
    if every + rest <= reach:
        # The last sheets are within the tolerance without the last top-up.
        return (Stretch(full, every, times - 1), Stretch(full, every + rest))
    return (Stretch(full, every, times), Stretch(_least_start(plan, vat, every, rest), rest))


def _least_start(plan: VatPlan, vat: Draining, every: int, rest: int) -> Decimal:
    """Return the fibre with which the last sheet is still just within the tolerance."""
    full = as_decimal(plan.fibre_charge_g)
    if not vat.thins:
        return full
    least = full * as_decimal(1 - plan.tolerance) / vat.thickness(rest - 1)
    return min(full, max(least, full * vat.fibre_share(every)))


def _schedule(plan: VatPlan, vat: Draining, stretches: tuple[Stretch, ...]) -> tuple[TopUp, ...]:
    usual, last = stretches[0], stretches[-1]
    if plan.thick_g_per_l is None or len(stretches) == 1 or not usual.times:
        return ()
    gone = usual.fibre_g * (1 - vat.fibre_share(usual.pulls))
    # Where the last sheets need no more fibre, it is water alone, and never less than no fibre.
    spared = min(gone, usual.fibre_g - last.fibre_g)
    level = as_decimal(usual.pulls * vat.carried)
    return tuple(
        _top_up(
            number * usual.pulls,
            gone - spared if number == usual.times else gone,
            level,
            plan.thick_g_per_l,
        )
        for number in range(1, usual.times + 1)
    )


def _top_up(after: int, fibre_g: Decimal, level_l: Decimal, thick: Fraction) -> TopUp:
    thick_l = fibre_g / as_decimal(thick)
    return TopUp(after, fibre_g, thick_l, level_l - thick_l)


def _restored(plan: VatPlan, vat: Draining, pulls: int) -> TopUp | None:
    """Return what makes the vat full again after pulls without a top-up."""
    if plan.thick_g_per_l is None or (vat.most is not None and pulls > vat.most):
        return None
    gone = as_decimal(plan.fibre_charge_g) * (1 - vat.fibre_share(pulls))
    return _top_up(pulls, gone, as_decimal(pulls * vat.carried), plan.thick_g_per_l)


def _last_g_m2(plan: VatPlan, vat: Draining) -> Decimal | None:
    if vat.most is not None and plan.pulls > vat.most:
        return None
    return as_decimal(plan.wet_grammage_g_m2) * vat.thickness(plan.pulls - 1)


def _refuse(plan: VatPlan, vat: Draining) -> None:
    """Refuse what no vat gives."""
    pulls = plan.pulls
    if isinstance(pulls, bool) or not isinstance(pulls, int) or not 1 <= pulls <= MOST_PULLS:
        raise RangeError(
            f"Pulls must be a whole number from 1 to {show_number(MOST_PULLS)}, got {pulls}. "
            "Plan more than that as several makings.",
            field="pulls",
            value=pulls,
        )
    if vat.most == 0 or vat.taken >= vat.volume:
        raise RangeError(
            f"One pull takes the fibre of {show_number(vat.taken, places=2)} L and the vat holds "
            f"{show_number(vat.volume, places=2)} L. Take a larger vat or a smaller mould.",
            field="volume",
            value=plan.volume_l,
        )
    thick = plan.thick_g_per_l
    if thick is not None and thick <= plan.consistency_g_per_l:
        raise RangeError(
            f"The stuff to top up with must be thicker than the vat: it holds "
            f"{show_number(thick, places=2)} g/L and the vat "
            f"{show_number(plan.consistency_g_per_l, places=2)} g/L.",
            field="thick",
            value=thick,
        )
    if thick is None and vat.most is not None and pulls > vat.most:
        raise RangeError(too_many(vat.most, pulls), field="pulls", value=pulls)


def too_many(most: int, pulls: int) -> str:
    """Say that a vat without a top-up doesn't give so many pulls."""
    return (
        f"The vat gives {show_number(most)} pulls before too little is left for the mould, and "
        f"{show_number(pulls)} are asked for. Top it up or take a larger vat."
    )
