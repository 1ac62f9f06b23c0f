"""Refusals that the calculations share: shares, masses and counts that cannot be."""

from __future__ import annotations

from decimal import Decimal

from studio.errors import RangeError
from studio.units import Quantity


def plain_number(name: str, value: object) -> Decimal:
    """Return a finite Decimal or int as Decimal; a float is refused, for it is not exact."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise RangeError(
            f"{name} must be a Decimal or an int, got {value!r}. Write Decimal('0.08').",
            value=value,
        )
    number = Decimal(value)
    if not number.is_finite():
        raise RangeError(f"{name} must be finite, got {number}.", value=value)
    return number


def share_below_one(name: str, value: object) -> Decimal:
    """Return a share from 0 up to, but not, 1."""
    number = plain_number(name, value)
    if not 0 <= number < 1:
        raise RangeError(
            f"{name} must be from 0 up to 1, got {number}. Write 8 % as 0.08.", value=value
        )
    return number


def share_above_zero(name: str, value: object) -> Decimal:
    """Return a share above 0 and up to 1."""
    number = plain_number(name, value)
    if not 0 < number <= 1:
        raise RangeError(
            f"{name} must be more than 0 and at most 1, got {number}. Write 96 % as 0.96.",
            value=value,
        )
    return number


def not_negative(name: str, value: object, unit: str) -> Decimal:
    """Return a number of 0 or more in a plain unit."""
    number = plain_number(name, value)
    if number < 0:
        raise RangeError(f"{name} must be 0 {unit} or more, got {number} {unit}.", value=value)
    return number


def positive(name: str, value: object, unit: str) -> Decimal:
    """Return a number of more than 0 in a plain unit."""
    number = plain_number(name, value)
    if number <= 0:
        raise RangeError(f"{name} must be more than 0 {unit}, got {number} {unit}.", value=value)
    return number


def whole_mg(name: str, value: object) -> int:
    """Return stored milligrams: a whole number of 0 or more."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise RangeError(f"{name} must be a whole number of mg, got {value!r}.", value=value)
    if value < 0:
        raise RangeError(f"{name} must be 0 mg or more, got {value} mg.", value=value)
    return value


def mass_not_negative(name: str, mass: Quantity) -> Decimal:
    """Return the magnitude of a mass of 0 or more, in its own unit."""
    if mass.magnitude < 0:
        raise RangeError(f"{name} must be 0 or more, got {mass}.", value=mass)
    return mass.magnitude


def whole_minor(name: str, value: object) -> int:
    """Return an amount of money: a whole number of minor units, 0 or more."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise RangeError(
            f"{name} must be a whole number of minor units, got {value!r}.", value=value
        )
    if value < 0:
        raise RangeError(f"{name} must be 0 minor units or more, got {value}.", value=value)
    return value
