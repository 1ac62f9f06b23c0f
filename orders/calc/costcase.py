"""A sheet at one quantity with all that its cost is reckoned from, to be costed in variations."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal

from orders.calc.costing import Cost, cost, price_from_cost
from orders.calc.costrows import AdditionPrice, FibrePrice, Rates
from orders.calc.culls import Learned
from orders.calc.learned import beta_with
from orders.calc.spec import SheetSpec
from studio.units import System

# As many sheets as say how far the good share of makings differs where nothing is learned: the
# usual difference between makings, 1/51, as learned shares take it (common practice, no source).
USUAL_WEIGHT = 50.0
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Spreads:
    """How far the inputs of a cost may move: shares of themselves, 0 to 1, either way."""

    price: Decimal = Decimal("0.1")
    minutes: Decimal = Decimal("0.2")


@dataclass(frozen=True, slots=True)
class CostCase:
    """What a cost is reckoned from; each variation is costed by the one function that costs."""

    spec: SheetSpec
    quantity: int
    fibres: tuple[FibrePrice, ...]
    additions: tuple[AdditionPrice, ...]
    rates: Rates
    system: System = "metric"

    def cost(self, pulls: int | None = None) -> Cost:
        """Return the cost, with the pulls it takes on average or as many as are given."""
        return cost(
            self.spec,
            self.quantity,
            fibres=self.fibres,
            additions=self.additions,
            rates=self.rates,
            system=self.system,
            pulls=pulls,
        )

    def total_minor(self, pulls: int | None = None) -> Decimal:
        """Return the cost of all its good sheets."""
        return self.cost(pulls).total_minor_per_sheet * self.quantity

    @property
    def setup_minor(self) -> Decimal:
        """What is spent whatever the number: setting up, trial pulls, and the heel."""
        packing = self.rates.packing_minor_per_sheet * self.quantity
        return self.total_minor(pulls=0) - packing

    def price_minor(self, cost_minor: Decimal) -> Decimal:
        """Return the price of a sheet that follows from its cost, not rounded."""
        return price_from_cost(cost_minor, by=self.rates.price_by, rate=self.rates.price_rate)

    @property
    def good_share(self) -> tuple[Learned | None, bool]:
        """How the good share is spread, as Beta parameters, and whether makings taught it.

        None where every sheet is good: then there is nothing to spread.
        """
        if self.spec.learned is not None:
            return self.spec.learned, True
        good = 1 - self.spec.broke - self.spec.retree
        if not 0 < good < 1:
            return None, False
        return beta_with(good, weight=USUAL_WEIGHT), False

    # --- variations --------------------------------------------------------------------------

    def with_fibre_prices(self, factor: Decimal, fibre: str = "") -> CostCase:
        """Return the case with all fibre so many times as dear, or one fibre."""
        return replace(
            self,
            fibres=tuple(
                replace(one, minor_per_kg=one.minor_per_kg * factor)
                if one.minor_per_kg is not None and fibre in {"", one.fibre}
                else one
                for one in self.fibres
            ),
        )

    def with_addition_prices(self, factor: Decimal) -> CostCase:
        """Return the case with sizing, filler and pigment so many times as dear."""
        return replace(
            self,
            additions=tuple(
                replace(one, minor_per_kg=one.minor_per_kg * factor)
                if one.minor_per_kg is not None
                else one
                for one in self.additions
            ),
        )

    def with_minutes(
        self,
        *,
        pull: Decimal = Decimal(1),
        setup: Decimal = Decimal(1),
        sort: Decimal = Decimal(1),
    ) -> CostCase:
        """Return the case with so many times the minutes of a pull, of setting up, of sorting."""
        rates = replace(
            self.rates,
            minutes_per_pull=self.rates.minutes_per_pull * pull,
            setup_minutes=self.rates.setup_minutes * setup,
        )
        fibres = tuple(
            replace(one, sorting_minutes_per_kg=one.sorting_minutes_per_kg * sort)
            for one in self.fibres
        )
        return replace(self, rates=rates, fibres=fibres)
