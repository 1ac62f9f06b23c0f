"""All that the cost of a sheet is reckoned from, read once for any number of sheets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from fibres.models import Addition, FurnishPart
from orders import prices, specs
from orders.bookcosts import Masses
from orders.calc.costcase import CostCase, Spreads
from orders.calc.costing import AdditionPrice, Cost, Rates
from orders.calc.costrange import CostRange, cost_range
from orders.calc.cover import Pick
from orders.calc.ladder import Ladder, ladder
from orders.calc.sensitivity import Sensitivity, sensitivity
from orders.calc.sheets import need_mg
from orders.calc.spec import SheetSpec
from orders.models import Sheet
from orders.prices import PricedPart
from studio.context import units_here
from studio.errors import StudioError
from studio.models import Studio
from studio.money import show_money, whole_minor


@dataclass(frozen=True, slots=True)
class Today:
    """A sheet by the book, and with its fibre at what it would cost to put it back today."""

    book: CostCase
    today: CostCase

    def words(self) -> str:
        """Say what the sheet would cost with fibre at the prices of today."""
        book, now = self.book.cost(), self.today.cost()
        currency = book.currency
        # Rounded before they are set against each other, as they are read.
        cost, was = (whole_minor(one.total_minor_per_sheet) for one in (now, book))
        if cost == was:
            return "With all its fibre at the prices of today a good sheet would cost the same."
        dearer = "more" if cost > was else "less"
        each, apart, price = (
            show_money(one, currency) for one in (cost, abs(cost - was), now.price_minor_per_sheet)
        )
        return (
            f"With all its fibre at the prices of today a good sheet would cost {each}, {apart} "
            f"{dearer} than reckoned, and the price would be {price}."
        )


@dataclass(frozen=True, slots=True)
class Costing:
    """What one sheet is costed with: the lots set aside and the prices of the rest."""

    studio: Studio
    spec: SheetSpec
    priced: tuple[PricedPart, ...]
    additions: tuple[AdditionPrice, ...]
    rates: Rates

    def case(self, quantity: int) -> CostCase:
        """Return the sheet at one quantity, with the lots that it would take."""
        system = units_here(self.studio)
        need = need_mg(self.spec, max(quantity, 1))
        fibres = prices.fibre_prices(self.priced, need, system)
        return CostCase(self.spec, quantity, tuple(fibres), self.additions, self.rates, system)

    def cost(self, quantity: int) -> Cost:
        """Return what a good sheet costs at one quantity."""
        return self.case(quantity).cost()

    def at_todays_prices(self, quantity: int, today: date) -> Today:
        """Return the sheet with all its fibre at what it would cost to put it back today."""
        case = self.case(quantity)
        known = prices.today_prices({one.part.fibre_id for one in self.priced}, today)
        fibres = tuple(
            replace(one, minor_per_kg=known[one.fibre].minor_per_kg, basis=known[one.fibre].basis)
            if one.fibre in known
            else one
            for one in case.fibres
        )
        return Today(case, replace(case, fibres=fibres))

    @property
    def spreads(self) -> Spreads:
        """How far prices and minutes may move, as the studio says."""
        return Spreads(self.studio.price_spread, self.studio.minutes_spread)

    def range(self, quantity: int) -> CostRange:
        """Return how far the cost may lie from the reckoning."""
        return cost_range(self.case(quantity), spreads=self.spreads)

    def sensitivity(self, quantity: int) -> Sensitivity:
        """Return what moves the price most."""
        return sensitivity(self.case(quantity), spreads=self.spreads)

    def ladder(self, quantities: Iterable[int], *, asked: int) -> Ladder:
        """Return the prices at several quantities, that which is asked about among them."""
        numbers = dict.fromkeys([asked, *quantities])
        return ladder([self.case(number) for number in numbers], asked=asked)


def read(
    sheet: Sheet,
    *,
    picks: Sequence[Pick] = (),
    ahead: Masses | None = None,
) -> Costing:
    """Read prices, doses and rates of a sheet.

    ``picks`` are set aside for it and ``ahead`` is what goes out of each lot before them.
    """
    studio = Studio.current()
    parts = list(
        FurnishPart.objects.filter(furnish_id=sheet.furnish_id)
        .select_related("fibre")
        .order_by("-share", "pk")
    )
    if not parts:
        raise StudioError(
            f"The furnish of {sheet.name} has no fibre yet. Give it its fibres and their shares.",
            field="furnish",
        )
    additions = Addition.objects.filter(furnish_id=sheet.furnish_id)
    spec = specs.spec_of(sheet, studio, specs.read_shrinkages())
    return Costing(
        studio=studio,
        spec=spec,
        priced=tuple(prices.priced_parts(parts, picks, way=studio.book_cost, ahead=ahead)),
        additions=tuple(
            AdditionPrice(
                addition.name,
                addition.dose,
                None if addition.minor_per_kg is None else Decimal(addition.minor_per_kg),
            )
            for addition in additions
        ),
        rates=rates_of(studio, sheet),
    )


def rates_of(studio: Studio, sheet: Sheet) -> Rates:
    """Return the studio's rates, with the sheet's own minutes where it has some."""
    minutes = studio.minutes_per_pull if sheet.minutes_per_pull is None else sheet.minutes_per_pull
    setup = studio.setup_minutes if sheet.setup_minutes is None else sheet.setup_minutes
    return Rates(
        currency=studio.currency,
        hourly_rate_minor=Decimal(studio.hourly_rate_minor),
        overhead_minor_per_hour=Decimal(studio.overhead_minor_per_hour),
        setup_minutes=Decimal(setup),
        minutes_per_pull=Decimal(minutes),
        trial_pulls=studio.trial_pulls,
        heel_mg=studio.heel_mg,
        heel_recovered=studio.heel_recovered,
        broke_recovered=studio.broke_recovered,
        kwh_per_kg=studio.energy_kwh_per_kg,
        kwh_per_pull=studio.energy_kwh_per_pull,
        minor_per_kwh=Decimal(studio.energy_minor_per_kwh),
        litres_per_pull=studio.water_litres_per_pull,
        minor_per_m3=Decimal(studio.water_minor_per_m3),
        packing_minor_per_sheet=Decimal(studio.packing_minor_per_sheet),
        price_by=studio.price_by,
        price_rate=studio.price_rate,
        tax_rate=studio.tax_rate,
    )
