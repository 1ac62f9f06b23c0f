"""How far the cost of a good sheet may lie from the reckoning: low, likely and high.

Floats are used for chances only; every amount that a chance is given to comes of the one
function that costs, in Decimals.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from orders.calc._pullchances import pulls_at
from orders.calc._shared import checked_share
from orders.calc.costcase import CostCase, Spreads
from studio.money import digits, show_money, whole_minor
from studio.units import show_number, show_share
from studio.working import Line

Numbers = NDArray[np.float64]
LOW, HIGH = 0.1, 0.9
PULL_STEPS, FACTOR_STEPS = 60, 32
PLACES = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class CostRange:
    """Cost and price of a good sheet, low, likely and high, in minor units.

    One making in ten comes out below the low, one in ten above the high. ``pulls`` are those of
    the culls alone; ``is_learned`` tells whether makings taught how far culls vary.
    """

    currency: str
    quantity: int
    low_minor: Decimal
    likely_minor: Decimal
    high_minor: Decimal
    low_price_minor: int
    likely_price_minor: int
    high_price_minor: int
    pulls: tuple[int, int, int]
    spreads: Spreads
    is_learned: bool

    def words(self) -> str:
        """Say it in a sentence."""
        low, high, cheap, dear = (
            show_money(one, self.currency)
            for one in (
                self.low_minor,
                self.high_minor,
                self.low_price_minor,
                self.high_price_minor,
            )
        )
        return (
            f"In eight makings of ten a good sheet costs from {low} to {high}, which makes a "
            f"price from {cheap} to {dear}; in one it costs less, in one more."
        )

    def lines(self) -> tuple[Line, ...]:
        """Set out what the range rests on."""
        few, usual, many = (show_number(count) for count in self.pulls)
        how = "as makings taught" if self.is_learned else "as makings usually differ: none taught"
        price, minutes = show_share(self.spreads.price), show_share(self.spreads.minutes)
        low, likely, high, cheap, dear = (
            show_money(one, self.currency)
            for one in (
                self.low_minor,
                self.likely_minor,
                self.high_minor,
                self.low_price_minor,
                self.high_price_minor,
            )
        )
        return (
            Line("Culls", f"{few} to {many}", f"pulls, {usual} reckoned; {how}"),
            Line("Price of fibre", f"± {price}", "at the most, less and more as likely"),
            Line("Minutes", f"± {minutes}", "at the most, less and more as likely"),
            Line("Cost as reckoned", likely, "with none of the three moved", "line"),
            Line("Low cost", low, f"one making in ten costs less; the price would be {cheap}"),
            Line(
                "High cost",
                high,
                f"one making in ten costs more; the price would be {dear}. Each of the three by "
                "itself, all combinations weighed by their chance",
            ),
        )

    def as_json(self) -> dict[str, Any]:
        """Return plain numbers in whole units of the currency."""
        scale = -digits(self.currency)

        def major(minor: Decimal | int) -> float:
            return round(float(Decimal(minor).scaleb(scale)), 6)

        return {
            "cost_low": major(self.low_minor),
            "cost_likely": major(self.likely_minor),
            "cost_high": major(self.high_minor),
            "price_low": major(self.low_price_minor),
            "price_likely": major(self.likely_price_minor),
            "price_high": major(self.high_price_minor),
            "pulls_low": self.pulls[0],
            "pulls_likely": self.pulls[1],
            "pulls_high": self.pulls[2],
        }


def cost_range(case: CostCase, *, spreads: Spreads) -> CostRange:
    """Return how far cost and price of a good sheet may lie from the reckoning.

    Parameters
    ----------
    case : CostCase
        What the cost is reckoned from.
    spreads : Spreads [-]
        How far fibre prices and minutes may move either way, as shares from 0 to 1.

    Returns
    -------
    CostRange
        In minor units a good sheet: the cost that one making in ten stays below, the reckoning
        itself, and the cost that one in ten goes beyond; and the prices that follow.

    Raises
    ------
    RangeError
        If a spread is not from 0 to 1, or the case cannot be costed.

    Notes
    -----
    Three sources, each by itself: pulls until there are good sheets enough (beta-negative-
    binomial, with the good share as makings taught it or with the usual difference between
    makings, 1/51), the price of fibre and the minutes of a making (each triangular about what is
    reckoned, with its spread as the furthest it goes). The cost is linear in each of the three;
    it is worked out for every combination of 60 pulls and 32 factors of each kind, all equally
    likely within their source, and the 10th and the 90th of a hundred are read off the sorted
    costs. No random draws. Distributions: [BETABINOMIAL], [BOOST]; triangular spread: common
    practice, no source.

    Examples
    --------
    >>> from orders.calc.costrows import FibrePrice, Rates
    >>> from orders.calc.spec import SheetSpec
    >>> from studio.sizes import Size
    >>> case = CostCase(
    ...     SheetSpec(Size(210_000, 297_000), Decimal(120)), 100,
    ...     (FibrePrice("linter", Decimal(1), Decimal("0.98"), Decimal(900)),), (),
    ...     Rates("GBP", Decimal(2200), Decimal(0), Decimal(60), Decimal(6)),
    ... )
    >>> found = cost_range(case, spreads=Spreads())
    >>> found.low_minor < found.likely_minor < found.high_minor
    True
    """
    for name, share in (("The price spread", spreads.price), ("The minutes", spreads.minutes)):
        checked_share(name, share)
    likely = case.cost()
    plane = _Plane.of(case, likely.pulls)
    beta, is_learned = case.good_share
    per_pull = case.spec.at_least_one_per_pull()
    pulls = _pulls(case.quantity, per_pull, beta, likely.pulls)
    low, high = plane.range(pulls, spreads)
    middle = likely.total_minor_per_sheet
    ends = [min(_minor(low / case.quantity), middle), max(_minor(high / case.quantity), middle)]
    prices = [whole_minor(case.price_minor(one)) for one in (ends[0], middle, ends[1])]
    few, many = (
        pulls_at((LOW, HIGH), case.quantity, per_pull, float(beta[0]), float(beta[1]))
        if beta
        else (likely.pulls, likely.pulls)
    )
    return CostRange(
        currency=likely.currency,
        quantity=case.quantity,
        low_minor=ends[0],
        likely_minor=middle,
        high_minor=ends[1],
        low_price_minor=prices[0],
        likely_price_minor=likely.price_minor_per_sheet,
        high_price_minor=prices[2],
        pulls=(few, likely.pulls, many),
        spreads=spreads,
        is_learned=is_learned,
    )


# --- beneath -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Plane:
    """The cost of all sheets as it moves with pulls, and what of it moves with each factor."""

    whole: tuple[float, float]
    of_price: tuple[float, float]
    of_minutes: tuple[float, float]

    @classmethod
    def of(cls, case: CostCase, pulls: int) -> _Plane:
        """Take the cost apart: it is linear, so a doubled input shows its share."""
        two = Decimal(2)
        whole = _ends(case, pulls)
        dearer = _ends(case.with_fibre_prices(two), pulls)
        slower = _ends(case.with_minutes(pull=two, setup=two, sort=two), pulls)
        return cls(
            _line(whole, pulls),
            _line(_less(dearer, whole), pulls),
            _line(_less(slower, whole), pulls),
        )

    def range(self, pulls: Numbers, spreads: Spreads) -> tuple[float, float]:
        """Return the costs that a tenth of all combinations stay below, and go beyond."""
        price = _factors(float(spreads.price))[None, :, None]
        minutes = _factors(float(spreads.minutes))[None, None, :]
        each = pulls[:, None, None]

        def at(line: tuple[float, float]) -> Numbers:
            return line[0] + line[1] * each

        costs = at(self.whole) + at(self.of_price) * price + at(self.of_minutes) * minutes
        # Each stands for the middle of its own step of chance.
        low, high = np.quantile(costs, [LOW, HIGH], method="hazen")
        return float(low), float(high)


def _ends(case: CostCase, pulls: int) -> tuple[Decimal, Decimal]:
    return case.total_minor(0), case.total_minor(pulls)


def _less(one: tuple[Decimal, Decimal], other: tuple[Decimal, Decimal]) -> tuple[Decimal, Decimal]:
    return one[0] - other[0], one[1] - other[1]


def _line(ends: tuple[Decimal, Decimal], pulls: int) -> tuple[float, float]:
    return float(ends[0]), float((ends[1] - ends[0]) / pulls)


def _pulls(
    good: int, per_pull: int, beta: tuple[Decimal, Decimal] | None, average: int
) -> Numbers:
    """Return pulls that are equally likely, one for each step of chance."""
    if beta is None:
        return np.array([float(average)])
    chances = tuple((step + 0.5) / PULL_STEPS for step in range(PULL_STEPS))
    found = pulls_at(chances, good, per_pull, float(beta[0]), float(beta[1]))
    return np.array(found, dtype=float)


def _factors(spread: float) -> Numbers:
    """Return how far a triangular factor lies off 1, equally likely, one for each step."""
    if not spread:
        return np.array([0.0])
    chances = (np.arange(FACTOR_STEPS) + 0.5) / FACTOR_STEPS
    low = -1 + np.sqrt(2 * chances)
    high = 1 - np.sqrt(2 * (1 - chances))
    return spread * np.where(chances < 0.5, low, high)


def _minor(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(PLACES)
