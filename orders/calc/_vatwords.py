"""The working of a vat line by line, and its plain numbers for JSON."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING, Any

from orders.calc._consistency import as_decimal, grams_words, show_consistency, volume_words
from studio.units import System, show_grammage, show_length, show_number, show_share, show_size
from studio.working import Line

if TYPE_CHECKING:
    from orders.calc.vatrows import TopUp, VatCharge

# Figures after the point in JSON: a microgram, a thousandth of a millilitre.
JSON_PLACES = 6


def working_lines(vat: VatCharge, system: System) -> tuple[Line, ...]:
    """Return the working from the consistency to the heel."""
    return (
        *_charge_lines(vat, system),
        *_thinning_lines(vat, system),
        *_top_up_lines(vat, system),
        *_end_lines(vat, system),
    )


def _length(millimetres: Fraction, system: System) -> str:
    return show_length(round(millimetres * 1000), system=system)


def _charge_lines(vat: VatCharge, system: System) -> list[Line]:
    plan, volume = vat.plan, partial(volume_words, system=system)
    draw = _length(plan.effective_draw_mm, system)
    lines = [
        Line(
            "Consistency",
            show_consistency(vat.consistency_g_per_l),
            f"{show_grammage(as_decimal(plan.wet_grammage_g_m2))} wet-formed / {draw} that stay",
        ),
        Line(
            "Fibre in the charge",
            grams_words(vat.fibre_charge_g, system),
            f"oven-dry; consistency × {volume(plan.volume_l)}",
            "answer",
        ),
    ]
    filled = vat.charged_with
    if filled and plan.thick_g_per_l is not None:
        lines.append(
            Line(
                "Charge with",
                volume(filled.thick_l),
                f"of stuff at {show_consistency(plan.thick_g_per_l)}, and "
                f"{volume(filled.water_l)} of water",
            )
        )
    return lines


def _thinning_lines(vat: VatCharge, system: System) -> list[Line]:
    plan = vat.plan
    within = vat.pulls_within_tolerance
    lines = [
        Line(
            "One pull takes the fibre of",
            volume_words(plan.draining.taken, system),
            f"{show_size(plan.mould, system=system)} × {_length(plan.draw_mm, system)} draw × "
            f"{show_share(plan.retention)} retention"
            + (f" / {show_share(1 - plan.lost)} that becomes sheet" if plan.lost else ""),
        ),
        Line(
            "Sheets within the tolerance",
            "all" if within is None else show_number(within),
            "a pull takes no more of the fibre than of the water"
            if within is None
            else f"without a top-up, no more than {show_share(plan.tolerance)} light",
            "line",
        ),
    ]
    if vat.last_g_m2 is not None:
        lines.append(
            Line(
                f"Sheet {show_number(plan.pulls)} without a top-up",
                f"less than {show_grammage(1)}"
                if vat.last_g_m2 < 1
                else show_grammage(vat.last_g_m2),
                f"the first is {show_grammage(as_decimal(vat.first_g_m2))}",
            )
        )
    return lines


def _top_up_lines(vat: VatCharge, system: System) -> list[Line]:
    scoop, every, thick = vat.scoop, vat.recharge_every, vat.plan.thick_g_per_l
    if thick is None:
        return []
    if not vat.schedule or scoop is None or every is None:
        return [Line("Top-ups", "none", "every sheet is within the tolerance", "answer")]
    usual, last = vat.schedule[0], vat.schedule[-1]
    pulls = "pull" if every == 1 else f"{show_number(every)} pulls"
    lines = [
        Line(
            "Scoop",
            volume_words(scoop.thick_l, system),
            f"of stuff at {show_consistency(thick)}, every {pulls}; "
            f"{grams_words(scoop.fibre_g, system)} of fibre",
            "answer",
        ),
        _level_line(scoop, system),
    ]
    if len(vat.schedule) > 1 and last.fibre_g < usual.fibre_g:
        lines.append(
            Line(
                "Last scoop",
                volume_words(last.thick_l, system),
                f"after sheet {show_number(last.after)}, smaller: the last sheet is then just "
                "within the tolerance",
            )
        )
    return [*lines, *_advice_lines(vat, scoop)]


def _advice_lines(vat: VatCharge, scoop: TopUp) -> list[Line]:
    """Say what would centre the sheets round the target, and what would hold the level."""
    lines = []
    if vat.centre_by:
        lines.append(
            Line(
                "To lie round the target",
                f"charge {show_share(vat.centre_by)} thicker",
                "on target, sheets are pulled from it downwards to the next scoop",
            )
        )
    holds = vat.level_holds_at_g_per_l
    if scoop.draw_off_l and holds is not None:
        lines.append(
            Line(
                "Level would hold at about",
                show_consistency(holds),
                "thinner stuff brings more water than the sheets carry away",
            )
        )
    return lines


def _level_line(scoop: TopUp, system: System) -> Line:
    if scoop.draw_off_l:
        return Line(
            "Draw off",
            volume_words(scoop.draw_off_l, system),
            "each time before the scoop, through a sieve so that its fibre stays",
        )
    return Line("Water", volume_words(scoop.clear_water_l, system), "each time beside the scoop")


def _end_lines(vat: VatCharge, system: System) -> list[Line]:
    lines = [
        Line(
            "Fibre in all",
            grams_words(vat.fibre_total_g, system),
            "charge and top-ups, oven-dry",
            "line",
        ),
        Line("In sheets", grams_words(vat.fibre_in_sheets_g, system), "oven-dry"),
    ]
    if vat.fibre_lost_g:
        lost = show_share(vat.plan.lost)
        lines.append(
            Line("Lost", grams_words(vat.fibre_lost_g, system), f"{lost} of what leaves the vat")
        )
    lines.append(
        Line(
            "Heel",
            grams_words(vat.heel_fibre_g, system),
            f"oven-dry, in {volume_words(vat.heel_volume_l, system)}",
            "answer",
        )
    )
    return lines


def plain_charge(vat: VatCharge) -> dict[str, Any]:
    """Return the answer as plain numbers, the units in the keys."""
    recharge, scoop = vat.recharge, vat.scoop
    return {
        "consistency_g_per_l": _plain(vat.consistency_g_per_l),
        "fibre_charge_g": _plain(vat.fibre_charge_g),
        "effective_draw_l": _plain(vat.effective_draw_l),
        "pulls_within_tolerance": vat.pulls_within_tolerance,
        "first_g_m2": _plain(vat.first_g_m2),
        "last_g_m2": _plain(vat.last_g_m2),
        "recharge_thick_l": _plain(recharge and recharge.thick_l),
        "recharge_water_l": _plain(recharge and recharge.water_l),
        "recharge_every": vat.recharge_every,
        "scoop_thick_l": _plain(scoop and scoop.thick_l),
        "scoop_water_l": _plain(scoop and scoop.water_l),
        "schedule": [
            {
                "after": top_up.after,
                "fibre_g": _plain(top_up.fibre_g),
                "thick_l": _plain(top_up.thick_l),
                "water_l": _plain(top_up.water_l),
            }
            for top_up in vat.schedule
        ],
        "fibre_total_g": _plain(vat.fibre_total_g),
        "heel_l": _plain(vat.heel_volume_l),
        "heel_fibre_g": _plain(vat.heel_fibre_g),
    }


def _plain(number: Fraction | Decimal | None) -> float | None:
    return None if number is None else round(float(number), JSON_PLACES)
