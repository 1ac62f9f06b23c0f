"""Fields with a unit: mass, length, volume, grammage, and a size of two sides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django import forms

from studio import units
from studio.errors import StudioError
from studio.fields.typed import TypedField, plain, read
from studio.reading import shown
from studio.units import Q, Quantity
from studio.widgets import QuantityWidget, UnitInput, plain_text_input


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
AMERICAN = ("lb", "oz", "in", "gal")
MOST_PLACES = 9


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
        """Offer the units of the reader's system first, among those that the field takes."""
        if not self.own_units:
            self.units = self.kind.american if system == "US" else self.kind.metric
        elif system == "US":
            self.units = self._american_first()
        if isinstance(self.widget, QuantityWidget):
            self.widget.offer(self.units)
        elif isinstance(self.widget, UnitInput):
            self.widget.unit = self.units[0]

    def _american_first(self) -> tuple[str, ...]:
        if self.units == ("mm",):
            return ("in",)
        return tuple(sorted(self.units, key=lambda unit: unit not in AMERICAN))

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
            offered = ", ".join(self.units)
            message = f"Choose one of the units offered: {offered}; got {shown(unit)}."
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
