"""The sums of the bench, each by its formula."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from orders.explained import cost, sheets, sources
from orders.explained.choosing import answers
from studio.explaining import Explained
from studio.working import Line

# By the name of the sum.
FORMULAS = {
    "sheets": (
        "usable = as weighed × (1 − moisture) × preparation yield. Pulls = usable × what stays on "
        "the mould ÷ fibre in one pull, whole ones. Good sheets = pulls × sheets per pull × good "
        "share, rounded down; to promise: as many as are reached with the assurance. Fibre for "
        "sheets is the same the other way round, with pulls rounded up.",
        f"{sources.MOISTURE} To promise: {sources.NEGATIVE_BINOMIAL}",
    ),
    "dry": (
        "moisture = (wet − oven-dry) ÷ (wet − dish). Regain = moisture ÷ (1 − moisture). Lot, "
        "oven-dry = whole lot × (1 − moisture).",
        f"{sources.MOISTURE} Regain: a textile-calculation page on regain and content.",
    ),
    "basis": (
        "pounds a ream = grammage × area of the basic size × sheets of the ream ÷ grams in a "
        "pound, which are 453.59237.",
        "US paper-size tables for the basic sizes; the pound: NIST Special Publication 811.",
    ),
}


def of_sums(sums: Sequence[Mapping[str, Any]]) -> list[Explained]:
    """Say how each sum of the bench is made, with what it came to as the page opened.

    The two ways of the first sum are one, so that there are no more than five.
    """
    found = []
    for one in sums:
        form, lines = one["form"], tuple(one["lines"])
        if form.name in FORMULAS:
            formula, source = FORMULAS[form.name]
            found.append(Explained(form.heading, formula, source, answers(lines)))
        elif form.name == "more":
            found.append(_with(sheets.how_many_more(), answers(lines)))
    return found


def of_cost(price_by: str, lines: Sequence[Line]) -> Explained:
    """Say the same of the cost of a sheet, for who sees money."""
    return cost.cost_and_price(price_by, lines)


def _with(said: Explained, lines: tuple[Line, ...]) -> Explained:
    return Explained(said.title, said.formula, said.source, lines)
