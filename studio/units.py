"""The one registry of units, exact conversions to what is stored, and how quantities are shown.

Everything is Decimal: a float never becomes a quantity, because 0.1 kg three times over must
be 0.3 kg. Nothing typed by a person reaches the parser of the registry; see
:mod:`studio.reading` for that.
"""

from __future__ import annotations

import functools
import inspect
import re
from collections.abc import Callable
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from typing import Literal, ParamSpec, Protocol, TypeAlias, TypeVar

import pint

from studio.errors import StudioError
from studio.numerals import MINUS as MINUS
from studio.numerals import NARROW_SPACE as NARROW_SPACE
from studio.numerals import NO_BREAK_SPACE, rounded, show_number, stripped
from studio.numerals import show_count as show_count

P = ParamSpec("P")
R = TypeVar("R")
System = Literal["metric", "US"]
Quantity: TypeAlias = pint.Quantity

# Each unit is written out: with prefixes the registry would also know a kilopound.
DEFINITIONS = """
gram = [mass] = g
milligram = 0.001 * gram = mg
kilogram = 1000 * gram = kg
tonne = 1000000 * gram = t
pound = 453.59237 * gram = lb
ounce = 28.349523125 * gram = oz
metre = [length] = m
micrometre = 0.000001 * metre = um
millimetre = 0.001 * metre = mm
centimetre = 0.01 * metre = cm
inch = 0.0254 * metre = in
foot = 0.3048 * metre = ft
square_metre = metre ** 2 = m2
litre = 0.001 * metre ** 3 = L
millilitre = 0.001 * litre = mL
gallon = 3.785411784 * litre = gal
quart = 0.946352946 * litre = qt
pint = 0.473176473 * litre = pt
cup = 0.2365882365 * litre
fluid_ounce = 0.0295735295625 * litre = floz
minute = [time] = min
hour = 60 * minute = h
kilowatt_hour = [energy] = kWh
"""
DIMENSIONS = {
    "[area]": "[length] ** 2",
    "[volume]": "[length] ** 3",
    "[grammage]": "[mass] / [length] ** 2",
}
# What a person is told when a quantity of another dimension is given.
EXAMPLES = {
    "[mass]": "a mass such as 2.5 kg",
    "[length]": "a length such as 297 mm",
    "[area]": "an area such as 0.0625 m²",
    "[volume]": "a volume such as 60 L",
    "[grammage]": "a grammage such as 120 g/m²",
    "[time]": "a time such as 90 minutes",
    "[energy]": "an energy such as 12 kWh",
}
NUMERAL = re.compile(r"-?[0-9]+(\.[0-9]+)?", re.ASCII)


def _build_registry() -> pint.UnitRegistry:
    """Return a registry that knows the studio's units and no other."""
    registry = pint.UnitRegistry(None, non_int_type=Decimal, autoconvert_to_preferred=False)
    for line in DEFINITIONS.strip().splitlines():
        registry.define(line)
    for name, made_of in DIMENSIONS.items():
        registry.define(f"{name} = {made_of}")
    return registry


ureg = _build_registry()
# Copies and pickles of a quantity find their registry this way.
pint.set_application_registry(ureg)


class Sides(Protocol):
    """What :func:`show_size` needs to know of a size."""

    @property
    def width_um(self) -> int: ...  # noqa: D102
    @property
    def height_um(self) -> int: ...  # noqa: D102


def Q(magnitude: int | str | Decimal, unit: str | pint.Unit) -> Quantity:  # noqa: N802
    """Return a quantity with a Decimal magnitude, refusing floats and what is not finite.

    >>> Q("2.5", "kg")
    <Quantity(2.5, 'kilogram')>
    """
    if isinstance(magnitude, bool) or not isinstance(magnitude, int | str | Decimal):
        raise StudioError(
            f"A magnitude must be an int, a str or a Decimal, got {magnitude!r} {unit}. "
            "Write it as text, such as Q('2.5', 'kg').",
            value=magnitude,
        )
    if isinstance(magnitude, str) and not NUMERAL.fullmatch(magnitude):
        raise StudioError(
            f"A magnitude must be digits with a point, such as 2.5, got {magnitude!r} {unit}.",
            value=magnitude,
        )
    number = Decimal(magnitude)
    if not number.is_finite():
        raise StudioError(f"A magnitude must be finite, got {number} {unit}.", value=magnitude)
    return ureg.Quantity(plain(number), unit)


def plain(number: Decimal) -> Decimal:
    """Return the same number without a positive exponent: a division may give 1E+3.

    >>> plain(Decimal("1E+3"))
    Decimal('1000')
    """
    _, digits, exponent = number.as_tuple()
    if 0 < exponent < 28 - len(digits):
        return number.quantize(Decimal(1))
    return number


