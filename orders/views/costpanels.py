"""The panels of cost and price: of a commission, and of a sheet on the bench."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.http import HttpRequest

from orders import actuals, services
from orders.calc.actual import Actual
from orders.calc.costing import Cost
from orders.calc.cover import Answer, Cover
from orders.calc.ladder import Ladder
from orders.calc.sensitivity import Sensitivity
from orders.costings import Costing, Today
from orders.costtables import (
    ActualRow,
    ActualTable,
    FibreCostRow,
    FibreCostTable,
    SwingTable,
)
from orders.models import Commission, Making
from orders.tables import PartRow, PartTable, PriceRow, PriceTable
from orders.views.shapes import today
from studio import charts
from studio.errors import StudioError
from studio.lists import house_table
from studio.money import SIGNS, digits, show_money
from studio.units import show_number

# What a column of the ladder is made of, from the foot up.
COLUMN_PARTS = ("The sheet itself", "Its share in setting up", "What the price leaves over")


def of_commission(
    request: HttpRequest, commission: Commission, answer: Answer | None, cover: Cover
) -> tuple[list[Cost], dict[str, Any]]:
    """Return the cost at its own number, and all that its page shows of cost and price."""
    costing = services.costing_of(commission, picks=answer.picks if answer else (), cover=cover)
    asked = commission.good_quantity
    cost = costing.cost(asked)
    parts = cost_context(request, cost)
    return [cost], {**parts, **depth_context(request, costing, asked)}


def cost_context(request: HttpRequest, cost: Cost) -> dict[str, Any]:
    """Return bar, parts and the notes on what they rest on."""
    scale = -digits(cost.currency)
    shown = [part for part in cost.parts if part.minor_per_sheet]
    bar = charts.stacked(
        [(part.label, part.minor_per_sheet.scaleb(scale)) for part in shown], places=-scale
    )
    total = cost.total_minor_per_sheet
    rows = [
        PartRow(
            part.label,
            part.because,
            part.minor_per_sheet,
            part.minor_per_sheet / total if total else Decimal(0),
            key,
        )
        for part, key in zip(shown, bar.parts, strict=True)
    ]
    count = show_number(cost.quantity)
    return {
        "cost": cost,
        "bar": bar if bar.drawn else None,
        "bar_title": f"Cost of a good sheet, at {count} sheets",
        "part_table": house_table(request, PartTable, rows, paginate=False),
        "missing": " and ".join(cost.missing),
        "notes": cost.notes,
        "rate_words": cost.rate_words,
        "cost_lines": cost.working,
        "tax_words": cost.tax_words,
    }


def depth_context(
    request: HttpRequest,
    costing: Costing,
    asked: int,
    others: Iterable[int] = services.USUAL_QUANTITIES,
) -> dict[str, Any]:
    """Return the range, the prices of today, the ladder, and what moves the price."""
    found, climb = costing.range(asked), costing.ladder(others, asked=asked)
    moved = costing.sensitivity(asked)
    replaced = costing.at_todays_prices(asked, today())
    return {
        "range": found,
        "range_lines": found.lines(),
        "replaced": replaced.words(),
        "fibre_table": _fibre_table(request, replaced),
        "setup": show_money(climb.earned.setup_minor, climb.currency),
        "price_table": _price_table(request, climb, costing.cost(asked).rate_words),
        "price_chart": _price_chart(climb),
        "price_title": f"Price of a good sheet at several numbers, {_sign(climb.currency)}",
        "earned": climb.earned,
        "moved": moved,
        "moved_chart": _moved_chart(moved),
        "moved_title": f"What moves the price of a good sheet, {_sign(moved.currency)}",
        "moved_table": house_table(request, SwingTable, moved.swings, paginate=False),
    }


def of_making(request: HttpRequest, making: Making) -> dict[str, Any]:
    """Return what one making cost; nothing before it is finished, or where it cannot be costed."""
    try:
        return actual_context(request, actuals.of_making(making))
    except StudioError:
        return {}


def actual_context(request: HttpRequest, actual: Actual | None) -> dict[str, Any]:
    """Return what makings cost beside the reckoning; nothing before one is finished."""
    if actual is None:
        return {}
    rows = [
        ActualRow(one.label, one.reckoned, one.actual, one.difference, one.reason)
        for one in actual.lines
    ]
    return {
        "actual": actual,
        "actual_table": house_table(request, ActualTable, rows, paginate=False),
        "actual_missing": " and ".join(actual.missing),
    }


def _sign(currency: str) -> str:
    return SIGNS.get(currency, currency)


def _fibre_table(request: HttpRequest, replaced: Today) -> Any:
    rows = [
        FibreCostRow(
            fibre=book.fibre,
            book=book.minor_per_kg,
            today=now.minor_per_kg,
            today_basis=now.basis if now.minor_per_kg is not None else "no price known",
        )
        for book, now in zip(replaced.book.fibres, replaced.today.fibres, strict=True)
    ]
    return house_table(request, FibreCostTable, rows, paginate=False)


def _price_table(request: HttpRequest, climb: Ladder, rate_words: str) -> Any:
    rows = [
        PriceRow(
            rung.quantity,
            rung.cost_minor,
            rung.setup_minor,
            rung.price_minor,
            rung.price_total_minor,
            rung.tax_minor,
        )
        for rung in climb.rungs
    ]
    caption = f"Price at several numbers, with {rate_words}"
    hidden = {} if any(row.tax for row in rows) else {"exclude": ["tax"]}
    return house_table(request, PriceTable, rows, paginate=False, caption=caption, **hidden)


def _price_chart(climb: Ladder) -> charts.Chart:
    scale = -digits(climb.currency)
    return charts.columns(
        [
            (
                show_number(rung.quantity),
                [
                    part.scaleb(scale)
                    for part in (rung.own_minor, rung.setup_minor, rung.kept_minor)
                ],
            )
            for rung in climb.rungs
        ],
        COLUMN_PARTS,
        places=-scale,
    )


def _moved_chart(moved: Sensitivity) -> charts.Chart | None:
    if not moved.swings:
        return None
    scale = -digits(moved.currency)
    return charts.swings(
        [
            (swing.label, swing.low_minor.scaleb(scale), swing.high_minor.scaleb(scale))
            for swing in moved.swings
        ],
        moved.price_minor.scaleb(scale),
        places=-scale,
    )
