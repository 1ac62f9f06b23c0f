"""What to buy, from whom and by when: the frozen answer about buying, and its JSON.

Masses are integers in milligrams of usable fibre unless the name says otherwise, money is
integers in minor units.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

ORDER_NOW, ORDER_BY, TOO_LATE, NOTHING_TO_DO, NO_OFFER = (
    "order now",
    "order by",
    "too late",
    "nothing to do",
    "no offer known",
)


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a balance: a commission that draws, a receipt, a lot past its use."""

    what: str
    mg: int


@dataclass(frozen=True, slots=True)
class DayBalance:
    """The usable fibre of one kind at the end of a day, with what changed on it.

    It counts what the promises lack as drawn, so it falls below zero where something is short.
    """

    day: date
    mg: int
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True)
class Flag:
    """How one fibre stands over the horizon, with nothing bought.

    ``short_on`` is the first day on which a promise lacks it or it lies below its minimum;
    ``short_mg`` all that is missing over the horizon; ``order_by`` the last day on which an
    order still arrives in time, ``earliest`` the first day it can arrive where that is too late.
    ``commissions`` are the promises that lack it, ``promised_mg`` in all: none of them can be
    kept without a purchase.
    """

    fibre: str
    state: str
    minimum_mg: int
    balances: tuple[DayBalance, ...]
    short_on: date | None = None
    short_mg: int = 0
    short_oven_dry_mg: int = 0
    order_by: date | None = None
    earliest: date | None = None
    commissions: tuple[str, ...] = ()
    promised_mg: int = 0

    @property
    def needs_purchase(self) -> bool:
        """Whether a promise is short of it: there is no plan without a purchase."""
        return bool(self.commissions)


@dataclass(frozen=True, slots=True)
class LineToBuy:
    """So many packs of one offer; ``cost_minor`` without freight."""

    fibre: str
    offer: str
    packs: int
    usable_mg: int
    oven_dry_mg: int
    cost_minor: int


@dataclass(frozen=True, slots=True)
class OrderToPlace:
    """One order to one source; ``order_on`` is the last day on which it is in time."""

    source: str
    order_on: date
    arrives_on: date
    lines: tuple[LineToBuy, ...]
    freight_minor: int

    @property
    def goods_minor(self) -> int:
        """Price of all lines, without freight."""
        return sum(line.cost_minor for line in self.lines)

    @property
    def total_minor(self) -> int:
        """Goods and freight."""
        return self.goods_minor + self.freight_minor


@dataclass(frozen=True, slots=True)
class Reorder:
    """What falls short when, and the cheapest purchases found that mend it.

    ``gap`` is how far the plan may lie above the best possible one, as a share of its own cost;
    0 where it is proven cheapest. ``holding_minor`` is the cost of keeping what lies above the
    minimum; it counts in the choice and in ``total_minor``. ``rule_total_minor`` is what the
    walk-forward rule comes to.
    """

    today: date
    horizon_days: int
    flags: tuple[Flag, ...]
    purchases: tuple[OrderToPlace, ...]
    rule_total_minor: int
    gap: float = 0.0
    holding_minor: int = 0

    @property
    def total_minor(self) -> int:
        """Goods, freight and holding of the whole plan."""
        return sum(order.total_minor for order in self.purchases) + self.holding_minor

    @property
    def is_proven(self) -> bool:
        """Whether no cheaper plan exists."""
        return self.gap == 0

    def of(self, fibre: str) -> Flag | None:
        """Return the flag of one fibre."""
        return next((flag for flag in self.flags if flag.fibre == fibre), None)

    def as_json(self) -> dict[str, Any]:
        """Return the answer as plain values, keys as fixed in the schema, masses in grams."""
        return {
            "flags": [
                {
                    "fibre": flag.fibre,
                    "state": flag.state,
                    "short_on": _text(flag.short_on),
                    "order_by": _text(flag.order_by),
                    "earliest": _text(flag.earliest),
                    "short_oven_dry_g": flag.short_oven_dry_mg / 1000,
                    "needs_purchase": flag.needs_purchase,
                }
                for flag in self.flags
            ],
            "purchases": [
                {
                    "source": order.source,
                    "order_on": order.order_on.isoformat(),
                    "arrives_on": order.arrives_on.isoformat(),
                    "lines": [
                        {
                            "fibre": line.fibre,
                            "offer": line.offer,
                            "packs": line.packs,
                            "oven_dry_g": line.oven_dry_mg / 1000,
                            "cost": line.cost_minor,
                        }
                        for line in order.lines
                    ],
                    "goods": order.goods_minor,
                    "freight": order.freight_minor,
                    "total": order.total_minor,
                }
                for order in self.purchases
            ],
            "total": self.total_minor,
            "rule_total": self.rule_total_minor,
            "gap": self.gap,
        }


def _text(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
