"""Ten thousand forged texts of every kind of quantity, against a second reader in fractions.

``tests/studio/test_reading.py`` does so for masses, and has the list of what is refused.
"""

from __future__ import annotations

import random
import re
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from studio.errors import ReadingError
from studio.reading import RULES, read_quantity
from studio.sizes import Size
from studio.units import Quantity
from tests.hostile.nasties import FORGED, NUMBERS, UNREADABLE

pytestmark = pytest.mark.hostile

TEXTS = 10_000
SEED = 20261129
# The inch is 25.4 mm and the US gallon 231 cubic inches, both exactly (from memory).
INCH = Fraction("25.4")
GALLON = 231 * INCH**3 / 1_000_000
# What one of each unit is in the base unit of its kind.
UNITS: dict[str, dict[str, Fraction]] = {
    "length": {
        "mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000), "in": INCH, "ft": 12 * INCH,
        '"': INCH, "'": 12 * INCH,
    },
    "volume": {
        "L": Fraction(1), "mL": Fraction(1, 1000), "gal": GALLON, "qt": GALLON / 4,
        "pt": GALLON / 8, "cups": GALLON / 16, "cup": GALLON / 16, "fl oz": GALLON / 128,
    },
    "grammage": {"g/m2": Fraction(1), "gsm": Fraction(1)},
    "consistency": {"g/L": Fraction(1)},
    "share": {"%": Fraction(1, 100)},
    "count": {"": Fraction(1), "sheets": Fraction(1), "sheet": Fraction(1)},
    "number": {"": Fraction(1)},
}  # fmt: skip
BASES = {"length": "mm", "volume": "L", "grammage": "g/m2", "consistency": "g/L"}
# Limits as README and the pages name them, in the base unit.
LIMITS = {
    "length": ("0.001", 10_000), "volume": ("0.000001", 100_000), "grammage": (1, 5000),
    "consistency": ("0.01", 500), "share": (0, 1), "count": (1, 10**7), "number": (0, 10**9),
}  # fmt: skip
SCRAPS = [*"0123456789", " ", ".", ",", "/", "-", "+", "e", "x", "×", "½", "٥",
          "１", "\u200b", "\0", "\u00a0", "_", "%", "'", "E5", "NaN", "inf", "**", "(",
          "0x"]  # fmt: skip
ADVICE = re.compile(r"\b(Write|Give|Use|Carry|allowed)\b")


def typed(chance: random.Random, units: dict[str, Fraction]) -> str:
    """Return a number of some form with a unit, half of the time spoilt a little."""
    whole, rest, below = chance.randrange(300), chance.randrange(1000), chance.randrange(17)
    number = chance.choice([
        f"{whole}", f"{whole}.{rest}", f"{whole},{rest}", f"{whole},{rest:03d}", f".{rest}",
        f"{rest}/{below}", f"{whole} {below % 7}/{below}", f"{whole} {rest:03d}", f"0{whole}",
    ])  # fmt: skip
    text = number + chance.choice(["", " ", "  ", "\u202f"]) + chance.choice([*units, "", "kg"])
    if chance.random() < 0.5:
        at = chance.randrange(len(text) + 1)
        text = text[:at] + chance.choice(SCRAPS) + text[at + chance.randrange(2) :]
    return text


def second_reading(text: str, units: dict[str, Fraction]) -> Fraction:
    """Read what was accepted by taking the unit off its end and adding up what is left."""
    plain = re.sub(r"\s+", " ", text).strip()
    unit = max((one for one in units if plain.lower().endswith(one.lower())), key=len)
    number = plain[: len(plain) - len(unit)].strip()
    parts = re.sub(r" ?/ ?", "/", number).replace(",", ".").split(" ")
    if "/" in parts[-1]:
        return sum(Fraction(part) for part in parts) * units[unit]
    return Fraction("".join(parts)) * units[unit]


def figure(kind: str, answer: Any) -> Fraction:
    if isinstance(answer, Quantity):
        assert answer.magnitude.is_finite()
        return Fraction(answer.to(BASES[kind]).magnitude)
    if isinstance(answer, Decimal):
        assert answer.is_finite()
    return Fraction(answer)


def test_ten_thousand_texts_of_every_kind_are_refused_or_read_as_a_second_reader_does() -> None:
    chance = random.Random(SEED)
    kinds = sorted(UNITS)
    accepted = dict.fromkeys(kinds, 0)
    for number in range(TEXTS):
        kind = kinds[number % len(kinds)]
        units, text = UNITS[kind], typed(chance, UNITS[kind])
        answer, refusal = answer_of(text, kind)
        if refusal:
            assert unkind(refusal) == "", text
            continue
        accepted[kind] += 1
        wanted, read = second_reading(text, units), figure(kind, answer)
        low, high = (Fraction(limit) for limit in LIMITS[kind])
        assert low <= wanted <= high, text
        # A third has no end in decimals: 28 figures are kept.
        assert abs(read - wanted) <= wanted / 10**24, text
    # Some of each, or they would prove nothing.
    assert min(accepted.values()) > 50, accepted
    assert TEXTS / 8 < sum(accepted.values()) < TEXTS / 2


def test_every_kind_has_a_second_reader() -> None:
    # Masses are read twice in tests/studio/test_reading.py; a size is two lengths.
    assert set(UNITS) | {"mass", "size"} == set(RULES)


def test_sizes_are_refused_or_two_lengths() -> None:
    chance = random.Random(SEED + 1)
    lengths, accepted = UNITS["length"], 0
    for _ in range(1_500):
        sides = [typed(chance, lengths) for _ in range(2)]
        text = chance.choice([" x ", "x", " × ", " X "]).join(sides)
        size, refusal = answer_of(text, "size")
        if refusal:
            assert unkind(refusal) == "", text
            continue
        accepted += 1
        assert isinstance(size, Size)
        assert all(1_000 <= side <= 10_000_000 for side in (size.width_um, size.height_um)), text
    assert accepted > 50


@pytest.mark.parametrize("kind", sorted(RULES))
def test_refusal_names_the_field_and_says_what_to_do(kind: str) -> None:
    told = [answer_of(text, kind)[1] for text in (*UNREADABLE, *NUMBERS, *FORGED, "9" * 10**6)]
    refusals = [sentence for sentence in told if sentence]
    assert [sentence for sentence in refusals if unkind(sentence)] == []
    assert len(refusals) > len(told) / 2


def answer_of(text: str, kind: str) -> tuple[Any, str]:
    """Return what is read, or the sentence of the refusal."""
    try:
        return read_quantity(text, kind, field="Box"), ""
    except ReadingError as refusal:
        return None, str(refusal)


def unkind(sentence: str) -> str:
    """Say what a refusal lacks: its field, the value cut short, no odd sign, and advice."""
    if not re.match(r"Box: “[^”]{0,41}” ", sentence):
        return "It does not name field and value."
    if not ADVICE.search(sentence):
        return "It does not say what to do."
    blanks = str.maketrans("\u00a0\u202f", "  ")
    return "" if sentence.translate(blanks).isprintable() else "It shows what cannot be seen."
