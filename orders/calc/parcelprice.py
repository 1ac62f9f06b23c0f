"""What the sheets of a parcel come to in money, with all that it rests on, so that it can be kept.

A price reckoned tomorrow may be another; what was sent stays at the price of the day it was sent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from orders.calc.costing import Cost
from orders.calc.packing import retree_price_minor
from studio.errors import RangeError
from studio.money import show_money, whole_minor
from studio.units import show_number, show_share
from studio.working import Line


@dataclass(frozen=True, slots=True)
class CostLine:
    """One part of the cost of a good sheet, in minor units, with what it is reckoned from."""

    label: str
    minor: Decimal
    because: str


@dataclass(frozen=True, slots=True)
class ParcelPrice:
    """Sheets of a parcel at their price; amounts are minor units, before tax and carriage."""

    currency: str
    good: int
    retree: int
    good_minor: int
    retree_minor: int
    total_minor: int
    # Cost of a good sheet, not rounded, and how many were costed.
    cost_minor: Decimal
    quantity: int
    price_by: str
    price_rate: Decimal
    retree_share: Decimal
    # The price of a good sheet was agreed with the client, and is not made of the cost.
    is_agreed: bool = False
    parts: tuple[CostLine, ...] = ()
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def lines(self) -> tuple[Line, ...]:
        """Set out what the sheets come to, quality by quality, and how each price is made."""
        return self._lines(self.rate_words)

    def told_lines(self) -> tuple[Line, ...]:
        """Set out the same for the client, who is not told what is kept of the price."""
        return self._lines("")

    def _lines(self, good_words: str) -> tuple[Line, ...]:
        rule = f"{show_share(self.retree_share)} of the price of good"
        rows = [
            ("Good", self.good, self.good_minor, good_words),
            ("Retree", self.retree, self.retree_minor, rule),
        ]
        lines = [self._line(*row) for row in rows if row[1]]
        total = self._money(self.total_minor)
        return (*lines, Line("Price of the sheets", total, "before tax and carriage", "answer"))

    def working(self) -> tuple[Line, ...]:
        """Set out how the price of one sheet came about, part by part."""
        rule = f"{show_share(self.retree_share)} of the price of good"
        costed = f"at {show_number(self.quantity)} good sheets"
        return (
            *(Line(part.label, self._money(part.minor), part.because) for part in self.parts),
            Line("Cost of a good sheet", self._money(self.cost_minor), costed, "line"),
            Line("Price of a good sheet", self._money(self.good_minor), self.rate_words, "answer"),
            Line("Price of a retree sheet", self._money(self.retree_minor), rule),
        )

    @property
    def rate_words(self) -> str:
        """Name markup or margin for what it is; or that the price was agreed."""
        if self.is_agreed:
            return "as agreed with the client"
        rate = show_share(self.price_rate)
        if self.price_by == "markup":
            return f"{rate} of the cost added as markup"
        return f"{rate} of the price kept as margin"

    def _line(self, word: str, sheets: int, each: int, because: str) -> Line:
        label = f"{word}, {show_number(sheets)} at {self._money(each)}"
        return Line(label, self._money(each * sheets), because)

    def _money(self, minor: int | Decimal) -> str:
        return show_money(minor, self.currency)

    def as_json(self) -> dict[str, Any]:
        """Return what is kept of it beside its three amounts; shares and parts as text."""
        return {
            "currency": self.currency,
            "good": self.good,
            "retree": self.retree,
            "cost_minor": str(self.cost_minor),
            "quantity": self.quantity,
            "price_by": self.price_by,
            "price_rate": str(self.price_rate),
            "retree_share": str(self.retree_share),
            "is_agreed": self.is_agreed,
            "parts": [
                {"label": part.label, "minor": str(part.minor), "because": part.because}
                for part in self.parts
            ],
            "missing": list(self.missing),
            "notes": list(self.notes),
        }

    @classmethod
    def from_json(
        cls, kept: Mapping[str, Any], *, good_minor: int, retree_minor: int, total_minor: int
    ) -> ParcelPrice:
        """Return the price as it was kept; the amounts are those of the row."""
        return cls(
            currency=kept["currency"],
            good=kept["good"],
            retree=kept["retree"],
            good_minor=good_minor,
            retree_minor=retree_minor,
            total_minor=total_minor,
            cost_minor=Decimal(kept["cost_minor"]),
            quantity=kept["quantity"],
            price_by=kept["price_by"],
            price_rate=Decimal(kept["price_rate"]),
            retree_share=Decimal(kept["retree_share"]),
            is_agreed=kept["is_agreed"],
            parts=tuple(
                CostLine(part["label"], Decimal(part["minor"]), part["because"])
                for part in kept["parts"]
            ),
            missing=tuple(kept["missing"]),
            notes=tuple(kept["notes"]),
        )


def parcel_price(
    cost: Cost,
    *,
    good: int,
    retree: int,
    retree_share: Decimal,
    agreed_minor: int | None = None,
) -> ParcelPrice:
    """Return what so many sheets of each quality come to.

    Parameters
    ----------
    cost : Cost
        What a good sheet costs, and how its price is made of that.
    good : int [sheets]
        Good sheets in the parcel.
    retree : int [sheets]
        Retree sheets in the parcel.
    retree_share : Decimal [-]
        Price of retree as a share of the price of good sheets, from 0 to 1.
    agreed_minor : int [minor units]
        Price of a good sheet that was agreed with the client; it stands before that of the cost.

    Returns
    -------
    ParcelPrice [minor units]
        The price of one sheet of each quality, and of all of them.

    Raises
    ------
    RangeError
        If a number of sheets is below 0, or the share is not from 0 to 1.

    Notes
    -----
    Each price is rounded once, for one sheet, and then taken as often as there are sheets, so
    that the bill can be checked by hand. Definition.

    Examples
    --------
    >>> cost = Cost("GBP", 60, 70, (), "markup", Decimal("0.2"), 250, 0, Decimal(0), (), ())
    >>> parcel_price(cost, good=40, retree=0, retree_share=Decimal("0.9")).total_minor
    10000
    """
    _refuse_out_of_range(good, retree, retree_share)
    each, each_retree = cost.price_minor_per_sheet, retree_price_minor(cost, retree_share)
    if agreed_minor is not None:
        each, each_retree = agreed_minor, whole_minor(agreed_minor * retree_share)
    return ParcelPrice(
        currency=cost.currency,
        good=good,
        retree=retree,
        good_minor=each,
        retree_minor=each_retree,
        total_minor=good * each + retree * each_retree,
        cost_minor=cost.total_minor_per_sheet,
        quantity=cost.quantity,
        price_by=cost.price_by,
        price_rate=cost.price_rate,
        retree_share=retree_share,
        is_agreed=agreed_minor is not None,
        parts=tuple(
            CostLine(part.label, part.minor_per_sheet, part.because)
            for part in cost.parts
            if part.minor_per_sheet
        ),
        missing=cost.missing,
        notes=cost.notes,
    )


def _refuse_out_of_range(good: int, retree: int, retree_share: Decimal) -> None:
    for field, sheets in (("good", good), ("retree", retree)):
        if sheets < 0:
            raise RangeError(
                f"Give 0 or more {field} sheets, got {sheets}.", field=field, value=sheets
            )
    if not 0 <= retree_share <= 1:
        raise RangeError(
            f"The price of retree must be from 0 % to 100 % of that of good sheets, got "
            f"{show_share(retree_share)}.",
            field="retree_share",
            value=retree_share,
        )
