"""The one function that reads a quantity as a person typed it.

Text is matched against fixed patterns of ASCII digits and its unit is looked up in a fixed
table; it never reaches the parser of the unit registry, which evaluates expressions.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, NoReturn

from studio.errors import ReadingError, StudioError
from studio.sizes import Size, basic_sizes, grammage_from_basis_weight, size_named
from studio.units import Q, Quantity, to_um

Kind = Literal[
    "mass", "length", "volume", "grammage", "consistency", "size", "share", "count", "number"
]

LONGEST = 60
SHOWN = 40
SPACES = str.maketrans({"\u00a0": " ", "\u2009": " ", "\u202f": " ", "\t": " "})
# Beyond ASCII only the signs that the program itself prints.
BEYOND_ASCII = "×²"
READY_FRACTIONS = "¼½¾⅓⅔⅛⅜⅝⅞"
SIGNS = "-+\u2212\u2012\u2013\u2014"

GROUPED = r"[1-9][0-9]{0,2}(?: [0-9]{3})+(?:\.[0-9]{1,9})?"
FRACTION = r"(?:[0-9]{1,6} )?[1-9][0-9]{0,5}/[1-9][0-9]{0,5}"
PLAIN = r"[0-9]{1,12}(?:[.,][0-9]{1,9})?|\.[0-9]{1,9}"
NUMBER = f"(?:{FRACTION}|{GROUPED}|{PLAIN})"
# A unit begins with a letter or a sign that is no digit; "m2" and "fl oz" lie inside it.
UNIT = r"[A-Za-z%\"'][A-Za-z0-9/²^ ]*"
SIDE_UNIT = r"[A-Za-z]{1,12}|\""
ONE = re.compile(rf"({NUMBER}) ?({UNIT})?")
WHOLE = r"[1-9][0-9]{0,2}(?: [0-9]{3})+|[0-9]{1,9}"
TWO = re.compile(rf"({WHOLE}) ?([A-Za-z']{{1,12}}) ?({NUMBER}) ?([A-Za-z\"]{{1,12}})")
SIDES = re.compile(rf"({NUMBER}) ?({SIDE_UNIT})? ?[xX×] ?({NUMBER}) ?({SIDE_UNIT})?")
UNSURE_COMMA = re.compile(r"([0-9]*[1-9][0-9]*),([0-9]{3})")

MASS_UNITS = {
    "kg": "kg", "kgs": "kg", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg",
    "g": "g", "gram": "g", "grams": "g", "mg": "mg", "t": "t", "tonne": "t", "tonnes": "t",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb",
    "oz": "oz", "ounce": "oz", "ounces": "oz",
}  # fmt: skip
LENGTH_UNITS = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "cm": "cm", "centimetre": "cm",
    "centimetres": "cm", "m": "m", "metre": "m", "metres": "m",
    "in": "in", "inch": "in", "inches": "in", '"': "in",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
}  # fmt: skip
VOLUME_UNITS = {
    "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L", "ml": "mL",
    "millilitre": "mL", "millilitres": "mL", "cup": "cup", "cups": "cup",
    "fl oz": "floz", "floz": "floz", "pt": "pint", "pint": "pint", "pints": "pint",
    "qt": "quart", "quart": "quart", "quarts": "quart",
    "gal": "gallon", "gallon": "gallon", "gallons": "gallon",
}  # fmt: skip
GRAMMAGE_UNITS = {"g/m2": "g/m2", "g/m²": "g/m2", "g/m^2": "g/m2", "gsm": "g/m2"}
CONSISTENCY_UNITS = {"g/l": "g/L", "gram/litre": "g/L", "grams/litre": "g/L"}
POUNDS = ("lb", "lbs", "pound", "pounds")


@dataclass(frozen=True, slots=True)
class _Rule:
    """What one kind of quantity may be, in words and in numbers; limits are in ``base``."""

    noun: str
    allowed: str
    example: str
    limits: str
    low: Decimal
    high: Decimal
    base: str = ""
    units: dict[str, str] = field(default_factory=dict)
    zero: bool = False
    pair: tuple[str, str, int] | None = None


RULES: dict[str, _Rule] = {
    "mass": _Rule(
        "mass", "kg, g, mg, t, lb or oz", "2.5 kg or 5 lb 4 oz", "1 mg to 100\u202f000 kg",
        Decimal("0.000001"), Decimal(100_000), "kg", MASS_UNITS, pair=("lb", "oz", 16),
    ),
    "length": _Rule(
        "length", "mm, cm, m, in or ft", "297 mm or 11 in", "0.001 mm to 10 m",
        Decimal("0.001"), Decimal(10_000), "mm", LENGTH_UNITS, pair=("ft", "in", 12),
    ),
    "volume": _Rule(
        "volume", "L, mL, or US cups, fl oz, pt, qt and gal", "60 L or 4 cups",
        "0.001 mL to 100\u202f000 L",
        Decimal("0.000001"), Decimal(100_000), "L", VOLUME_UNITS,
    ),
    "grammage": _Rule(
        "grammage", "g/m² (gsm), or lb with a basic size", "120 g/m² or 32 lb bond",
        "1 g/m² to 5000 g/m²",
        Decimal(1), Decimal(5000), "g/m2", GRAMMAGE_UNITS,
    ),
    "consistency": _Rule(
        "consistency", "g/L, oven-dry fibre to the litre", "5 g/L", "0.01 g/L to 500 g/L",
        Decimal("0.01"), Decimal(500), "g/L", CONSISTENCY_UNITS,
    ),
    "size": _Rule(
        "size", "a name, or two sides in mm, cm, m, in or ft",
        "A4, 210 x 297 mm or 8.5 x 11 in", "1 mm to 10 m a side",
        Decimal(1), Decimal(10_000), "mm", LENGTH_UNITS,
    ),
    "share": _Rule(
        "share", "a % sign", "8 %", "0 % to 100 %", Decimal(0), Decimal(100), "%",
        {"%": "%", "percent": "%", "per cent": "%"}, zero=True,
    ),
    "count": _Rule(
        "whole number", "a number alone", "120", "1 to 10\u202f000\u202f000",
        Decimal(1), Decimal(10_000_000), "", {"": "", "sheet": "", "sheets": ""},
    ),
    "number": _Rule(
        "number", "a number alone", "12.5", "0 to 1\u202f000\u202f000\u202f000",
        Decimal(0), Decimal(1_000_000_000), "", {"": ""}, zero=True,
    ),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Typed:
    """The text being read, with what a refusal of it needs to say."""

    text: str
    raw: object
    rule: _Rule
    field: str
    unit: str
    allow_zero: bool

    def refuse(self, fault: str) -> NoReturn:
        """Raise the one form that every refusal has: name, what was given, what to write."""
        given = shown(self.raw)
        name = self.field or self.rule.noun.capitalize()
        raise ReadingError(f"{name}: {given} {fault}", field=self.field, value=given)

    def unreadable(self) -> NoReturn:
        self.refuse(
            f"can't be read as a {self.rule.noun}. Write it such as {self.rule.example} "
            f"({self.rule.allowed})."
        )


def shown(raw: object) -> str:
    """Return what was typed, safe to print and cut to 40 characters, in quotation marks."""
    text = raw[: SHOWN + 1].translate(SPACES) if isinstance(raw, str) else type(raw).__name__
    safe = "".join(letter if letter.isprintable() else "?" for letter in text)
    return f"“{safe[:SHOWN]}…”" if len(safe) > SHOWN else f"“{safe}”"


def read_quantity(
    text: str, kind: Kind, *, field: str = "", unit: str = "", allow_zero: bool = False
) -> Quantity | Size | Decimal | int:
    """Read what a person typed as one kind of quantity.

    Parameters
    ----------
    text : str
        As typed, such as ``5 lb 4 oz``, ``3,5 kg``, ``1 1/2 lb``, ``32 lb bond``, ``A4``.
    kind : str
        "mass", "length", "volume", "grammage" and "consistency" give a Quantity, "size" a
        Size, "share" a Decimal from 0 to 1, "count" an int, "number" a Decimal.
    field : str
        What the value is for, to begin the error with.
    unit : str
        The unit of a bare number; without it a bare number is refused where a unit is needed.
    allow_zero : bool
        Whether 0 is taken where only more than 0 makes sense as a rule.

    Returns
    -------
    Quantity, Size, Decimal or int
        A Quantity is in the unit typed, or g/m² for every grammage.

    Raises
    ------
    ReadingError
        Names the field, what was given and what is allowed, with an example.
    """
    if kind not in RULES:
        raise StudioError(f"A kind must be one of {', '.join(RULES)}, got {kind!r}.")
    rule = RULES[kind]
    if unit and unit not in rule.units:
        raise StudioError(f"The unit of a bare {rule.noun} must be {rule.allowed}, got {unit!r}.")
    # A sheet without a side is no sheet, whatever the caller allows.
    typed = _typed(text, rule, field, unit, allow_zero and kind != "size")
    if kind == "size":
        return _read_size(typed)
    if rule.pair and (both := TWO.fullmatch(typed.text)):
        return _bounded(typed, *_read_pair(typed, both))
    found = ONE.fullmatch(typed.text)
    if not found:
        typed.unreadable()
    if kind == "grammage" and found[2] and found[2].split()[0].lower() in POUNDS:
        return _read_basis_weight(typed, found[1], found[2])
    number = _number(typed, found[1], found[2] or unit)
    return _finished(typed, kind, number, _unit(typed, found[2]))


def _typed(text: str, rule: _Rule, field: str, unit: str, allow_zero: bool) -> _Typed:
    """Return the text with its spaces made plain, or refuse characters no quantity has."""
    raw = _Typed("", text, rule, field, unit, allow_zero)
    if not isinstance(text, str):
        raw.unreadable()
    if len(text) > LONGEST:
        raw.refuse(f"is too long. Write it such as {rule.example}.")
    plain = " ".join(text.translate(SPACES).strip(" \r\n").split(" "))
    plain = re.sub(r" +", " ", plain)
    plain = re.sub(r" ?/ ?", "/", plain)
    if not plain:
        raw.refuse(f"is empty. Write a {rule.noun} such as {rule.example}.")
    if plain[0] in SIGNS:
        raw.refuse(
            f"has a sign before it. Write a {rule.noun} without one, such as {rule.example}."
        )
    if any(letter in READY_FRACTIONS for letter in plain):
        raw.refuse("holds a ready-made fraction. Write fractions out, such as 1/2.")
    if any(not " " <= letter <= "~" and letter not in BEYOND_ASCII for letter in plain):
        raw.refuse(
            "holds characters that no quantity has. Use the digits 0 to 9 and a plain unit, "
            f"such as {rule.example}."
        )
    return _Typed(plain, text, rule, field, unit, allow_zero)


def _number(typed: _Typed, text: str, unit: str) -> Decimal:
    """Return the number; a comma that may be either mark is refused with both readings."""
    if unsure := UNSURE_COMMA.fullmatch(text):
        whole, decimals = unsure[1], unsure[2]
        point = f"{Decimal(f'{whole}.{decimals}').normalize():f}"
        after = "" if unit in ("", '"', "'") else " "
        thousand = f"{int(whole + decimals)}"
        if typed.rule is RULES["count"]:
            typed.refuse(f"has a comma. Write a whole number without one, {thousand}.")
        typed.refuse(
            f"can mean two things. Write {point}{after}{unit} or {thousand}{after}{unit}."
        )
    if "/" in text:
        return _fraction(typed, text)
    return Decimal(text.replace(" ", "").replace(",", "."))


def _fraction(typed: _Typed, text: str) -> Decimal:
    whole, _, fraction = text.rpartition(" ")
    above, below = (int(part) for part in fraction.split("/"))
    if whole and above >= below:
        typed.refuse("has a whole number before a fraction of 1 or more. Write it such as 1 1/2.")
    return Decimal(int(whole or 0) * below + above) / below


def _spelled(typed: _Typed, word: str) -> str | None:
    """Return the unit a word stands for. Mg is a tonne in SI, so it is not read as mg."""
    units = typed.rule.units
    word = word.strip()
    if word in units:
        return units[word]
    return None if word in ("Mg", "MG") else units.get(word.lower())


def _unit(typed: _Typed, word: str | None) -> str:
    """Return the unit typed, or the one a bare number has here."""
    if not word:
        if typed.unit or "" in typed.rule.units:
            return typed.rule.units[typed.unit]
        typed.refuse(
            f"has no unit. Write a {typed.rule.noun} such as {typed.rule.example} "
            f"({typed.rule.allowed})."
        )
    unit = _spelled(typed, word)
    if unit is None:
        typed.refuse(
            f"is not a {typed.rule.noun}: allowed is {typed.rule.allowed}, "
            f"such as {typed.rule.example}."
        )
    return unit


def _read_pair(typed: _Typed, both: re.Match[str]) -> tuple[Decimal, str]:
    """Return pounds and ounces, or feet and inches, as one number of the larger unit."""
    large, small, per_large = typed.rule.pair or ("", "", 0)
    units = (_spelled(typed, both[2]), _spelled(typed, both[4]))
    if units != (large, small):
        typed.unreadable()
    rest = _number(typed, both[3], small)
    if rest >= per_large:
        typed.refuse(
            f"has {per_large} {small} or more after the {large}. Carry them over into {large}."
        )
    return _number(typed, both[1], large) + rest / per_large, large


def _read_basis_weight(typed: _Typed, number: str, words: str) -> Quantity:
    pounds = _number(typed, number, "lb")
    _, _, grade = words.lower().partition(" ")
    grade = grade.strip()
    if grade not in basic_sizes():
        names = ", ".join(basic_sizes())
        typed.refuse(
            f"needs its basic size, for pounds alone are another paper on each. Write "
            f"{pounds} lb and one of {names}; or g/m², such as 120 g/m²."
        )
    grammage = grammage_from_basis_weight(Q(pounds, "lb"), basic_size=grade)
    return _bounded(typed, grammage.magnitude, "g/m2")


def _finished(typed: _Typed, kind: Kind, number: Decimal, unit: str) -> Quantity | Decimal | int:
    if kind in ("share", "count", "number"):
        _check(typed, number)
        if kind == "count":
            return _count(typed, number)
        return number / 100 if kind == "share" else number
    return _bounded(typed, number, unit)


def _count(typed: _Typed, number: Decimal) -> int:
    if number != number.to_integral_value():
        typed.refuse("is not whole. Write a whole number such as 120.")
    return int(number)


def _bounded(typed: _Typed, number: Decimal, unit: str) -> Quantity:
    quantity = Q(number, unit)
    _check(typed, quantity.to(typed.rule.base).magnitude)
    return quantity


def _check(typed: _Typed, number: Decimal) -> None:
    """Refuse a number, in the base unit of its kind, that is outside what is allowed."""
    rule = typed.rule
    if number == 0 and (typed.allow_zero or rule.zero):
        return
    if not rule.low <= number <= rule.high:
        typed.refuse(f"is outside what is allowed: from {rule.limits}.")


def _read_size(typed: _Typed) -> Size:
    found = SIDES.fullmatch(typed.text)
    if not found:
        size = size_named(typed.text)
        if size is None:
            typed.unreadable()
        return size
    last = _unit(typed, found[4])
    first = _unit(typed, found[2]) if found[2] else last
    width = _bounded(typed, _number(typed, found[1], found[2] or found[4] or typed.unit), first)
    height = _bounded(typed, _number(typed, found[3], found[4] or typed.unit), last)
    return Size(to_um(width), to_um(height))
