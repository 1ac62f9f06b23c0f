"""Whether the store covers what was promised, what it takes of each fibre, and by when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from orders.explained import sources
from orders.sheetsinhand import Kept
from orders.wording import exact
from studio.explaining import DEFINITION, OURS, Explained, rows_of
from studio.units import System, show_mass, show_number
from studio.working import Line

Mark = tuple[str, str]


def states(lines: Sequence[Line] = ()) -> Explained:
    """Say what covered, just covered and short mean; ``lines`` is an example of the page."""
    return Explained(
        "Covered, just covered or short",
        "covered: what is set aside makes all good sheets at the safe count. Just covered: at the "
        "average count alone. Covered from a day: all its fibre is there by then, and not before. "
        "Short by = oven-dry needed − oven-dry set aside. Fibre goes to the lowest priority "
        "first, then to the earlier day due, then by reference.",
        f"{OURS} The safe count: {sources.NEGATIVE_BINOMIAL}",
        tuple(lines),
    )


def first_promise(table: Any, marks: Mapping[str, Mark]) -> tuple[Line, ...]:
    """Return how the first promise of a list stands."""
    rows = rows_of(table)
    row = next((one for one in rows if one.ref in marks), None) or next(iter(rows), None)
    if row is None:
        return ()
    word = marks.get(row.ref, ("", ""))[1]
    label = f"Good sheets of {row.ref}"
    return (Line(label, show_number(row.good_quantity), word[:1].lower() + word[1:]),)


def first_short(table: Any, system: System) -> tuple[Line, ...]:
    """Return what the first of the short ones lacks."""
    row = next(iter(rows_of(table)), None)
    if row is None:
        return ()
    label = f"{row.ref}, {row.fibre}"
    return (Line(label, exact(row.short_mg, system), "short by, oven-dry", "answer"),)


def of_each_fibre(table: Any, system: System) -> Explained:
    """Say what is needed, set aside and short of the fibres of one commission."""
    rows = rows_of(table)
    needs, aside, short = (
        sum(getattr(row, name) or 0 for row in rows)
        for name in ("needs_mg", "set_aside_mg", "short_mg")
    )
    lines = [
        Line("Needs", exact(needs, system), "all its fibres"),
        Line("Set aside", exact(aside, system)),
        Line("Short", exact(short, system), "", "answer"),
    ]
    return Explained(
        "Fibre needed, set aside and short",
        "needs = share of the furnish × fibre into the vat ÷ preparation yield, oven-dry. Short = "
        "needs − set aside. Weigh out, as is = oven-dry ÷ (1 − moisture of the lot).",
        f"{sources.MOISTURE} Share and yield are the owner’s figures, set on the furnish and the "
        "fibre or its lot.",
        tuple(lines) if rows else (),
    )


def days(lines: Sequence[Line] = ()) -> Explained:
    """Say when sheets can be packed."""
    return Explained(
        "When it can be packed",
        "packed = first pull + days until all is dry + cure + sort and pack. Loads of the dryer "
        "follow on each other, and a load goes in once its last sheet is formed.",
        f"{DEFINITION} What a dryer holds and how long it takes are the owner’s figures, "
        "set under Dryers; cure and packing are set on the Studio page.",
        tuple(line for line in lines if line.label in ("First pull", "In all", "Packed")),
    )


def loads(row: Any) -> Explained:
    """Say the same of a dryer; ``row`` is the one on the page, or the first of the list."""
    lines: tuple[Line, ...] = ()
    if row is not None and row.pulls_per_load and row.days_per_load:
        lines = (
            Line(f"{row.name}, a load", show_number(row.pulls_per_load), "pulls"),
            Line(f"{row.name}, a load takes", show_number(row.days_per_load), "days"),
        )
    return Explained(
        "Days in the dryer",
        "loads = pulls ÷ what a load holds, rounded up. Days until all is dry: loads follow on "
        "each other; the load that ends last counts, rounded up to a whole day.",
        f"{DEFINITION} What it holds and how long a load takes are the owner’s figures, set here.",
        lines,
    )


def kept(figures: Kept) -> Explained:
    """Say how many sheets are still to make and to send."""
    return Explained(
        "Sheets sent, in hand and to make",
        "to make = asked for − sent − in hand; to send = asked for − sent; neither below 0.",
        sources.COUNTED,
        (
            Line("Asked for", show_number(figures.wanted), "good sheets"),
            Line("Sent", show_number(figures.sent)),
            Line("In hand", show_number(figures.in_hand)),
            Line("To make", show_number(figures.to_make), "", "answer"),
        ),
    )


def use_soon(table: Any, days_ahead: int, system: System) -> Explained:
    """Say which lots are listed to be used soon, by the first of them."""
    row = next(iter(rows_of(table)), None)
    lines = ()
    if row is not None:
        left = show_mass(row.oven_dry_mg, system=system)
        lines = (Line(f"Left of {row.ref}", left, "oven-dry"),)
    return Explained(
        "Use soon",
        f"A lot is listed from {days_ahead} days before the day it keeps until. Left = all that "
        "came into it − all that went out of it, oven-dry.",
        f"{OURS} The day a lot keeps until is the owner’s figure, set with the lot or its fibre.",
        lines,
    )
