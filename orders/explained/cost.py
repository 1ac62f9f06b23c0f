"""What a good sheet costs, its price, and what fibre and parcels are worth."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from orders.calc.quotation import Quotation
from orders.explained import sources
from orders.explained.choosing import named
from studio.explaining import DEFINITION, Explained, rows_of
from studio.money import show_money
from studio.units import System, show_mass, show_number
from studio.working import Line

PRICES = {
    "markup": "Price = cost × (1 + markup), rounded once.",
    "margin": "Price = cost ÷ (1 − margin), rounded once.",
}


def cost_and_price(price_by: str, lines: Sequence[Line] = ()) -> Explained:
    """Say what a good sheet costs and how its price follows."""
    return Explained(
        "Cost and price of a good sheet",
        "cost = (fibre + additions + hours + energy and water + heel and trial sheets − broke "
        f"used again + rooms, felts and moulds + packing) ÷ good sheets. {PRICES[price_by]}",
        sources.MARKUP,
        named(lines, "Cost of a good sheet", "Price of a good sheet"),
    )


def came(table: Any, currency: str) -> Explained:
    """Say how what a making cost is set beside what was reckoned."""
    rows = rows_of(table)
    spent, reckoned = (
        show_money(sum(getattr(row, name) for row in rows), currency)
        for name in ("actual", "reckoned")
    )
    lines = (Line("Reckoned", reckoned, "in all"), Line("As it came", spent, "in all", "answer"))
    return Explained(
        "What it came to",
        "difference = as it came − reckoned. Of each part: (amount used − reckoned amount) × "
        "reckoned price, and (price paid − reckoned price) × amount used.",
        f"{DEFINITION} The parting is common practice, no source.",
        lines if rows else (),
    )


def offered(found: Quotation) -> Explained:
    """Say what a quote comes to at the number that was asked for."""
    currency, chosen = found.terms.currency, found.chosen
    money = [
        ("Each", chosen.each_minor),
        ("In all", chosen.total_minor),
        ("Carriage", chosen.carriage_minor),
        ("Tax", chosen.tax_minor),
        ("To pay", chosen.to_pay_minor),
    ]
    return Explained(
        "What the quote comes to",
        "in all = price of a sheet × good sheets. Tax = (in all + carriage) × the tax rate. To "
        "pay = in all + carriage + tax. Carriage counts where it is added. Deposit = to pay × its "
        "share. Each is rounded once.",
        f"{DEFINITION} Tax rate and deposit are the owner’s figures, set on the Studio "
        "page and the draft; this is not advice on tax.",
        (
            Line("Good sheets", show_number(chosen.sheets)),
            *(
                Line(label, show_money(minor, currency), kind="answer" if last else "")
                for label, minor in money
                if minor or label not in ("Carriage", "Tax")
                for last in (label == "To pay",)
            ),
        ),
    )


def offers(table: Any) -> Explained:
    """Say what the column of prices of a list of quotes holds, by the first that was issued."""
    row = next((one for one in rows_of(table) if one.price_in_all_minor is not None), None)
    lines: tuple[Line, ...] = ()
    if row is not None:
        in_all = show_money(row.price_in_all_minor, row.frozen["currency"])
        lines = (
            Line(f"Good sheets of {row.ref}", show_number(row.shown_quantity)),
            Line(f"Price in all of {row.ref}", in_all, "before tax and carriage", "answer"),
        )
    return Explained(
        "Price in all",
        "price in all = price of a sheet × good sheets, before tax and carriage, at the prices of "
        "the day the quote was issued on; good sheets are those ordered, where it is accepted. A "
        "draft has none yet.",
        f"{DEFINITION} It is read from the quote as issued, and not reckoned again.",
        lines,
    )


def typed(price_by: str, lines: Sequence[Line]) -> Explained:
    """Say what the panel of a quote shows; ``lines`` is its sum as the page opened."""
    return Explained(
        "Prices of the numbers",
        "price in all = price of a sheet × good sheets, each number costed by itself. "
        f"{PRICES[price_by]} The working of each number stands on the page of the quote.",
        sources.MARKUP,
        tuple(line for line in lines if line.kind),
    )


def frozen(choices: Sequence[tuple[int, str]]) -> Explained:
    """Say that an accepted quote takes the price of the letter; ``choices`` are its numbers."""
    return Explained(
        "Price of the letter",
        "agreed price = the price of a sheet in the letter, at the number that is chosen; nothing "
        "is reckoned anew. In all = price of a sheet × good sheets + carriage, where it is "
        "added, + tax.",
        f"{DEFINITION} Read from the quote as it was issued.",
        tuple(Line(words.split(", ")[0], words.split(", ")[-1]) for _, words in choices[:1]),
    )


def of_parcel(lines: Sequence[Line], working: Sequence[Line]) -> Explained:
    """Say what the sheets of a parcel come to."""
    return Explained(
        "Price of the sheets",
        "price of the sheets = good × price of a good sheet + retree × price of a retree sheet. "
        "Retree = its share × the price of a good sheet, rounded once.",
        f"{DEFINITION} The share is the owner’s figure, set on the Studio page; a tenth "
        "off is an old custom of the trade, common practice, no source.",
        (
            *named(working, "Price of a good sheet"),
            *(line for line in lines if line.kind == "answer"),
        ),
    )


def by_the_book(table: Any, way: str, currency: str, system: System) -> list[Explained]:
    """Say what the fibre in the store is worth, by the book and today; ``way`` is the formula."""
    rows = rows_of(table)
    value = sum(row.value for row in rows)
    left = sum(row.oven_dry_mg for row in rows)
    book = Explained(
        "Value by the book",
        f"value by the book = cost of all that came in − cost of all that went out. {way} By "
        "mass = value ÷ (left − what has no price).",
        sources.BOOK,
        (
            Line("Left", show_mass(left, system=system), "oven-dry, all fibres"),
            Line("Value by the book", show_money(value, currency), "", "answer"),
        )
        if rows
        else (),
    )
    known = [row for row in rows if row.today is not None]
    now = show_money(sum(row.today for row in known), currency)
    today = Explained(
        "Today",
        "today = left, oven-dry × price of dry fibre today: the cheapest offer that "
        "holds, at its fewest packs and before freight, else what was paid last.",
        f"{DEFINITION} Prices are those of the offers and the lots entered here.",
        (Line("Today", now, "in all"),) if known else (),
    )
    return [book, today]
