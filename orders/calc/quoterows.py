"""What a quote is made of, frozen: its terms, its prices, and the sentences of its paper.

Amounts are whole minor units, shares are Decimals from 0 to 1, sides are micrometres.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from studio.sizes import Size
from studio.units import System
from studio.working import Line


@dataclass(frozen=True, slots=True)
class Price:
    """What one number of sheets comes to, in minor units, and how that was worked out.

    ``total_minor`` is that of the sheets alone, ``carriage_minor`` what is added for carriage,
    and ``to_pay_minor`` all of it with the tax. ``at_most`` is the number that may
    be sent where the making gives more good ones.
    """

    sheets: int
    at_most: int
    each_minor: int
    total_minor: int
    tax_minor: int
    to_pay_minor: int
    deposit_minor: int
    working: tuple[Line, ...] = ()
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    carriage_minor: int = 0
    # Cost of a good sheet when it was issued; quotes issued before this was kept have none.
    cost_minor: int | None = None


@dataclass(frozen=True, slots=True)
class Carriage:
    """Whether carriage is in the price, and what it comes to before tax, in minor units.

    ``how`` is "unsaid", "apart" (not included), "added" (a line of its own) or "within".
    """

    how: str = "unsaid"
    minor: int = 0

    @property
    def added_minor(self) -> int:
        """What the client pays for it beside the sheets."""
        return self.minor if self.how == "added" else 0


UNSAID = Carriage()


@dataclass(frozen=True, slots=True)
class Terms:
    """What is offered, beside its prices; shares from 0 to 1, grammage in g/m² conditioned.

    ``recycled`` and ``permanence`` are sentences, empty where the paper says nothing of it.
    """

    ref: str
    replaces: str
    issued_on: date
    studio: str
    currency: str
    system: System
    client: str
    title: str
    sheet_name: str
    size: Size
    grammage: Decimal
    edges: str
    furnish: tuple[tuple[str, Decimal], ...]
    additions: tuple[str, ...]
    size_tolerance_um: int
    grammage_tolerance: Decimal
    tolerance_over: Decimal
    good_quantity: int
    includes: str
    deposit: Decimal
    tax_rate: Decimal
    valid_until: date
    send_on: date | None
    recycled: str
    permanence: str
    remarks: str
    carriage: Carriage = UNSAID


@dataclass(frozen=True, slots=True)
class Words:
    """The sentences of the paper."""

    sheet: str
    furnish: str
    tolerance: str
    count: str
    includes: str
    deposit: str
    tax: str
    validity: str
    sending: str
    recycled: str
    permanence: str
    carriage: str = ""
