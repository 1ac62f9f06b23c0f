"""Form fields for quantities: text a person types in, a quantity or a stored number out.

Every field reads with :func:`studio.reading.read_quantity` or :func:`studio.money.read_money`,
so a page and a command understand the same words. Text that cannot be read is a form fault
and stays in its field as typed. In a ``ModelForm`` declare the field with ``stored=True``
under the name of the model's column::

    class LotForm(HouseModelForm):
        as_is_mg = MassField(stored=True, label="Mass as weighed")

It then shows the stored milligrams as a mass and gives whole milligrams back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from studio import money, units
from studio.errors import ReadingError, StudioError
from studio.reading import read_quantity
from studio.units import Q, Quantity
from studio.widgets import DayInput, QuantityWidget, UnitInput, plain_text_input


@dataclass(frozen=True, slots=True)
class Kind:
    """How one dimension is offered, stored and asked for."""

    metric: tuple[str, ...]
    american: tuple[str, ...]
    stored_unit: str
    whole: bool
    wanted: str


KINDS = {
    "mass": Kind(
        ("kg", "g", "lb", "oz"), ("lb", "oz", "kg", "g"), "mg", True, "a mass, such as 2.5 kg"
    ),
    "length": Kind(("mm", "cm", "in"), ("in", "mm", "cm"), "um", True, "a length, such as 20 mm"),
    "volume": Kind(("L", "mL", "gal"), ("gal", "L", "mL"), "mL", True, "a volume, such as 60 L"),
    "grammage": Kind(
        ("g/m2",), ("g/m2",), "g/m2", False, "a grammage, such as 120 g/m² or 32 lb bond"
    ),
}
# Units to fall back on where the first one offered would show a figure below a tenth.
FINER = {"kg": "g", "lb": "oz", "L": "mL"}
MOST_PLACES = 9
FIRST_YEAR, LAST_YEAR = 2000, 2100


# Stands for the field's name in a refusal; the page shows the label in its place.
THIS = "this"


def read(text: str, kind: str, *, unit: str = "", allow_zero: bool = False) -> Any:
    """Read text; a refusal says what is wrong and leaves the name of the field to the label."""
    try:
        return read_quantity(text, kind, field=THIS, unit=unit, allow_zero=allow_zero)
    except ReadingError as fault:
        message = str(fault).removeprefix(f"{THIS}: ")
        raise ReadingError(message, value=fault.value) from fault


def plain(number: Decimal) -> str:
    """Return a number as a person would type it: no exponent, no trailing zeros."""
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class TypedField(forms.Field):
    """A field whose text the house reads; children say how to read and how to show."""

    wanted = ""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        if "required" not in (kwargs.get("error_messages") or {}):
            self.error_messages["required"] = f"Give {self.wanted}."

    def read(self, text: str, unit: str) -> Any:
        """Return what was typed as a value, or raise a StudioError."""
        raise NotImplementedError

    def show(self, value: Any) -> str:
        """Return the text that reads back to the value."""
        raise NotImplementedError

    def check(self, value: Any) -> None:
        """Raise a ValidationError where the value is outside what the form allows."""

    def typed(self, value: Any) -> tuple[str, str]:
        """Split what the widget sent into text and unit."""
        return str(value), ""

    def to_python(self, value: Any) -> Any:
        """Read the text; any fault of reading becomes a fault of the form."""
        if value is None:
            return None
        text, unit = self.typed(value)
        if not text.strip():
            return None
        try:
            return self.read(text, unit)
        except StudioError as fault:
            raise ValidationError(str(fault), code="unreadable") from fault

    def validate(self, value: Any) -> None:
        """Check the value after the check for an empty field."""
        super().validate(value)
        if value is not None:
            self.check(value)

    def prepare_value(self, value: Any) -> Any:
        """Show a value as text; leave what was typed as it was."""
        return value if value is None or isinstance(value, str) else self.show(value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        """Compare what is typed with what was shown, as values."""
        if self.disabled:
            return False
        try:
            now = self.to_python(data)
            before = None if initial is None else self.to_python(self.prepare_value(initial))
        except ValidationError:
            return True
        return bool(now != before)


class QuantityField(TypedField):
    """A number and its unit under one outline; a unit in the typed text wins.

    ``units`` are offered in that order and the first is taken for a bare number. ``stored``
    gives whole milligrams, micrometres or millilitres, or a Decimal in g/m², instead of a
    quantity. ``positive`` refuses zero. Initial values may be quantities or stored numbers.
    """

    def __init__(
        self,
        kind: str = "mass",
        units: Sequence[str] = (),
        *,
        stored: bool = False,
        positive: bool = False,
        **kwargs: Any,
    ) -> None:
        self.kind_name, self.kind = kind, KINDS[kind]
        self.wanted = self.kind.wanted
        self.units = tuple(units) or self.kind.metric
        self.own_units = bool(units)
        self.stored, self.positive = stored, positive
        kwargs.setdefault("widget", self._widget())
        super().__init__(**kwargs)

    def _widget(self) -> forms.Widget:
        if len(self.units) > 1:
            return QuantityWidget(self.units)
        return UnitInput(self.units[0], letters=True)

    def prefer(self, system: str) -> None:
        """Offer the units of the studio's system first, unless the field names its own."""
        if not self.own_units and isinstance(self.widget, QuantityWidget):
            self.units = self.kind.american if system == "US" else self.kind.metric
            self.widget.offer(self.units)

    def get_bound_field(self, form: Any, field_name: str) -> Any:
        """Tell the unit's list what it is the unit of."""
        bound = super().get_bound_field(form, field_name)
        if isinstance(self.widget, QuantityWidget):
            self.widget.unit_label = f"Unit of {str(bound.label).lower()}"
        return bound

    def typed(self, value: Any) -> tuple[str, str]:
        """Take text and unit from the two controls; one of them may be missing."""
        if isinstance(value, list | tuple):
            text, unit = [*value, None, None][:2]
            return str(text or ""), str(unit or self.units[0])
        return str(value), self.units[0]

    def read(self, text: str, unit: str) -> Any:
        """Read a quantity; refuse a unit that was not offered."""
        if unit not in self.units:
            message = f"Choose one of the units offered: {', '.join(self.units)}."
            raise StudioError(message, value=unit[:40])
        assumed = unit.lower() if self.kind_name == "volume" else unit
        quantity = read(text, self.kind_name, unit=assumed, allow_zero=not self.positive)
        return self.as_stored(quantity) if self.stored else quantity

    def as_stored(self, quantity: Quantity) -> int | Decimal:
        """Return the number a model keeps, rounded half-even once."""
        number = quantity.to(self.kind.stored_unit).magnitude
        if self.kind.whole:
            return int(number.to_integral_value(rounding=ROUND_HALF_EVEN))
        return number.quantize(Decimal("0.0001"), rounding=ROUND_HALF_EVEN)

    def prepare_value(self, value: Any) -> Any:
        """Show a quantity or a stored number as text and unit."""
        if isinstance(value, list | tuple | str) or value is None:
            return value
        quantity = value if isinstance(value, Quantity) else self.from_stored(value)
        unit = self._unit_for(quantity)
        text = self._shortest(quantity, unit)
        if len(self.units) > 1:
            return [text, unit]
        return text

    def from_stored(self, number: int | Decimal) -> Quantity:
        """Return the quantity that a model's number stands for."""
        return Q(number, self.kind.stored_unit)

    def _unit_for(self, quantity: Quantity) -> str:
        own = f"{quantity.units:~}"
        first = own if own in self.units else self.units[0]
        finer = FINER.get(first, "")
        small = 0 < abs(quantity.to(first).magnitude) < Decimal("0.1")
        return finer if small and finer in self.units else first

    def _shortest(self, quantity: Quantity, unit: str) -> str:
        """Return the fewest digits that read back to the same stored number.

        A lot kept as 2 267 962 mg is shown as 5 lb, and saving it untouched changes nothing.
        """
        kept, number = self.as_stored(quantity), quantity.to(unit).magnitude
        for places in range(MOST_PLACES + 1):
            rounded = round(number, places)
            if self.as_stored(Q(rounded, unit)) == kept:
                return plain(rounded)
        return plain(number)


