"""The parts of what a good sheet costs: the masses and pulls of one making, and what they take."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial

from orders.calc import culls
from orders.calc.costrows import AdditionPrice, CostPart, FibrePrice, Rates
from orders.calc.sheets import SheetSpec, pull_mg, sheets_per_pull
from studio.money import show_money
from studio.units import Q, System, show_mass, show_volume

MG_PER_KG = Decimal(1_000_000)
MINUTES = Decimal(60)
# Avoirdupois pound, exact by definition.
POUND_KG = Decimal("0.45359237")
LITRES_PER_M3 = Decimal(1000)
PARTS = (
    ("fibre", "Fibre"),
    ("additions", "Sizing, filler and pigment"),
    ("labour", "Hours at vat, press and table"),
    ("energy_water", "Energy and water"),
    ("waste", "Heel and trial sheets"),
    ("overhead", "Rooms, felts and moulds"),
    ("packing", "Packing"),
)


@dataclass(frozen=True, slots=True)
class Run:
    """The masses and pulls of one making, in milligrams of usable fibre."""

    pulls: int
    trial_pulls: int
    sheet_mg: int
    trial_mg: int
    heel_mg: int
    broke_mg: Decimal

    @classmethod
    def of(cls, spec: SheetSpec, quantity: int, rates: Rates, pulls: int | None) -> Run:
        if pulls is None:
            good = 1 - spec.broke - spec.retree
            per_pull = sheets_per_pull(spec)
            pulls = culls.pulls_average(quantity, good_share=good, sheets_per_pull=per_pull)
        vat_mg = math.ceil(pulls * spec.drawn_per_pull_mg)
        trim = Fraction(0) if spec.layout is None else spec.layout.trim_share
        culled = trim + (1 - trim) * Fraction(spec.broke)
        return cls(
            pulls=pulls,
            trial_pulls=rates.trial_pulls,
            sheet_mg=vat_mg,
            trial_mg=rates.trial_pulls * pull_mg(spec),
            heel_mg=rates.heel_mg,
            broke_mg=vat_mg * spec.retention * culled.numerator / culled.denominator,
        )

    @property
    def all_pulls(self) -> int:
        return self.pulls + self.trial_pulls


@dataclass(frozen=True, slots=True)
class _Blend:
    """What a kilogram of dry fibre in the vat costs and takes, fibres and additions together."""

    fibre_minor: Decimal
    addition_minor: Decimal
    sorting_minutes: Decimal

    @classmethod
    def of(cls, fibres: Sequence[FibrePrice], additions: Sequence[AdditionPrice]) -> _Blend:
        issued = [(fibre, fibre.share / fibre.preparation_yield) for fibre in fibres]
        dosed = (addition.dose * (addition.minor_per_kg or 0) for addition in additions)
        return cls(
            fibre_minor=sum(
                (mass * (fibre.minor_per_kg or 0) for fibre, mass in issued), Decimal(0)
            ),
            addition_minor=sum(dosed, Decimal(0)),
            sorting_minutes=sum(
                (mass * fibre.sorting_minutes_per_kg for fibre, mass in issued), Decimal(0)
            ),
        )


_Amounts = dict[str, tuple[Decimal, str]]


def parts_of(
    run: Run,
    fibres: Sequence[FibrePrice],
    additions: Sequence[AdditionPrice],
    rates: Rates,
    quantity: int,
    *,
    system: System,
) -> tuple[CostPart, ...]:
    blend = _Blend.of(fibres, additions)
    packing = _money(rates.packing_minor_per_sheet, rates)
    amounts: _Amounts = {
        **_materials(run, blend, rates, system),
        **_work(run, blend, rates, system),
        "packing": (rates.packing_minor_per_sheet * quantity, f"{packing} a sheet"),
    }
    return tuple(
        CostPart(key, label, amounts[key][0] / quantity, amounts[key][1]) for key, label in PARTS
    )


def _materials(run: Run, blend: _Blend, rates: Rates, system: System) -> _Amounts:
    """Reckon fibre, additions, and what is spent on trial sheets and the heel."""
    mass = partial(show_mass, system=system)
    vat_kg, vat = run.sheet_mg / MG_PER_KG, mass(run.sheet_mg)
    spent_kg = (run.trial_mg + run.heel_mg * (1 - rates.heel_recovered)) / MG_PER_KG
    back_kg = run.broke_mg * rates.broke_recovered / MG_PER_KG
    back = f", less {mass(int(back_kg * MG_PER_KG))} of broke" if back_kg else ""
    return {
        "fibre": (
            vat_kg * blend.fibre_minor,
            f"{vat} in the vat at {_by_mass(blend.fibre_minor, rates, system)}",
        ),
        "additions": (vat_kg * blend.addition_minor, f"Dosed on {vat} of dry fibre"),
        "waste": (
            spent_kg * (blend.fibre_minor + blend.addition_minor) - back_kg * blend.fibre_minor,
            f"{mass(run.trial_mg)} in trial sheets, {mass(run.heel_mg)} in the heel{back}",
        ),
    }


def _work(run: Run, blend: _Blend, rates: Rates, system: System) -> _Amounts:
    """Reckon hours, rooms, energy and water; trial pulls take all of them too."""
    charged_kg = (run.sheet_mg + run.trial_mg + run.heel_mg) / MG_PER_KG
    sorting = blend.sorting_minutes * charged_kg
    minutes = rates.setup_minutes + run.all_pulls * rates.minutes_per_pull + sorting
    hours, worded = minutes / MINUTES, hours_words(minutes)
    kwh = charged_kg * rates.kwh_per_kg + run.all_pulls * rates.kwh_per_pull
    litres = run.all_pulls * rates.litres_per_pull
    sorted_too = f", sorting {hours_words(sorting)}" if sorting else ""
    return {
        "labour": (
            hours * rates.hourly_rate_minor,
            f"{worded} at {_money(rates.hourly_rate_minor, rates)}, setting up and "
            f"{run.trial_pulls} trial pulls counted{sorted_too}",
        ),
        "overhead": (
            hours * rates.overhead_minor_per_hour,
            f"{worded} at {_money(rates.overhead_minor_per_hour, rates)}",
        ),
        "energy_water": (
            kwh * rates.minor_per_kwh + litres / LITRES_PER_M3 * rates.minor_per_m3,
            f"{kwh:.1f} kWh and {_volume(litres, system)}",
        ),
    }


def _money(minor: Decimal, rates: Rates) -> str:
    return show_money(minor, rates.currency)


def _by_mass(minor_per_kg: Decimal, rates: Rates, system: System) -> str:
    """Word a price by the kilogram, or by the pound where masses are in pounds."""
    if system == "US":
        return f"{_money(minor_per_kg * POUND_KG, rates)} a lb"
    return f"{_money(minor_per_kg, rates)} a kg"


def _volume(litres: Decimal, system: System) -> str:
    if system == "US":
        return show_volume(Q(litres, "L"), system=system, places=0)
    return f"{litres:.0f} L"


def hours_words(minutes: Decimal) -> str:
    """Word hours, fine enough for the sum to be done again."""
    return f"{minutes / MINUTES:.2f}\u00a0h"
