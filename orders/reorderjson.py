"""An answer about buying as plain JSON and back, whole, for the store of plans."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from typing import Any

from orders.calc.bought import Change, DayBalance, Flag, LineToBuy, OrderToPlace, Reorder

DAYS = ("short_on", "order_by", "earliest")


def to_plain(found: Reorder) -> dict[str, Any]:
    """Return every field of an answer as plain values."""
    return dict(_plain(asdict(found)))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(held) for key, held in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(held) for held in value]
    return value.isoformat() if isinstance(value, date) else value


def from_plain(plain: dict[str, Any]) -> Reorder:
    """Return the answer that was written down."""
    return Reorder(
        **{
            **plain,
            "today": date.fromisoformat(plain["today"]),
            "flags": tuple(_flag(flag) for flag in plain["flags"]),
            "purchases": tuple(_order(order) for order in plain["purchases"]),
        }
    )


def _flag(plain: dict[str, Any]) -> Flag:
    days = {name: _day(plain[name]) for name in DAYS}
    return Flag(
        **{
            **plain,
            **days,
            "balances": tuple(_balance(balance) for balance in plain["balances"]),
            "commissions": tuple(plain["commissions"]),
        }
    )


def _balance(plain: dict[str, Any]) -> DayBalance:
    changes = tuple(Change(**change) for change in plain["changes"])
    return DayBalance(date.fromisoformat(plain["day"]), plain["mg"], changes)


def _order(plain: dict[str, Any]) -> OrderToPlace:
    return OrderToPlace(
        **{
            **plain,
            "order_on": date.fromisoformat(plain["order_on"]),
            "arrives_on": date.fromisoformat(plain["arrives_on"]),
            "lines": tuple(LineToBuy(**line) for line in plain["lines"]),
        }
    )


def _day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)
