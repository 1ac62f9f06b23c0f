"""Fields without a unit to choose: shares, numbers, counts, and money."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError

from studio import money
from studio.fields.typed import TypedField, plain, read
from studio.units import NO_BREAK_SPACE, show_number
from studio.widgets import UnitInput, plain_text_input, unit_word

PLACES = ("none", "one place", "two places", "three places", "four places", "five places",
          "six places")  # fmt: skip


def _refuse_finer(number: Decimal, places: int | None, unit: str = "") -> None:
    """Refuse more places after the point than are kept."""
    if places is None or number == round(number, places):
        return
    allowed = f"at most {PLACES[places]} after the point" if places else "a whole number"
    raise ValidationError(f"Give {allowed}, {_got(number, unit)}.", code="too_fine")


def _got(number: Any, unit: str) -> str:
    given = f"got {show_number(number)}"
    return f"{given}{NO_BREAK_SPACE}{unit}" if unit else given


class ShareField(TypedField):
    """A share typed in percent; gives a Decimal from 0 to 1.

    ``places`` are those of the column that keeps it; a form over a model sets them.
    """

    places: int | None = None
    wanted = "a share in percent, such as 6.5"

    def __init__(self, *, most: Decimal | int = 1, **kwargs: Any) -> None:
        self.most = Decimal(most)
        kwargs.setdefault("widget", UnitInput("%"))
        super().__init__(**kwargs)

    def read(self, text: str, unit: str) -> Any:
        """Read percent."""
        if self.most > 1:
            return read(text.strip().removesuffix("%"), "number") / 100
        return read(text, "share", unit="%")

    def show(self, value: Any) -> str:
        """Show percent, without the sign."""
        return plain(Decimal(value) * 100)

    def check(self, value: Any) -> None:
        """Refuse a share above the most, or finer than is kept."""
        _refuse_finer(value * 100, None if self.places is None else self.places - 2, "%")
        if value > self.most:
            most, given = show_number(self.most * 100), show_number(value * 100)
            raise ValidationError(f"Give {most} % or less, got {given} %.", code="too_much")


class NumberField(TypedField):
    """A number without a unit of its own; gives a Decimal. ``unit`` is a word to show.

    ``places`` are those of the column that keeps it; a form over a model sets them.
    """

    places: int | None = None
    wanted = "a number, such as 2.5"
    kind_name = "number"

    def __init__(
        self,
        *,
        unit: str = "",
        least: Decimal | int = 0,
        most: Decimal | int | None = None,
        **kwargs: Any,
    ) -> None:
        self.least, self.most, self.unit = least, most, unit
        kwargs.setdefault("widget", UnitInput(unit) if unit else plain_text_input("decimal"))
        super().__init__(**kwargs)

    def read(self, text: str, unit: str) -> Any:
        """Read the number."""
        return read(text, self.kind_name, allow_zero=True)

    def show(self, value: Any) -> str:
        """Show the number without an exponent."""
        return plain(Decimal(value))

    def check(self, value: Any) -> None:
        """Refuse what is below the least, above the most, or finer than is kept."""
        _refuse_finer(Decimal(value), self.places, unit_word(self.unit))
        got = _got(value, unit_word(self.unit))
        if value < self.least:
            least = show_number(Decimal(self.least))
            raise ValidationError(f"Give {least} or more, {got}.", code="too_few")
        if self.most is not None and value > self.most:
            most = show_number(Decimal(self.most))
            raise ValidationError(f"Give {most} or fewer, {got}.", code="too_many")


class CountField(NumberField):
    """A whole number of things, such as sheets; gives an int."""

    wanted = "a whole number"
    kind_name = "count"


class MoneyField(TypedField):
    """An amount of money in the studio's currency; gives whole minor units."""

    def __init__(self, *, currency: str = "EUR", **kwargs: Any) -> None:
        self.currency = currency
        self.wanted = "an amount, such as 12.50"
        kwargs.setdefault("widget", UnitInput(currency))
        super().__init__(**kwargs)

    def use_currency(self, currency: str) -> None:
        """Read and label the amount in the studio's own currency."""
        self.currency = currency
        if isinstance(self.widget, UnitInput):
            self.widget.unit = currency

    def read(self, text: str, unit: str) -> Any:
        """Read the amount."""
        return money.read_money(text, self.currency, field="the amount")

    def show(self, value: Any) -> str:
        """Show the amount with the currency's places, without its sign."""
        return f"{money.major(value, self.currency):f}"


class RateField(MoneyField):
    """A price for one of something, such as a kilowatt-hour; gives Decimal minor units."""

    def read(self, text: str, unit: str) -> Any:
        """Read the price, parts of a minor unit and all."""
        return money.read_rate(text, self.currency, field="the price")

    def show(self, value: Any) -> str:
        """Show the price in whole units with as many places as it has."""
        return plain(Decimal(value).scaleb(-money.digits(self.currency)))
