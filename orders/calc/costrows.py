"""What costing reads and answers with, frozen: prices, the studio's own rates, parts of a cost.

Amounts are Decimal minor units, shares are Decimals from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


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