def takes(**dimensions: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Check the dimension of each named argument before the function runs.

    The error names the function, every wrong argument, what each must be and what was given.
    An argument left at its default of None is not checked.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        signature = inspect.signature(function)

        @functools.wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> R:
            bound = signature.bind(*args, **kwargs)
            faults = [
                fault
                for name, dimension in dimensions.items()
                if name in bound.arguments
                and not _left_out(signature.parameters[name], bound.arguments[name])
                and (fault := _dimension_fault(name, dimension, bound.arguments[name]))
            ]
            if faults:
                raise StudioError(f"{function.__name__}: {'; '.join(faults)}.")
            return function(*args, **kwargs)

        return checked

    return decorate


def _left_out(parameter: inspect.Parameter, value: object) -> bool:
    return value is None and parameter.default is None


def _dimension_fault(name: str, dimension: str, value: object) -> str:
    """Return what is wrong with an argument, or nothing."""
    wanted = f"{name} must be {EXAMPLES[dimension]}"
    if not isinstance(value, Quantity):
        return f"{wanted}, got {value!r} without a unit"
    if not value.check(dimension):
        return f"{wanted}, got {value}"
    if not isinstance(value.magnitude, Decimal):
        return f"{wanted} with a Decimal magnitude, got {value.magnitude!r}"
    return ""


# --- what is stored: integers, rounded half-even once -----------------------------------------


@takes(mass="[mass]")
def to_mg(mass: Quantity) -> int:
    """Return a mass in whole milligrams.

    >>> to_mg(Q(1, "lb"))
    453592
    """
    return _whole(mass.to("mg").magnitude)


def from_mg(mass_mg: int) -> Quantity:
    """Return stored milligrams as a quantity in kilograms."""
    return Q(mg_to_kg(mass_mg), "kg")


@takes(length="[length]")
def to_um(length: Quantity) -> int:
    """Return a length in whole micrometres.

    >>> to_um(Q("8.5", "in"))
    215900
    """
    return _whole(length.to("um").magnitude)


def from_um(length_um: int) -> Quantity:
    """Return stored micrometres as a quantity in millimetres."""
    return Q(Decimal(length_um) / 1000, "mm")


def mg_to_kg(mass_mg: int) -> Decimal:
    """Return stored milligrams as a plain number of kilograms, exactly."""
    return Decimal(mass_mg) / 1_000_000


def mg_to_g(mass_mg: int) -> Decimal:
    """Return stored milligrams as a plain number of grams, exactly."""
    return Decimal(mass_mg) / 1000


def _whole(number: Decimal) -> int:
    return int(number.to_integral_value(rounding=ROUND_HALF_EVEN))


# --- how quantities are shown ------------------------------------------------------------------


def show_mass(
    mass: Quantity | int, *, system: System = "metric", unit: str = "", places: int | None = None
) -> str:
    r"""Return a mass, or stored milligrams, in words a person reads and can type back.

    Without ``unit`` the metric system gives kilograms from 100 g and grams below, so that a
    single sheet and a bale both show three or four figures; the US system gives pounds and
    ounces. ``unit`` (kg, g, lb or oz) and ``places`` fix the form for a column.

    >>> show_mass(360_000), show_mass(14_620_000), show_mass(7_040)
    ('0.360\xa0kg', '14.62\xa0kg', '7.04\xa0g')
    """
    grams = mg_to_g(mass) if isinstance(mass, int) else _magnitude(mass, "[mass]", "g")
    if unit:
        number = ureg.Quantity(grams, "g").to(unit).magnitude
        return _worded(number, 2 if places is None else places, unit)
    if grams == 0:
        return f"0{NO_BREAK_SPACE}{'oz' if system == 'US' else 'kg'}"
    if system == "US":
        return _show_pounds(grams, places)
    return _show_kilograms(grams, places)


def _show_kilograms(grams: Decimal, places: int | None) -> str:
    # The limits are those of the figure as shown, so that 99.996 g is not shown as 100.00 g.
    size = abs(grams)
    if size >= Decimal("999.5"):
        return _worded(grams / 1000, 2 if places is None else places, "kg")
    if size >= Decimal("99.995"):
        return _worded(grams / 1000, 3 if places is None else places, "kg")
    fine = 2 if size >= 1 else 3
    return _worded(grams, fine if places is None else places, "g")


def _show_pounds(grams: Decimal, places: int | None) -> str:
    ounces = abs(grams) / Decimal("28.349523125")
    if ounces < Decimal("15.995"):
        fine = 2 if ounces >= 1 else 4 if ounces >= Decimal("0.01") else 6
        return _worded(grams / Decimal("28.349523125"), fine if places is None else places, "oz")
    fine = 1 if places is None else places
    # Rounded before it is split, so that 15.96 oz carries over into the pounds.
    pounds, rest = divmod(rounded(ounces, fine), 16)
    sign = MINUS if grams < 0 else ""
    return (
        f"{sign}{show_number(int(pounds))}{NO_BREAK_SPACE}lb{NO_BREAK_SPACE}"
        f"{show_number(rest, places=fine)}{NO_BREAK_SPACE}oz"
    )


def show_sheet_mass(mass: Quantity | int, system: System = "metric") -> str:
    r"""Return the mass of one sheet in grams or ounces, whatever its size.

    >>> show_sheet_mass(9_072), show_sheet_mass(9_072, "US")
    ('9.07\xa0g', '0.3200\xa0oz')
    """
    return (
        show_mass(mass, system=system) if system == "US" else show_mass(mass, unit="g", places=2)
    )


def show_length(
    length: Quantity | int, *, system: System = "metric", places: int | None = None
) -> str:
    r"""Return a length, or stored micrometres, in millimetres or inches.

    >>> show_length(130_700), show_length(215_900, system="US")
    ('130.7\xa0mm', '8.5\xa0in')
    """
    number, unit = _side(length, system)
    return f"{_short(number, _side_places(system, places))}{NO_BREAK_SPACE}{unit}"


def show_size(size: Sides, *, system: System = "metric", places: int | None = None) -> str:
    """Return the dimensions of a sheet or a mould, width first."""
    width, unit = _side(size.width_um, system)
    height, _ = _side(size.height_um, system)
    fine = _side_places(system, places)
    return (
        f"{_short(width, fine)}{NO_BREAK_SPACE}×{NO_BREAK_SPACE}{_short(height, fine)}"
        f"{NO_BREAK_SPACE}{unit}"
    )


def _side(length: Quantity | int, system: System) -> tuple[Decimal, str]:
    quantity = from_um(length) if isinstance(length, int) else length
    if system == "US":
        return _magnitude(quantity, "[length]", "in"), "in"
    return _magnitude(quantity, "[length]", "mm"), "mm"


def _side_places(system: System, places: int | None) -> int:
    if places is not None:
        return places
    return 2 if system == "US" else 1


def show_grammage(grammage: Quantity | Decimal | int, *, places: int = 1) -> str:
    r"""Return a grammage in g/m²; a plain number is one in g/m² already.

    >>> show_grammage(Q("75.195", "g/m2"))
    '75.2\xa0g/m²'
    """
    number = (
        _magnitude(grammage, "[grammage]", "g/m2")
        if isinstance(grammage, Quantity)
        else Decimal(grammage)
    )
    return f"{_short(number, places)}{NO_BREAK_SPACE}g/m²"


def show_volume(volume: Quantity, *, system: System = "metric", places: int | None = None) -> str:
    r"""Return a volume in litres, or millilitres below one; in the US system gallons or cups.

    >>> show_volume(Q(60, "L")), show_volume(Q(4, "cup"), system="US")
    ('60\xa0L', '4\xa0cups')
    """
    litres = _magnitude(volume, "[volume]", "L")
    fine = 2 if places is None else places
    if system == "US":
        gallons = litres / Decimal("3.785411784")
        if abs(gallons) >= 1:
            return f"{_short(gallons, fine)}{NO_BREAK_SPACE}gal"
        return f"{_short(litres / Decimal('0.2365882365'), fine)}{NO_BREAK_SPACE}cups"
    if litres == 0 or abs(litres) >= 1:
        return f"{_short(litres, fine)}{NO_BREAK_SPACE}L"
    return f"{_short(litres * 1000, 1 if places is None else places)}{NO_BREAK_SPACE}mL"


def show_share(share: Decimal | Fraction, *, places: int = 1) -> str:
    r"""Return a share of 0 to 1 in percent.

    >>> show_share(Decimal("0.065")), show_share(Decimal("0.08"))
    ('6.5\xa0%', '8\xa0%')
    """
    return f"{_short(share * 100, places)}{NO_BREAK_SPACE}%"


def _magnitude(quantity: Quantity, dimension: str, unit: str) -> Decimal:
    if fault := _dimension_fault("what is shown", dimension, quantity):
        raise StudioError(f"{fault[0].upper()}{fault[1:]}.")
    return quantity.to(unit).magnitude


def _short(number: Decimal | Fraction, places: int) -> str:
    """Show at most ``places`` decimals, without trailing zeros."""
    return show_number(Decimal(stripped(rounded(number, places))))


def _worded(number: Decimal, places: int, unit: str) -> str:
    return f"{show_number(number, places=places)}{NO_BREAK_SPACE}{unit}"
