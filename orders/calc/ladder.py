"""Prices at several quantities, and the quantity from which the set-up is earned."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from orders.calc.costcase import CostCase
from studio.errors import RangeError
from studio.money import digits, show_money
from studio.units import show_number
from studio.working import Line


@dataclass(frozen=True, slots=True)
class Rung:
    """Cost and price of a good sheet at one quantity, in minor units.

    ``setup_minor`` is the share of one sheet in what is spent whatever the number.
    """

    quantity: int
    cost_minor: Decimal
    setup_minor: Decimal
    price_minor: int
    tax_minor: int = 0

    @property
    def own_minor(self) -> Decimal:
        """What the sheet itself costs, without its share in setting up."""
        return self.cost_minor - self.setup_minor

    @property
    def kept_minor(self) -> Decimal:
        """What the price leaves over its cost."""
        return self.price_minor - self.cost_minor

    @property
    def setup_share(self) -> Decimal:
        """The part of the price that setting up takes."""
        return self.setup_minor / self.price_minor if self.price_minor else Decimal(0)

    @property
    def price_total_minor(self) -> int:
        """Price of all of them, before tax."""
        return self.price_minor * self.quantity


@dataclass(frozen=True, slots=True)
class Earned:
    """From how many good sheets on, at one price, the set-up is earned.

    ``sheets`` is None where the price does not even pay the sheet itself.
    """

    currency: str
    asked: int
    price_minor: int
    own_minor: Decimal
    setup_minor: Decimal
    sheets: int | None

    def words(self) -> str:
        """Say it in a sentence."""
        price = show_money(self.price_minor, self.currency)
        if self.sheets is None:
            own = show_money(self.own_minor, self.currency)
            return (
                f"At {price} a sheet the set-up is never earned: the sheet itself costs {own}, "
                "which is as much or more."
            )
        if not self.sheets:
            return "Nothing is spent on setting up, so there is nothing to earn."
        setup = show_money(self.setup_minor, self.currency)
        sheets = show_number(self.sheets)
        return (
            f"At {price} a sheet the set-up of {setup} is earned from {sheets} "
            f"sheet{'' if self.sheets == 1 else 's'} on. If fewer were taken at that price, it "
            "would not be paid."
        )

    def lines(self) -> tuple[Line, ...]:
        """Set out the sum."""
        money = (show_money(one, self.currency) for one in (self.price_minor, self.own_minor))
        price, own = money
        over = show_money(self.price_minor - self.own_minor, self.currency)
        setup = show_money(self.setup_minor, self.currency)
        found = "never" if self.sheets is None else f"{show_number(self.sheets)} sheets"
        return (
            Line("Set-up", setup, "setting up and clearing, trial pulls, and the heel"),
            Line("Price of a sheet", price, f"as reckoned for {show_number(self.asked)}"),
            Line("The sheet itself", own, "its cost without the set-up"),
            Line("What a sheet brings in", over, "price less the sheet itself", "line"),
            Line("Set-up is earned from", found, "set-up / what a sheet brings in, up", "answer"),
        )


@dataclass(frozen=True, slots=True)
class Ladder:
    """Prices at several quantities, rising, with what the set-up takes to be earned."""

    currency: str
    rungs: tuple[Rung, ...]
    earned: Earned

    def as_json(self) -> list[dict[str, Any]]:
        """Return plain numbers in whole units of the currency, one object for each quantity."""
        scale = -digits(self.currency)

        def major(minor: Decimal | int) -> float:
            return round(float(Decimal(minor).scaleb(scale)), 6)

        return [
            {
                "quantity": rung.quantity,
                "cost_per_sheet": major(rung.cost_minor),
                "setup_per_sheet": major(rung.setup_minor),
                "price_per_sheet": major(rung.price_minor),
                "price_total": major(rung.price_total_minor),
            }
            for rung in self.rungs
        ]


def break_even(
    setup_minor: Decimal | int, *, price_minor: Decimal | int, own_minor: Decimal | int
) -> int | None:
    """Return the fewest sheets whose price pays the set-up beside what they cost themselves.

    Parameters
    ----------
    setup_minor : Decimal or int [minor units]
        What is spent whatever the number, 0 or more.
    price_minor : Decimal or int [minor units]
        Price of one sheet.
    own_minor : Decimal or int [minor units]
        What one sheet costs beside the set-up.

    Returns
    -------
    int or None [sheets]
        Rounded up to a whole sheet; None where a sheet brings in nothing over its own cost and
        there is a set-up to earn.

    Raises
    ------
    RangeError
        If the set-up is below 0.

    Notes
    -----
    Fixed cost / (price − variable cost of one): the break-even point. Source: [BREAKEVEN].

    Examples
    --------
    >>> break_even(10_000, price_minor=2_000, own_minor=1_000)
    10
    >>> break_even(10_000, price_minor=1_000, own_minor=1_000) is None
    True
    """
    if setup_minor < 0:
        raise RangeError(
            f"A set-up costs 0 or more, got {setup_minor}.", field="setup", value=setup_minor
        )
    if not setup_minor:
        return 0
    over = Fraction(price_minor) - Fraction(own_minor)
    return None if over <= 0 else math.ceil(Fraction(setup_minor) / over)


def ladder(cases: Iterable[CostCase], *, asked: int) -> Ladder:
    """Return cost and price at several quantities, and from which one the set-up is earned.

    Parameters
    ----------
    cases : sequence of CostCase
        One for each quantity, each quantity once; their amounts in minor units.
    asked : int [sheets]
        The quantity whose price is looked at; one of the cases.

    Returns
    -------
    Ladder
        By rising quantity; amounts in minor units, prices rounded once.

    Raises
    ------
    RangeError
        If no case has the quantity that is looked at.

    Notes
    -----
    Set-up is what is spent before the first good sheet and does not grow with them: setting up
    and clearing, trial pulls, and the heel that is not kept. A price by markup or margin pays it
    at the quantity that it is reckoned for; earned from n sheets means that n sheets sold at that
    price pay it too: set-up / (price − cost of a sheet without set-up), rounded up. Source:
    [BREAKEVEN]; what counts as set-up is common practice, no source.

    Examples
    --------
    >>> from orders.calc.costrows import FibrePrice, Rates
    >>> from orders.calc.spec import SheetSpec
    >>> from studio.sizes import Size
    >>> rates = Rates("GBP", Decimal(2000), Decimal(0), Decimal(60), Decimal(6))
    >>> spec = SheetSpec(Size(210_000, 297_000), Decimal(120))
    >>> fibre = FibrePrice("linter", Decimal(1), Decimal(1), Decimal(900))
    >>> found = ladder([CostCase(spec, n, (fibre,), (), rates) for n in (100, 10)], asked=100)
    >>> [(rung.quantity, rung.setup_minor) for rung in found.rungs]
    [(10, Decimal('200.00')), (100, Decimal('20.00'))]
    """
    by_quantity = {case.quantity: case for case in cases}
    if asked not in by_quantity:
        raise RangeError(
            f"There is no price for {asked} sheets among those reckoned.",
            field="quantity",
            value=asked,
        )
    rungs = tuple(_rung(by_quantity[quantity]) for quantity in sorted(by_quantity))
    own = next(rung for rung in rungs if rung.quantity == asked)
    case = by_quantity[asked]
    setup = max(case.setup_minor, Decimal(0))
    sheets = break_even(setup, price_minor=own.price_minor, own_minor=own.own_minor)
    currency = case.rates.currency
    earned = Earned(currency, asked, own.price_minor, own.own_minor, setup, sheets)
    return Ladder(currency, rungs, earned)


def _rung(case: CostCase) -> Rung:
    found = case.cost()
    return Rung(
        quantity=case.quantity,
        cost_minor=found.total_minor_per_sheet,
        setup_minor=case.setup_minor / case.quantity,
        price_minor=found.price_minor_per_sheet,
        tax_minor=found.tax_minor,
    )
