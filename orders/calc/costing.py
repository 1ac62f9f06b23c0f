"""What a good sheet costs, part by part, and the price that follows from it.

Amounts are Decimal minor units until the one rounding of the price at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import partial
from typing import Any

from orders.calc import culls
from orders.calc.costrows import AdditionPrice, FibrePrice, Rates
from orders.calc.sheets import SheetSpec, need_mg, pull_mg, sheets_per_pull
from studio.errors import RangeError
from studio.money import digits, show_money, whole_minor
from studio.units import Q, System, show_mass, show_share, show_volume
from studio.working import Line

__all__ = [
    "AdditionPrice",
    "Cost",
    "CostPart",
    "FibrePrice",
    "Rates",
    "cost",
    "price_from_cost",
]
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
class CostPart:
    """One part of the cost of a good sheet, in minor units, with what it is reckoned from."""

    key: str
    label: str
    minor_per_sheet: Decimal
    because: str


@dataclass(frozen=True, slots=True)
class Cost:
    """What one good sheet costs at one quantity, and its price."""

    currency: str
    quantity: int
    pulls: int
    parts: tuple[CostPart, ...]
    price_by: str
    price_rate: Decimal
    price_minor_per_sheet: int
    tax_minor: int
    setup_minor: Decimal
    missing: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def total_minor_per_sheet(self) -> Decimal:
        """Cost of one good sheet."""
        return sum((part.minor_per_sheet for part in self.parts), Decimal(0))

    @property
    def price_total_minor(self) -> int:
        """Price of all good sheets, before tax: the price of one, times their number."""
        return self.price_minor_per_sheet * self.quantity

    @property
    def rate_words(self) -> str:
        """Name markup or margin for what it is."""
        rate = show_share(self.price_rate)
        if self.price_by == "markup":
            return f"{rate} of the cost added as markup"
        return f"{rate} of the price kept as margin"

    @property
    def working(self) -> tuple[Line, ...]:
        """The sum set out line by line."""
        lines = [
            Line(part.label, show_money(part.minor_per_sheet, self.currency), part.because)
            for part in self.parts
        ]
        cost = show_money(self.total_minor_per_sheet, self.currency)
        price = show_money(self.price_minor_per_sheet, self.currency)
        return (
            *lines,
            Line("Cost of a good sheet", cost, f"{self.pulls} pulls for {self.quantity}", "line"),
            Line("Price of a good sheet", price, self.rate_words, "answer"),
        )

    def as_json(self) -> dict[str, Any]:
        """Return plain numbers in whole units of the currency, keys as fixed in the design."""
        scale = -digits(self.currency)
        per_sheet = {
            part.key: round(float(part.minor_per_sheet.scaleb(scale)), 6) for part in self.parts
        }
        per_sheet["total"] = round(float(self.total_minor_per_sheet.scaleb(scale)), 6)
        return {
            "currency": self.currency,
            "quantity": self.quantity,
            "per_sheet": per_sheet,
            "price_per_sheet": float(Decimal(self.price_minor_per_sheet).scaleb(scale)),
            "price_total": float(Decimal(self.price_total_minor).scaleb(scale)),
        }


def price_from_cost(cost: Decimal, *, by: str, rate: Decimal) -> Decimal:
    """Return the price that follows from a cost, by markup or by margin.

    Parameters
    ----------
    cost : Decimal [minor units]
        What one sheet costs.
    by : str
        ``markup``, a share added to the cost, or ``margin``, a share kept of the price.
    rate : Decimal [-]
        That share; a margin is below 1.

    Returns
    -------
    Decimal [minor units]
        Not rounded.

    Raises
    ------
    RangeError
        If the rate is negative, if a margin is 1 or more, or if ``by`` is neither.

    Notes
    -----
    markup: c(1 + k); margin: c / (1 − m). The two differ: 20 % markup on 80 is 96.00, 20 %
    margin is 100.00. Source: definition.

    Examples
    --------
    >>> f'{price_from_cost(Decimal(8000), by="margin", rate=Decimal("0.2")):.2f}'
    '10000.00'
    >>> f'{price_from_cost(Decimal(8000), by="markup", rate=Decimal("0.2")):.2f}'
    '9600.00'
    """
    if by not in {"markup", "margin"}:
        raise RangeError(f"A price is made by markup or by margin, got {by!r}.", field="price_by")
    if rate < 0 or (by == "margin" and rate >= 1):
        raise RangeError(
            f"A {by} must be from 0 %{' and below 100 %' if by == 'margin' else ' up'}, got "
            f"{show_share(rate)}.",
            field="price_rate",
            value=rate,
        )
    return cost * (1 + rate) if by == "markup" else cost / (1 - rate)


def cost(
    spec: SheetSpec,
    quantity: int,
    *,
    fibres: Sequence[FibrePrice],
    additions: Sequence[AdditionPrice],
    rates: Rates,
    system: System = "metric",
) -> Cost:
    """Return what a good sheet costs when so many good ones are made.

    Parameters
    ----------
    spec : SheetSpec
        The sheet with its losses.
    quantity : int [sheets]
        Good sheets to make, 1 or more; set-up is spread over them.
    fibres : sequence of FibrePrice
        One per line of the furnish; shares add up to 1. Prices per oven-dry kilogram.
    additions : sequence of AdditionPrice
        Doses on dry fibre; may be empty.
    rates : Rates
        The studio's own rates.
    system : str
        The units that the words are in, ``metric`` or ``US``.

    Returns
    -------
    Cost
        Parts in minor units per good sheet, the price, and what no price is known for.

    Raises
    ------
    RangeError
        If ``quantity`` is below 1, or the rate cannot make a price.

    Notes
    -----
    (fibre issued + additions + labour + energy and water + heel and trial sheets − broke
    recovered + overhead + packing) / good sheets. Broke is what is cut off the pulls and the
    faulty ones of the sheets that are left. Labour counts set-up, trial pulls and the
    sorting of donated fibre. Source: definition; the parts are common practice, no source.

    Examples
    --------
    >>> from studio.sizes import Size
    >>> spec = SheetSpec(size=Size(210_000, 297_000), grammage=Decimal(120))
    >>> answer = cost(
    ...     spec, 100,
    ...     fibres=[FibrePrice("linter", Decimal(1), Decimal("0.98"), Decimal(900))],
    ...     additions=[],
    ...     rates=Rates("GBP", Decimal(2200), Decimal(0), Decimal(60), Decimal(6)),
    ... )
    >>> answer.quantity, answer.pulls > 100
    (100, True)
    """
    if quantity < 1:
        raise RangeError(
            f"Give a whole number of good sheets, 1 or more, got {quantity}.",
            field="quantity",
            value=quantity,
        )
    run = _Run.of(spec, quantity, rates)
    parts = _parts(run, fibres, additions, rates, quantity, system=system)
    total = sum((part.minor_per_sheet for part in parts), Decimal(0))
    exact = price_from_cost(total, by=rates.price_by, rate=rates.price_rate)
    price = whole_minor(exact)
    hourly = rates.hourly_rate_minor + rates.overhead_minor_per_hour
    return Cost(
        currency=rates.currency,
        quantity=quantity,
        pulls=run.pulls,
        parts=parts,
        price_by=rates.price_by,
        price_rate=rates.price_rate,
        price_minor_per_sheet=price,
        tax_minor=whole_minor(price * quantity * rates.tax_rate),
        setup_minor=rates.setup_minutes / MINUTES * hourly,
        missing=tuple(
            item
            for item, price_known in (
                *((fibre.fibre, fibre.minor_per_kg) for fibre in fibres),
                *((addition.name, addition.minor_per_kg) for addition in additions),
            )
            if price_known is None
        ),
        notes=tuple(f"{fibre.fibre}: {fibre.basis}" for fibre in fibres if fibre.basis),
    )


@dataclass(frozen=True, slots=True)
class _Run:
    """The masses and pulls of one making, in milligrams of usable fibre."""

    pulls: int
    trial_pulls: int
    sheet_mg: int
    trial_mg: int
    heel_mg: int
    broke_mg: Decimal

    @classmethod
    def of(cls, spec: SheetSpec, quantity: int, rates: Rates) -> _Run:
        good = 1 - spec.broke - spec.retree
        pulls = culls.pulls_average(
            quantity, good_share=good, sheets_per_pull=sheets_per_pull(spec)
        )
        vat_mg = need_mg(spec, quantity)
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


def _parts(
    run: _Run,
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


def _materials(run: _Run, blend: _Blend, rates: Rates, system: System) -> _Amounts:
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


def _work(run: _Run, blend: _Blend, rates: Rates, system: System) -> _Amounts:
    """Reckon hours, rooms, energy and water; trial pulls take all of them too."""
    charged_kg = (run.sheet_mg + run.trial_mg + run.heel_mg) / MG_PER_KG
    sorting = blend.sorting_minutes * charged_kg
    minutes = rates.setup_minutes + run.all_pulls * rates.minutes_per_pull + sorting
    hours, worded = minutes / MINUTES, _hours(minutes)
    kwh = charged_kg * rates.kwh_per_kg + run.all_pulls * rates.kwh_per_pull
    litres = run.all_pulls * rates.litres_per_pull
    sorted_too = f", sorting {_hours(sorting)}" if sorting else ""
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


def _hours(minutes: Decimal) -> str:
    return f"{minutes / MINUTES:.1f}\u00a0h"
