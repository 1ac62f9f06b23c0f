"""Sheet sizes by name, and the basic sizes that a basis weight in pounds needs.

Names and figures are data (``fixtures/reference``), each row with its source: lists disagree
on what a Double Elephant is, so no size is written into the code.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path

from studio.errors import RangeError
from studio.units import Q, Quantity, takes, to_um

REFERENCE = Path(__file__).resolve().parent.parent / "fixtures" / "reference"
MILLIMETRE_UM = 1000


@dataclass(frozen=True, slots=True)
class Size:
    """The dimensions of a flat sheet or opening, width first, in whole micrometres."""

    width_um: int
    height_um: int

    def __post_init__(self) -> None:
        if self.width_um <= 0 or self.height_um <= 0:
            raise RangeError(
                f"Both sides of a size must be more than 0, got {self.width_um} × "
                f"{self.height_um} µm.",
                value=(self.width_um, self.height_um),
            )

    @property
    def area_um2(self) -> int:
        """Return the area in square micrometres, exact."""
        return self.width_um * self.height_um

    @property
    def area_m2(self) -> Decimal:
        """Return the area in square metres, exact."""
        return Decimal(self.area_um2) / 10**12

    def turned(self) -> Size:
        """Return the same sheet turned by a quarter."""
        return Size(self.height_um, self.width_um)

    def halves(self, times: int = 1) -> Size:
        """Return what is left after halving the long side, each time down to a whole millimetre.

        This is the rule by which ISO 216 makes each size from the one before it.

        >>> Size(841_000, 1_189_000).halves(4) == size_named("A4")
        True
        """
        short, long = sorted((self.width_um, self.height_um))
        for _ in range(times):
            half = long // 2 // MILLIMETRE_UM * MILLIMETRE_UM
            short, long = sorted((half, short))
        return Size(short, long)


@dataclass(frozen=True, slots=True)
class NamedSize:
    """A size as the trade names it, with where the figures come from."""

    name: str
    family: str
    size: Size
    source: str


@dataclass(frozen=True, slots=True)
class BasicSize:
    """The sheet and the count that a basis weight in pounds refers to."""

    name: str
    size: Size
    sheets: int
    source: str


def _rows(file_name: str) -> list[dict[str, str]]:
    with (REFERENCE / file_name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _size_of(row: dict[str, str]) -> Size:
    return Size(to_um(Q(row["width"], row["unit"])), to_um(Q(row["height"], row["unit"])))


def _plain(name: str) -> str:
    """Return the name in the form names are compared in."""
    return " ".join(name.casefold().replace("-", " ").split()).removeprefix("us ")


@cache
def named_sizes() -> tuple[NamedSize, ...]:
    """Return every named size, in the order of the data file."""
    return tuple(
        NamedSize(row["name"], row["family"], _size_of(row), row["source"])
        for row in _rows("sheet_sizes.csv")
    )


@cache
def _sizes_by_name() -> dict[str, NamedSize]:
    return {_plain(named.name): named for named in named_sizes()}


@cache
def _names_by_size() -> dict[Size, str]:
    return {named.size: named.name for named in named_sizes()}


def size_named(name: str) -> Size | None:
    """Return the size of that name in any case, or None.

    >>> size_named("jis b4")
    Size(width_um=257000, height_um=364000)
    """
    named = _sizes_by_name().get(_plain(name))
    return named.size if named else None


def name_of(size: Size) -> str:
    """Return the name of a size, either way up, or an empty text."""
    names = _names_by_size()
    return names.get(size) or names.get(size.turned(), "")


@cache
def basic_sizes() -> dict[str, BasicSize]:
    """Return the basic sizes by grade name."""
    return {
        row["name"]: BasicSize(row["name"], _size_of(row), int(row["sheets"]), row["source"])
        for row in _rows("basic_sizes.csv")
    }


def _basic_size(basic_size: str | BasicSize) -> BasicSize:
    if isinstance(basic_size, BasicSize):
        return basic_size
    try:
        return basic_sizes()[basic_size]
    except KeyError:
        raise RangeError(
            f"A basic size must be one of {', '.join(basic_sizes())}, got {basic_size!r}.",
            value=basic_size,
        ) from None


@takes(basis_weight="[mass]")
def grammage_from_basis_weight(basis_weight: Quantity, *, basic_size: str | BasicSize) -> Quantity:
    """Return the grammage of a paper from the mass of a ream of its basic size.

    >>> round(grammage_from_basis_weight(Q(20, "lb"), basic_size="bond").magnitude, 3)
    Decimal('75.195')
    """
    basic = _basic_size(basic_size)
    return Q(
        basis_weight.to("g").magnitude / (basic.sheets * basic.size.area_m2),
        "g/m2",
    )


@takes(grammage="[grammage]")
def basis_weight_from_grammage(grammage: Quantity, *, basic_size: str | BasicSize) -> Quantity:
    """Return the mass in pounds of a ream of the basic size at that grammage."""
    basic = _basic_size(basic_size)
    grams = grammage.to("g/m2").magnitude * basic.sheets * basic.size.area_m2
    return Q(grams, "g").to("lb")
