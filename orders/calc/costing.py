"""What a good sheet costs, part by part, and the price that follows from it.

Amounts are Decimal minor units until the one rounding of the price at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from orders.calc._costparts import MINUTES, Run, parts_of
from orders.calc.costrows import AdditionPrice, CostPart, FibrePrice, Rates
from orders.calc.sheets import SheetSpec
from studio.errors import RangeError
from studio.money import digits, show_money, whole_minor
from studio.units import System, show_number, show_share
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
    tax_rate: Decimal = Decimal(0)

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
    def tax_words(self) -> str:
        """Say what tax adds; a tax that rounds to nothing is not taken for a rate of nothing."""
        if not self.tax_rate:
            return "No tax is added: the studio's own rate is 0."
        rate = show_share(self.tax_rate, places=4)
        at = f"At {show_number(self.quantity)} sheets tax of"
        total = show_money(self.price_total_minor + self.tax_minor, self.currency)
        if not self.tax_minor:
            return f"{at} {rate} rounds to nothing and the bill comes to {total}."
        tax = show_money(self.tax_minor, self.currency)
        return f"{at} {rate} adds {tax} and the bill comes to {total}."

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
    pulls: int | None = None,
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
    pulls : int [pulls], optional
        Pulls that it takes, where they are known; else as many as it takes on average.

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
    run = Run.of(spec, quantity, rates, pulls)
    parts = parts_of(run, fibres, additions, rates, quantity, system=system)
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
        missing=_missing(fibres, additions),
        notes=tuple(f"{fibre.fibre}: {fibre.basis}" for fibre in fibres if fibre.basis),
        tax_rate=rates.tax_rate,
    )


def _missing(fibres: Sequence[FibrePrice], additions: Sequence[AdditionPrice]) -> tuple[str, ...]:
    """Name what no price is known for."""
    return (
        *(one.fibre for one in fibres if one.minor_per_kg is None),
        *(one.name for one in additions if one.minor_per_kg is None),
    )
