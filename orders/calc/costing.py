"""What a good sheet costs, part by part, and the price that follows from it.

Amounts are Decimal minor units until the one rounding of the price at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from orders.calc import culls
from orders.calc.sheets import SheetSpec, need_mg, pull_mg, sheets_per_pull
from studio.errors import RangeError
from studio.money import digits, show_money, whole_minor
from studio.units import show_mass, show_share
from studio.working import Line

MG_PER_KG = Decimal(1_000_000)
MINUTES = Decimal(60)
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
class FibrePrice:
    """One fibre of the furnish: its share, its losses and what an oven-dry kilogram costs.

    ``minor_per_kg`` is None where no price is known; ``basis`` says where the price is from.
    """

    fibre: str
    share: Decimal
    preparation_yield: Decimal
    minor_per_kg: Decimal | None
    basis: str = ""
    sorting_minutes_per_kg: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class AdditionPrice:
    """One addition: its dose on dry fibre and what a kilogram costs, None where not known."""

    name: str
    dose: Decimal
    minor_per_kg: Decimal | None


@dataclass(frozen=True, slots=True)
class Rates:
    """The studio's own figures: pay, rooms, tariffs, habits, and how it makes a price."""

    currency: str
    hourly_rate_minor: Decimal
    overhead_minor_per_hour: Decimal
    setup_minutes: Decimal
    minutes_per_pull: Decimal
    trial_pulls: int = 0
    heel_mg: int = 0
    heel_recovered: Decimal = Decimal(0)
    broke_recovered: Decimal = Decimal(0)
    kwh_per_kg: Decimal = Decimal(0)
    kwh_per_pull: Decimal = Decimal(0)
    minor_per_kwh: Decimal = Decimal(0)
    litres_per_pull: Decimal = Decimal(0)
    minor_per_m3: Decimal = Decimal(0)
    packing_minor_per_sheet: Decimal = Decimal(0)
    price_by: str = "margin"
    price_rate: Decimal = Decimal(0)
    tax_rate: Decimal = Decimal(0)


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
    def working(self) -> tuple[Line, ...]:
        """The sum set out line by line."""
        lines = [
            Line(part.label, show_money(part.minor_per_sheet, self.currency), part.because)
            for part in self.parts
        ]
        cost = show_money(self.total_minor_per_sheet, self.currency)
        price = show_money(self.price_minor_per_sheet, self.currency)
        kind = "of the price kept as margin"
        if self.price_by == "markup":
            kind = "of the cost added as markup"
        return (
            *lines,
            Line("Cost of a good sheet", cost, f"{self.pulls} pulls for {self.quantity}", "line"),
            Line(
                "Price of a good sheet", price, f"{show_share(self.price_rate)} {kind}", "answer"
            ),
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
    recovered + overhead + packing) / good sheets. Labour counts set-up, trial pulls and the
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
    parts = _parts(run, fibres, additions, rates, quantity)
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
        return cls(
            pulls=pulls,
            trial_pulls=rates.trial_pulls,
            sheet_mg=vat_mg,
            trial_mg=rates.trial_pulls * pull_mg(spec),
            heel_mg=rates.heel_mg,
            broke_mg=vat_mg * spec.retention * spec.broke,
        )

    @property
    def all_pulls(self) -> int:
        return self.pulls + self.trial_pulls


def _parts(
    run: _Run,
    fibres: Sequence[FibrePrice],
    additions: Sequence[AdditionPrice],
    rates: Rates,
    quantity: int,
) -> tuple[CostPart, ...]:
    fibre_rate = sum(
        (
            fibre.share / fibre.preparation_yield * (fibre.minor_per_kg or Decimal(0))
            for fibre in fibres
        ),
        Decimal(0),
    )
    addition_rate = sum(
        (addition.dose * (addition.minor_per_kg or Decimal(0)) for addition in additions),
        Decimal(0),
    )
    sorting_rate = sum(
        (fibre.share / fibre.preparation_yield * fibre.sorting_minutes_per_kg for fibre in fibres),
        Decimal(0),
    )
    vat_kg = run.sheet_mg / MG_PER_KG
    spent_kg = (run.trial_mg + run.heel_mg * (1 - rates.heel_recovered)) / MG_PER_KG
    back_kg = run.broke_mg * rates.broke_recovered / MG_PER_KG
    charged_kg = (run.sheet_mg + run.trial_mg + run.heel_mg) / MG_PER_KG
    sorting = sorting_rate * charged_kg
    minutes = rates.setup_minutes + run.all_pulls * rates.minutes_per_pull + sorting
    kwh = charged_kg * rates.kwh_per_kg + run.all_pulls * rates.kwh_per_pull
    litres = run.all_pulls * rates.litres_per_pull
    vat = show_mass(run.sheet_mg)
    amounts = {
        "fibre": (vat_kg * fibre_rate, f"{vat} in the vat at {_money(fibre_rate, rates)} a kg"),
        "additions": (vat_kg * addition_rate, f"Dosed on {vat} of dry fibre"),
        "labour": (
            minutes / MINUTES * rates.hourly_rate_minor,
            f"{_hours(minutes)} at {_money(rates.hourly_rate_minor, rates)}, setting up and "
            f"{run.trial_pulls} trial pulls counted"
            + (f", sorting {_hours(sorting)}" if sorting else ""),
        ),
        "energy_water": (
            kwh * rates.minor_per_kwh + litres / LITRES_PER_M3 * rates.minor_per_m3,
            f"{kwh:.1f} kWh and {litres:.0f} L",
        ),
        "waste": (
            spent_kg * (fibre_rate + addition_rate) - back_kg * fibre_rate,
            f"{show_mass(run.trial_mg)} in trial sheets, {show_mass(run.heel_mg)} in the heel"
            + (f", less {show_mass(int(back_kg * MG_PER_KG))} of broke" if back_kg else ""),
        ),
        "overhead": (minutes / MINUTES * rates.overhead_minor_per_hour, "By the hour"),
        "packing": (rates.packing_minor_per_sheet * quantity, "By the sheet"),
    }
    return tuple(
        CostPart(key, label, amounts[key][0] / quantity, amounts[key][1]) for key, label in PARTS
    )


def _money(minor: Decimal, rates: Rates) -> str:
    return show_money(minor, rates.currency)


def _hours(minutes: Decimal) -> str:
    return f"{minutes / MINUTES:.1f}\u00a0h"
