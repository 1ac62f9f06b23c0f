"""What to order and by when, and why the plan is the cheapest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from orders.calc.bought import OrderToPlace
from orders.explained import sources
from orders.wording import exact
from studio.explaining import DEFINITION, OURS, Explained, rows_of
from studio.money import show_money
from studio.units import System, show_mass
from studio.working import Line

ORDER_BY = (
    "order by = the first day on which a promise lacks it or it lies below its minimum − the days "
    "that the quickest source takes, back to a day on which it takes orders."
)


def flags(first: tuple[str, int, str] | None, system: System) -> Explained:
    """Say by when a fibre is ordered; ``first`` is name, oven-dry mass and mark of the first."""
    lines: tuple[Line, ...] = ()
    if first is not None:
        fibre, short_mg, mark = first
        because = f"oven-dry; {mark[:1].lower()}{mark[1:]}"
        lines = (Line(f"{fibre}, missing", exact(short_mg, system), because),)
    return Explained(
        "Order by",
        ORDER_BY,
        f"{OURS} Minimum and days are the owner’s figures, set on the fibre and the source.",
        lines,
    )


def balance(ahead: Any, system: System) -> Explained:
    """Say how a fibre is looked at ahead; ``ahead`` is the first that is drawn, or None."""
    rows = rows_of(ahead.table) if ahead is not None else []
    lines: tuple[Line, ...] = ()
    if rows:
        held = show_mass(rows[0].balance_mg, system=system)
        last = show_mass(rows[-1].balance_mg, system=system)
        lines = (
            Line(f"{ahead.fibre}, in store", held, "usable"),
            Line(f"{ahead.fibre}, on {rows[-1].day}", last, "usable", "answer"),
        )
    return Explained(
        "Usable fibre ahead",
        "usable = oven-dry × preparation yield. A day’s balance = the day before + what comes − "
        "what the promises draw and lack − what is past its use. Missing, oven-dry = usable "
        "missing ÷ preparation yield, rounded up.",
        f"{DEFINITION} The yield is the owner’s figure, set on the fibre or its lot.",
        lines,
    )


def plan(orders: Sequence[OrderToPlace], currency: str) -> Explained:
    """Say what a plan costs and why no other is cheaper, for who sees money."""
    lines: tuple[Line, ...] = ()
    if orders:
        goods = sum(order.goods_minor for order in orders)
        freight = sum(order.freight_minor for order in orders)
        lines = (
            Line("Goods", show_money(goods, currency)),
            Line("Freight", show_money(freight, currency)),
            Line("Orders, in all", show_money(goods + freight, currency), "", "answer"),
        )
    return Explained(
        "What the plan costs",
        "cost of a plan = packs × their price at its break + freight once an order + holding of "
        "what lies above the minimum. Of all whole packs and days that keep promises and "
        "minimums, the least is taken, or the least found where time ran out first.",
        sources.LEAST_COST,
        lines,
    )
