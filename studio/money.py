"""Amounts of money: whole minor units inside, worded once at the edge."""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal

from studio.errors import ReadingError
from studio.numerals import MINUS, NARROW_SPACE, NO_BREAK_SPACE, show_number

KG_PER_POUND = Decimal("0.45359237")
# Minor units per unit, where it is not 100 (ISO 4217).
DIGITS = {"JPY": 0, "KRW": 0, "ISK": 0, "BHD": 3, "KWD": 3, "TND": 3}
SIGNS = {"GBP": "£", "EUR": "€", "USD": "$", "JPY": "¥"}
CURRENCIES = ("EUR", "GBP", "USD", "JPY", "CHF", "SEK", "NOK", "DKK", "AUD", "CAD", "NZD")
_AMOUNT = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,3})?", re.ASCII)
_SHOWN_THOUSANDS = re.compile(rf"(?<=[0-9]){NARROW_SPACE}(?=[0-9]{{3}}(?![0-9]))", re.ASCII)
_RATE = re.compile(r"[0-9]{1,6}(?:\.[0-9]{1,6})?", re.ASCII)


def digits(currency: str) -> int:
    """Return how many decimal places the currency is written with."""
    return DIGITS.get(currency, 2)


def whole_minor(amount: Decimal) -> int:
    """Round minor units to a whole one, half to even: the one rounding of a price."""
    return int(amount.to_integral_value(rounding=ROUND_HALF_EVEN))


def major(minor: int | Decimal, currency: str) -> Decimal:
    """Return the amount in whole units, with the currency's places."""
    places = digits(currency)
    return Decimal(whole_minor(Decimal(minor))).scaleb(-places)


def show_figure(minor: int | Decimal, currency: str) -> str:
    """Return an amount with the currency's places and no sign, as under a head that names it."""
    return show_number(major(minor, currency), places=digits(currency))


def show_money(minor: int | Decimal, currency: str) -> str:
    r"""Word an amount: a sign before the figure, or the code after it; the figure as in a table.

    >>> show_money(123456, "GBP"), show_money(-1250000, "CHF")
    ('£1234.56', '−12\u202f500.00\xa0CHF')
    """
    figure = show_figure(minor, currency)
    plain = figure.removeprefix(MINUS)
    minus = figure[: len(figure) - len(plain)]
    sign = SIGNS.get(currency)
    return f"{minus}{sign}{plain}" if sign else f"{figure}{NO_BREAK_SPACE}{currency}"


def read_money(text: str, currency: str, *, field: str = "amount") -> int:
    """Read what a person typed as money; return minor units.

    The narrow space that marks thousands where an amount is shown may come along when it is
    copied; no other mark for thousands is taken.
    """
    given = text.strip().strip(NO_BREAK_SPACE)
    sign = SIGNS.get(currency, "")
    plain = given.removeprefix(sign).removesuffix(currency).strip(" " + NO_BREAK_SPACE)
    plain = _SHOWN_THOUSANDS.sub("", plain)
    places = digits(currency)
    example = f"{Decimal(1250).scaleb(-2):.{places}f}"
    if len(plain) > 14 or not _AMOUNT.fullmatch(plain):
        message = (
            f"Give {field} as a plain amount in {currency} such as {example}, got “{given[:40]}”."
        )
        raise ReadingError(message, field=field, value=given[:40])
    decimals = re.split(r"[.,]", plain)[1:]
    if decimals and len(decimals[0]) > places:
        message = (
            f"{currency} has {places} decimal places and {field} “{given[:40]}” has "
            f"{len(decimals[0])}. Write it such as {example}, without a mark for thousands."
        )
        raise ReadingError(message, field=field, value=given[:40])
    return int(Decimal(plain.replace(",", ".")).scaleb(places))


def read_rate(text: str, currency: str, *, field: str = "amount") -> Decimal:
    """Read a price for one of something, which may have parts of a minor unit."""
    given = text.strip().strip(NO_BREAK_SPACE)
    plain = given.removeprefix(SIGNS.get(currency, "")).removesuffix(currency).strip()
    if len(plain) > 14 or not _RATE.fullmatch(plain):
        message = f"Give {field} in {currency} with a point, such as 0.285, got “{given[:40]}”."
        raise ReadingError(message, field=field, value=given[:40])
    return Decimal(plain).scaleb(digits(currency))


def by_mass(minor_per_kg: Decimal | int, system: str = "metric") -> tuple[Decimal, str]:
    """Return a price for a kilogram, or for a pound where masses are read in pounds, and which.

    A pound is 0.45359237 kg: the international avoirdupois pound.

    >>> by_mass(1000), by_mass(1000, "US")
    ((Decimal('1000'), 'kg'), (Decimal('453.59237000'), 'lb'))
    """
    if system == "US":
        return Decimal(minor_per_kg) * KG_PER_POUND, "lb"
    return Decimal(minor_per_kg), "kg"


# How the unit of such a price is spoken.
BY_MASS_WORDS = {"kg": "kilogram", "lb": "pound"}


def show_by_mass(
    minor_per_kg: Decimal | int, currency: str, system: str = "metric"
) -> tuple[str, str]:
    r"""Word a price by mass in the reader's units, and say what it is for: "kg" or "lb".

    >>> show_by_mass(1000, "GBP"), show_by_mass(1000, "GBP", "US")
    (('£10.00', 'kg'), ('£4.54', 'lb'))
    """
    minor, unit = by_mass(minor_per_kg, system)
    return show_money(minor, currency), unit
