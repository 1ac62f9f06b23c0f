"""Which input moves the price of a good sheet the most, one input at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from orders.calc._pullchances import pulls_at
from orders.calc._shared import checked_share
from orders.calc.costcase import CostCase, Spreads
from orders.calc.costrange import HIGH, LOW
from studio.money import digits
from studio.units import show_number, show_share

ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Swing:
    """The price of a good sheet with one input lower and higher, in minor units, not rounded."""

    label: str
    because: str
    low_minor: Decimal
    high_minor: Decimal

    @property
    def width_minor(self) -> Decimal:
        """How far the price moves from end to end."""
        return abs(self.high_minor - self.low_minor)


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """The swings of a price, the widest first."""

    currency: str
    price_minor: Decimal
    swings: tuple[Swing, ...]

    def words(self) -> str:
        """Say which input moves the price most."""
        if not self.swings:
            return "Nothing that moves is counted in the price."
        return f"The price moves most with this: {_lower(self.swings[0].label)}."

    def as_json(self) -> list[dict[str, Any]]:
        """Return plain numbers in whole units of the currency, the widest first."""
        scale = -digits(self.currency)

        def major(minor: Decimal) -> float:
            return round(float(minor.scaleb(scale)), 6)

        return [
            {
                "input": swing.label,
                "price_low": major(swing.low_minor),
                "price_high": major(swing.high_minor),
            }
            for swing in self.swings
        ]


def sensitivity(case: CostCase, *, spreads: Spreads) -> Sensitivity:
    """Return how far each input by itself moves the price of a good sheet.

    Parameters
    ----------
    case : CostCase
        What the cost is reckoned from, in minor units.
    spreads : Spreads [-]
        How far prices and minutes may move either way, as shares from 0 to 1.

    Returns
    -------
    Sensitivity
        Prices of a good sheet in minor units, not rounded; the input that moves it most first,
        inputs that do not move it left out.

    Raises
    ------
    RangeError
        If a spread is not from 0 to 1, or the case cannot be costed.

    Notes
    -----
    One input at a time, all others as reckoned: the price of each fibre, and of what is dosed,
    less and more by the price spread; minutes of a pull, of setting up and of sorting by the
    minutes spread; culls from the pulls that are enough in one making of ten to those that are
    in nine. Source: definition; the pulls as :func:`orders.calc.costrange.cost_range` has them.

    Examples
    --------
    >>> from orders.calc.costrows import FibrePrice, Rates
    >>> from orders.calc.spec import SheetSpec
    >>> from studio.sizes import Size
    >>> case = CostCase(
    ...     SheetSpec(Size(210_000, 297_000), Decimal(120)), 100,
    ...     (FibrePrice("linter", ONE, ONE, Decimal(900)),), (),
    ...     Rates("GBP", Decimal(2200), Decimal(0), Decimal(60), Decimal(6)),
    ... )
    >>> [swing.label for swing in sensitivity(case, spreads=Spreads()).swings]
    ['Minutes of a pull', 'Culls', 'Minutes of setting up', 'Price of linter']
    """
    for name, share in (("The price spread", spreads.price), ("The minutes", spreads.minutes)):
        checked_share(name, share)
    swings = [swing for swing in _swings(case, spreads) if swing.width_minor]
    swings.sort(key=lambda swing: -swing.width_minor)
    return Sensitivity(case.rates.currency, _price(case), tuple(swings))


# --- beneath -------------------------------------------------------------------------------------


def _swings(case: CostCase, spreads: Spreads) -> Iterator[Swing]:
    less, more = 1 - spreads.price, 1 + spreads.price
    moved = f"± {show_share(spreads.price)}"
    for fibre in case.fibres:
        ends = (case.with_fibre_prices(factor, fibre.fibre) for factor in (less, more))
        yield _swing(f"Price of {fibre.fibre}", moved, *ends)
    ends = (case.with_addition_prices(factor) for factor in (less, more))
    yield _swing("Price of sizing, filler and pigment", moved, *ends)
    fast, slow = 1 - spreads.minutes, 1 + spreads.minutes
    moved = f"± {show_share(spreads.minutes)}"
    for label, what in (
        ("Minutes of a pull", "pull"),
        ("Minutes of setting up", "setup"),
        ("Minutes of sorting fibre", "sort"),
    ):
        ends = (case.with_minutes(**{what: factor}) for factor in (fast, slow))
        yield _swing(label, moved, *ends)
    yield from _culls(case)


def _culls(case: CostCase) -> Iterator[Swing]:
    beta, is_learned = case.good_share
    if beta is None:
        return
    per_pull = case.spec.at_least_one_per_pull()
    a, b = (float(one) for one in beta)
    few, many = pulls_at((LOW, HIGH), case.quantity, per_pull, a, b)
    taught = "as makings taught" if is_learned else "as makings usually differ"
    words = f"{show_number(few)} to {show_number(many)} pulls, {taught}"
    yield Swing("Culls", words, _price(case, few), _price(case, many))


def _swing(label: str, because: str, low: CostCase, high: CostCase) -> Swing:
    return Swing(label, because, _price(low), _price(high))


def _price(case: CostCase, pulls: int | None = None) -> Decimal:
    return case.price_minor(case.cost(pulls).total_minor_per_sheet)


def _lower(words: str) -> str:
    return words[0].lower() + words[1:]
