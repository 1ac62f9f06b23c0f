"""The sentences of a quote, written once when it is issued and kept with it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from orders.calc.quoterows import Price, Terms, Words
from studio.money import show_money
from studio.units import (
    MINUS,
    NO_BREAK_SPACE,
    show_grammage,
    show_length,
    show_number,
    show_share,
    show_size,
)

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


def words_of(terms: Terms, chosen: Price) -> Words:
    """Return every sentence of the paper."""
    return Words(
        sheet=_sheet(terms),
        furnish=_furnish(terms),
        tolerance=_tolerance(terms),
        count=_count(terms, chosen),
        includes=terms.includes,
        deposit=_deposit(terms, chosen),
        tax=(
            f"Tax of {exact_share(terms.tax_rate)} is added."
            if terms.tax_rate
            else "No tax is added."
        ),
        validity=f"These prices hold until {long_day(terms.valid_until)}.",
        sending=_sending(terms),
        recycled=terms.recycled,
        permanence=terms.permanence,
        carriage=_carriage(terms),
    )


def exact_share(share: Decimal) -> str:
    """Return a share with all its digits: what is reckoned with it must follow from the paper."""
    return show_share(share, places=4)


def _carriage(terms: Terms) -> str:
    if terms.carriage.how == "added":
        amount = show_money(terms.carriage.minor, terms.currency)
        before = " before tax" if terms.tax_rate else ""
        return f"Carriage is added: {amount}{before}, the same for any number named here."
    return {
        "apart": "Carriage is not included: you fetch the sheets, or pay who brings them.",
        "within": "Carriage is included.",
    }.get(terms.carriage.how, "")


def _sheet(terms: Terms) -> str:
    size = show_size(terms.size, system=terms.system)
    return f"{size}, {show_grammage(terms.grammage)}. {terms.edges}."


def _furnish(terms: Terms) -> str:
    shares = ", ".join(f"{name} {show_share(share)}" for name, share in terms.furnish)
    added = f" With {_listed(terms.additions)}." if terms.additions else ""
    return f"{shares}, by dry mass.{added}"


def _tolerance(terms: Terms) -> str:
    said = []
    if terms.size_tolerance_um:
        said.append(("a side", show_length(terms.size_tolerance_um, system=terms.system)))
    if terms.grammage_tolerance:
        said.append(("grammage", show_share(terms.grammage_tolerance)))
    made = "Made by hand, one sheet at a time."
    if not said:
        return made
    (first, by), *rest = said
    more = "".join(f" and {noun} by up to {share}" for noun, share in rest)
    return f"{made} From what is named above {first} may differ by up to {by}{more}, either way."


def _count(terms: Terms, chosen: Price) -> str:
    more = chosen.at_most - chosen.sheets
    said = f"Count {MINUS}0/+{show_number(more)} at {show_number(chosen.sheets)} sheets"
    if not terms.tolerance_over:
        return f"{said}: you get the number you order, no fewer and no more."
    return (
        f"{said}: you get no fewer than you order. Up to {show_share(terms.tolerance_over)} more "
        "may be sent, at the same price each."
    )


def _deposit(terms: Terms, chosen: Price) -> str:
    if not terms.deposit:
        return "Nothing is due on order; all of it is due when the sheets are sent."
    amount = show_money(chosen.deposit_minor, terms.currency)
    at = f"at {show_number(chosen.sheets)} sheets"
    if terms.deposit == 1:
        return f"All of it, {amount} {at}, is due on order."
    return (
        f"{exact_share(terms.deposit)} is due on order, {amount} {at}; the rest when the sheets "
        "are sent."
    )


def _sending(terms: Terms) -> str:
    if terms.send_on is None:
        return "We name the day to send when you agree."
    return (
        f"We reckon to send by {long_day(terms.send_on)} if you agree at once; agreed later, it "
        "is sent later by about as much."
    )


def _listed(names: Sequence[str]) -> str:
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def long_day(day: date) -> str:
    """Return a day as a letter is dated, always with its year, held together."""
    return NO_BREAK_SPACE.join((str(day.day), MONTHS[day.month - 1], str(day.year)))
