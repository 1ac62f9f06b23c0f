"""How learned figures are worded: each in its unit, and what each rests on."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from orders.calc.learned import ENOUGH_MAKINGS
from orders.learning import LearnedFigure
from orders.learning.figures import SHARES_OF_SHEETS, Figure
from orders.learning.origins import makings_in_words
from studio.units import NO_BREAK_SPACE, System, show_length, show_number, show_share

# What tells yield and retention apart has to come from outside the making.
APART = (
    "The mass of a making shows preparation yield times retention, never each by itself. The "
    "yield of a fibre is learned with the retention of the sheet held to be right, and the "
    "retention with the yields held to be right. Take over one of the two; the other is then "
    "worked out anew. A making of several fibres cannot tell their yields apart, so it teaches "
    "none of them."
)
HOW_CULLS = (
    "Broke and retree are averaged over makings, because sheets of one making go wrong together. "
    f"With fewer than {ENOUGH_MAKINGS} makings the figure that was set stands in for those "
    "missing. Once taken over, counts that are safe and the chance of cover let the good share "
    "vary as those makings did."
)


def show(figure: str, value: Any, *, system: System = "metric") -> str:
    """Word a figure with its unit; nothing for none."""
    if value is None:
        return ""
    if figure == Figure.DRAW:
        return show_length(int(value), system=system)
    if figure == Figure.MINUTES:
        return f"{show_number(Decimal(value), places=2)}{NO_BREAK_SPACE}min"
    return show_share(Decimal(value), places=2)


def within(found: LearnedFigure, *, system: System = "metric") -> str:
    """Word the limits of the mean."""
    if found.low is None:
        return ""
    low = show(found.figure, found.low, system=system)
    return f"{low} to {show(found.figure, found.high, system=system)}"


def varies(found: LearnedFigure, *, system: System = "metric") -> str:
    """Word how far makings differ; nothing for a single one."""
    if found.deviation is None:
        return ""
    return f"makings vary by {show(found.figure, found.deviation, system=system)}"


def stands(found: LearnedFigure, *, system: System = "metric") -> str:
    """Word the figure that stands now."""
    if found.stands is not None:
        return show(found.figure, found.stands, system=system)
    return "The studio’s" if found.figure == Figure.MINUTES else "Not set"


def origin(found: LearnedFigure) -> str:
    """Word where the figure that stands comes from; nothing where none stands."""
    if found.stands is None and found.figure != Figure.MINUTES:
        return ""
    return found.origin


def rests_on(found: LearnedFigure, *, system: System = "metric") -> str:
    """Say what a learned figure rests on, beside its makings."""
    if found.stands_in:
        set_at = show(found.figure, found.set_at, system=system)
        missing = makings_in_words(found.stands_in)
        return f"{set_at} as set stands in for {missing}"
    return found.given


def mark(found: LearnedFigure) -> tuple[str, str]:
    """Return the mark and the word of what can be done about it."""
    if found.can_be_taken_over:
        return "asked", "Offered"
    if found.refusal.startswith("It stands"):
        return "covered", "Taken over" if found.origin.startswith("learned") else "As it stands"
    return ("making", "One making") if found.low is None else ("short", "Cannot be")


def used_for(figure: str) -> str:
    """Say what changes once a figure is taken over."""
    uses = {
        Figure.YIELD: "Usable fibre of every lot of it that has no yield of its own, cover, what "
        "to buy and what to weigh out are reckoned with it.",
        Figure.RETENTION: "Fibre into the vat, cover and what to weigh out for the sheet are "
        "reckoned with it.",
        Figure.MINUTES: "The labour in the cost of the sheet is reckoned with it.",
        Figure.DRAW: "The consistency of the vat for a sheet on this mould is reckoned with it.",
    }
    if figure in SHARES_OF_SHEETS:
        return "Pulls, cover, cost and counts that are safe are reckoned with it."
    return uses.get(Figure(figure), "The dry size of a pull of this furnish is reckoned with it.")
