"""A quote as it goes to a client: its prices, its sentences, and the working behind both.

What is made here is kept when the quote is issued and never reckoned again, so that it holds
figures and finished sentences alike: nothing that changes later can alter the paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from orders.calc._quotewords import exact_share, long_day, words_of
from orders.calc.costing import Cost
from orders.calc.quoterows import UNSAID, Carriage, Price, Terms, Words
from studio.errors import RangeError
from studio.money import SIGNS, show_money, whole_minor
from studio.sizes import Size
from studio.units import show_count, show_number, show_share
from studio.working import Line

# Signs of all sentences and names that one page holds at its usual type, and how many of them a
# line takes the room of; tried with Chromium on A4 and letter paper.
LONG, A_LINE = 900, 60

__all__ = ["Carriage", "Price", "Quotation", "Terms", "Words", "price_of"]


@dataclass(frozen=True, slots=True)
class Quotation:
    """Everything a quote shows, and its working."""

    terms: Terms
    prices: tuple[Price, ...]
    words: Words

    @property
    def chosen(self) -> Price:
        """The price of the number that was asked for."""
        return self.price_of(self.terms.good_quantity)

    @property
    def others(self) -> tuple[Price, ...]:
        """The prices of the other numbers, the smallest first."""
        return tuple(one for one in self.prices if one.sheets != self.terms.good_quantity)

    @property
    def missing(self) -> tuple[str, ...]:
        """What no price is known for, so that it is counted as nothing."""
        return tuple(dict.fromkeys(name for one in self.prices for name in one.missing))

    @property
    def has_tax(self) -> bool:
        """Whether tax is added."""
        return bool(self.terms.tax_rate)

    @property
    def tax_words(self) -> str:
        """The rate of tax, with all its digits."""
        return exact_share(self.terms.tax_rate)

    @property
    def has_carriage(self) -> bool:
        """Whether carriage is a line of its own."""
        return bool(self.terms.carriage.added_minor)

    @property
    def beside_words(self) -> str:
        """Say what is to pay beside the price of each sheet; nothing where nothing is."""
        named = [
            *(["Carriage"] if self.has_carriage else []),
            *(["tax"] if self.has_tax else []),
        ]
        if not named:
            return ""
        nouns, verb = " and ".join(named), "is" if len(named) == 1 else "are"
        nouns = f"{nouns[0].upper()}{nouns[1:]}"
        return f"{nouns} {verb} in what there is to pay, not in the price of each."

    @property
    def is_long(self) -> bool:
        """Whether what it says wants a smaller type to stay on one page of paper."""
        terms = self.terms
        names = (terms.studio, terms.client, terms.title, terms.sheet_name)
        said = sum(map(len, (*asdict(self.words).values(), *names, terms.remarks)))
        lines = terms.remarks.count("\n") + self.has_tax + self.has_carriage
        return said + A_LINE * lines > LONG

    @property
    def money_unit(self) -> str:
        """The sign or the code of its currency, for the head of a column."""
        return SIGNS.get(self.terms.currency, self.terms.currency)

    @property
    def day(self) -> str:
        """The day it was issued on, as a letter is dated."""
        return long_day(self.terms.issued_on)

    @classmethod
    def of(cls, terms: Terms, costs: Sequence[Cost]) -> Quotation:
        """Price every number that is offered, and write the sentences of the paper."""
        prices = tuple(
            price_of(
                cost,
                tolerance_over=terms.tolerance_over,
                deposit=terms.deposit,
                carriage=terms.carriage,
            )
            for cost in sorted(costs, key=lambda cost: cost.quantity)
        )
        chosen = next(one for one in prices if one.sheets == terms.good_quantity)
        return cls(terms, prices, words_of(terms, chosen))

    def lines(self) -> tuple[Line, ...]:
        """Set out what each number comes to; the one that was asked for is the answer."""
        return tuple(self._line(price) for price in self.prices)

    def _line(self, price: Price) -> Line:
        currency = self.terms.currency
        extra = (("carriage", price.carriage_minor), ("tax", price.tax_minor))
        named = [f"{noun} {show_money(minor, currency)}" for noun, minor in extra if minor]
        inside = f", {' and '.join(named)} in it" if named else ""
        return Line(
            f"{show_number(price.sheets)} good sheets",
            show_money(price.to_pay_minor, currency),
            f"{show_money(price.each_minor, currency)} each{inside}",
            "answer" if price == self.chosen else "",
        )

    def price_of(self, sheets: int) -> Price:
        """Return what a number comes to; refuses one that it does not offer."""
        found = next((one for one in self.prices if one.sheets == sheets), None)
        if found is None:
            offered = ", ".join(show_number(one.sheets) for one in self.prices)
            raise RangeError(
                f"{self.terms.ref} offers {offered} good sheets, not {show_number(sheets)}. "
                "Choose one of them, or issue it anew with that number.",
                field="quantity",
                value=sheets,
            )
        return found

    def accepted_words(self, sheets: int | None) -> str:
        """Say at which of its numbers it was accepted; nothing where that is not known."""
        price = next((one for one in self.prices if one.sheets == sheets), None)
        if price is None:
            return ""
        each = show_money(price.each_minor, self.terms.currency)
        to_pay = show_money(price.to_pay_minor, self.terms.currency)
        number = show_count(price.sheets, "good sheet")
        return f"Accepted: {number} at {each} each, {to_pay} to pay."

    def to_json(self) -> dict[str, Any]:
        """Return it as plain values; amounts stay whole minor units, shares stay text."""
        terms = {name: _plain(value) for name, value in asdict(self.terms).items()}
        return {
            **terms,
            "prices": [asdict(price) for price in self.prices],
            "words": asdict(self.words),
        }

    @classmethod
    def from_json(cls, body: dict[str, Any]) -> Quotation:
        """Return what was kept, as it was."""
        # What was issued before carriage had a line of its own says nothing of it.
        given = {name: body[name] for name in Terms.__dataclass_fields__ if name in body}
        for name in ("grammage", "grammage_tolerance", "tolerance_over", "deposit", "tax_rate"):
            given[name] = Decimal(given[name])
        for name in ("issued_on", "valid_until", "send_on"):
            given[name] = date.fromisoformat(given[name]) if given[name] else None
        given["size"] = Size(**given["size"])
        given["carriage"] = Carriage(**given.get("carriage", {}))
        given["furnish"] = tuple((name, Decimal(share)) for name, share in given["furnish"])
        given["additions"] = tuple(given["additions"])
        prices = tuple(
            Price(
                **{
                    **price,
                    "working": tuple(Line(**line) for line in price["working"]),
                    "missing": tuple(price["missing"]),
                    "notes": tuple(price["notes"]),
                }
            )
            for price in body["prices"]
        )
        return cls(Terms(**given), prices, Words(**body["words"]))


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    return value


def price_of(
    cost: Cost, *, tolerance_over: Decimal, deposit: Decimal, carriage: Carriage = UNSAID
) -> Price:
    """Return what one number of sheets comes to on a quote.

    Parameters
    ----------
    cost : Cost [minor units]
        Cost and price of a good sheet at that number, as costing reckons it.
    tolerance_over : Decimal [-]
        How many more may be sent, as a share of the number; none fewer.
    deposit : Decimal [-]
        What is due on order, as a share of all there is to pay.
    carriage : Carriage [minor units]
        What carriage comes to before tax, and whether the client pays it as a line of its own.

    Returns
    -------
    Price [minor units]
        Each, in all, carriage, tax, to pay and deposit, with the working of cost and sum.

    Raises
    ------
    RangeError
        If a share is not from 0 to 1.

    Notes
    -----
    in all = each × number, tax = (in all + carriage) × rate, to pay = in all + carriage + tax;
    carriage that is charged with goods bears their rate: common practice, no source. The price
    of a sheet and the tax line are rounded once each, half to even, and the deposit is a
    rounded part of what is to pay. More sheets are counted down to a whole one. Source:
    definition.

    Examples
    --------
    >>> from studio.sizes import Size
    >>> from orders.calc.costing import FibrePrice, Rates, cost
    >>> from orders.calc.spec import SheetSpec
    >>> found = cost(
    ...     SheetSpec(size=Size(210_000, 297_000), grammage=Decimal(120)), 60,
    ...     fibres=[FibrePrice("linter", Decimal(1), Decimal("0.98"), Decimal(900))],
    ...     additions=[],
    ...     rates=Rates("GBP", Decimal(2200), Decimal(0), Decimal(60), Decimal(6)),
    ... )
    >>> offered = price_of(found, tolerance_over=Decimal("0.1"), deposit=Decimal("0.5"))
    >>> offered.total_minor == 60 * offered.each_minor, offered.at_most
    (True, 66)
    """
    for name, share in (("tolerance_over", tolerance_over), ("deposit", deposit)):
        if not 0 <= share <= 1:
            raise RangeError(
                f"{name.replace('_', ' ').capitalize()} must be from 0 % to 100 %, got "
                f"{show_share(share)}.",
                field=name,
                value=share,
            )
    added, tax = carriage.added_minor, cost.tax_minor
    if added:
        tax = whole_minor((cost.price_total_minor + added) * cost.tax_rate)
    to_pay = cost.price_total_minor + added + tax
    return Price(
        sheets=cost.quantity,
        at_most=cost.quantity + int(cost.quantity * Fraction(tolerance_over)),
        each_minor=cost.price_minor_per_sheet,
        total_minor=cost.price_total_minor,
        tax_minor=tax,
        to_pay_minor=to_pay,
        deposit_minor=whole_minor(to_pay * deposit),
        working=_working(cost, carriage, tax, to_pay),
        missing=cost.missing,
        notes=cost.notes,
        carriage_minor=added,
        cost_minor=whole_minor(cost.total_minor_per_sheet),
    )


def _working(cost: Cost, carriage: Carriage, tax: int, to_pay: int) -> tuple[Line, ...]:
    """Follow the working of the cost by that of the sum, where carriage is a part of it."""
    if not carriage.minor:
        return cost.working
    *lines, price = cost.working
    amount = show_money(carriage.minor, cost.currency)
    if not carriage.added_minor:
        return (*lines, price, Line("Carriage", amount, "included: paid out of the price"))
    total, each = cost.price_total_minor, cost.price_minor_per_sheet
    number, one = show_number(cost.quantity), show_money(each, cost.currency)
    taxed = f"{exact_share(cost.tax_rate)} of sheets and carriage"
    return (
        *lines,
        replace(price, kind="line"),
        Line("Sheets in all", show_money(total, cost.currency), f"{number} at {one}"),
        Line("Carriage", amount, "before tax, for the whole parcel"),
        *([Line("Tax", show_money(tax, cost.currency), taxed)] if cost.tax_rate else []),
        Line("To pay", show_money(to_pay, cost.currency), "", "answer"),
    )