class MassField(QuantityField):
    """A mass; the name of the field says as-is, oven-dry or usable."""

    def __init__(self, units: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__("mass", units, **kwargs)


class LengthField(QuantityField):
    """A length; ``stored=True`` gives micrometres."""

    def __init__(self, units: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__("length", units, **kwargs)


class VolumeField(QuantityField):
    """A volume; ``stored=True`` gives millilitres."""

    def __init__(self, units: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__("volume", units, **kwargs)


class GrammageField(QuantityField):
    """A grammage in g/m², or a basis weight with its grade typed in, such as 32 lb bond."""

    def __init__(self, units: Sequence[str] = (), **kwargs: Any) -> None:
        super().__init__("grammage", units, **kwargs)


class SizeField(TypedField):
    """A size in one line: a named size or two lengths; gives a ``studio.sizes.Size``.

    A model keeps a size in two columns: declare ``size = SizeField()`` beside the model's
    fields, give ``initial={"size": Size(lot.width_um, lot.height_um)}`` and set both columns
    from ``cleaned_data["size"]``.
    """

    wanted = "a size, such as A4 or 210 × 297 mm"

    def __init__(self, **kwargs: Any) -> None:
        self.unit = "mm"
        kwargs.setdefault("widget", plain_text_input())
        super().__init__(**kwargs)

    def prefer(self, system: str) -> None:
        """Take bare numbers as inches where the studio measures in them."""
        self.unit = "in" if system == "US" else "mm"

    def read(self, text: str, unit: str) -> Any:
        """Read a size."""
        return read(text, "size", unit=self.unit)

    def show(self, value: Any) -> str:
        """Show both sides, exact to the micrometre."""
        sides = [self._side(value.width_um), self._side(value.height_um)]
        return f"{sides[0]} × {sides[1]} {self.unit}"

    def _side(self, side_um: int) -> str:
        number = units.from_um(side_um).to(self.unit).magnitude
        tries = (round(number, places) for places in range(MOST_PLACES + 1))
        kept = (one for one in tries if units.to_um(Q(one, self.unit)) == side_um)
        return plain(next(kept, number))


class ShareField(TypedField):
    """A share typed in percent; gives a Decimal from 0 to 1."""

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
        """Refuse a share above the most."""
        if value > self.most:
            raise ValidationError(f"Give {plain(self.most * 100)} % or less.", code="too_much")


class NumberField(TypedField):
    """A number without a unit of its own; gives a Decimal. ``unit`` is a word to show."""

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
        self.least, self.most = least, most
        kwargs.setdefault("widget", UnitInput(unit) if unit else plain_text_input("decimal"))
        super().__init__(**kwargs)

    def read(self, text: str, unit: str) -> Any:
        """Read the number."""
        return read(text, self.kind_name, allow_zero=True)

    def show(self, value: Any) -> str:
        """Show the number without an exponent."""
        return plain(Decimal(value))

    def check(self, value: Any) -> None:
        """Refuse what is below the least or above the most."""
        if value < self.least:
            raise ValidationError(f"Give {plain(Decimal(self.least))} or more.", code="too_few")
        if self.most is not None and value > self.most:
            raise ValidationError(f"Give {plain(Decimal(self.most))} or fewer.", code="too_many")


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


class DayField(forms.DateField):
    """A day, picked or typed as 2026-11-25 or 25 Nov 2026."""

    widget = DayInput
    input_formats = ("%Y-%m-%d", "%d %b %Y", "%d %B %Y")
    default_error_messages = {
        "required": "Give a day.",
        "invalid": "Give a day such as 2026-11-25.",
    }

    def validate(self, value: Any) -> None:
        """Refuse a year that can only be a slip of the finger."""
        super().validate(value)
        if value is not None and not FIRST_YEAR <= value.year <= LAST_YEAR:
            raise ValidationError(
                f"Give a day from {FIRST_YEAR} to {LAST_YEAR}, got {value.year}.", code="year"
            )
