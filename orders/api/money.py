"""Leaves out what only the owner sees, wherever it stands in an answer."""

from __future__ import annotations

from typing import Any

# Amounts are named by their minor units, but for the steps of a price by packs.
PRICE_STEPS = "breaks"


def is_money(key: str) -> bool:
    """Tell whether a key names an amount of money."""
    return "minor" in key or key == PRICE_STEPS


def without_money(plain: Any) -> Any:
    """Return plain values without every key that names an amount."""
    if isinstance(plain, dict):
        return {key: without_money(held) for key, held in plain.items() if not is_money(key)}
    return [without_money(held) for held in plain] if isinstance(plain, list) else plain
