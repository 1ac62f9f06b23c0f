"""A sheet to be costed in variations, with figures that can be reckoned by hand."""

from dataclasses import replace
from decimal import Decimal

from orders.calc.costcase import CostCase
from orders.calc.costrows import FibrePrice, Rates
from orders.calc.spec import SheetSpec
from studio.sizes import Size

# 1000 × 1000 mm of 100 g/m² without water, losses or culls: 100 g of fibre a sheet.
PLAIN = SheetSpec(
    Size(1_000_000, 1_000_000),
    Decimal(100),
    sheet_moisture=Decimal(0),
    retention=Decimal(1),
    broke=Decimal(0),
    retree=Decimal(0),
)
NOTHING = Rates(
    currency="GBP",
    hourly_rate_minor=Decimal(0),
    overhead_minor_per_hour=Decimal(0),
    setup_minutes=Decimal(0),
    minutes_per_pull=Decimal(0),
)
LINTER = FibrePrice("linter", Decimal(1), Decimal(1), Decimal(1000))


def case(quantity=100, *, fibres=(LINTER,), additions=(), spec=None, rates=None, **changes):
    """Return a plain sheet at 10.00 a kilogram; ``changes`` are of the sheet or of the rates."""
    of_sheet = {name: value for name, value in changes.items() if hasattr(PLAIN, name)}
    of_rates = {name: value for name, value in changes.items() if name not in of_sheet}
    return CostCase(
        spec or replace(PLAIN, **of_sheet),
        quantity,
        tuple(fibres),
        tuple(additions),
        replace(rates or NOTHING, **of_rates),
    )
