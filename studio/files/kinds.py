"""How each kind of cell is read; a cell means what the same words mean in a form."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError

from studio import money
from studio.errors import ReadingError
from studio.fields import DayField, read
from studio.fields.days import FIRST_YEAR, LAST_YEAR
from studio.files.columns import Column
from studio.units import show_number, to_mg, to_um
from studio.unseen import holds_unseen

AS_WRITTEN, COMMA, POINT = "", "comma", "point"
DECIMALS = ((AS_WRITTEN, "As each cell writes it"), (COMMA, "A comma"), (POINT, "A point"))
WITH_COMMA = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+(?:,[0-9]+)?|[0-9]+,[0-9]+")
WITH_POINT = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
# Both signs in one number: one of them marks thousands.
WITH_BOTH = re.compile(r"[0-9]\.[0-9]{3},[0-9]|[0-9],[0-9]{3}\.[0-9]")
# How a refusal reads that a sign for decimals would settle.
TWO_THINGS = "can mean two things"
YES = frozenset({"yes", "y", "true", "x", "1", "ja", "oui", "si", "sí"})
NO = frozenset({"no", "n", "false", "-", "0", "nein", "non"})
GERMAN_DAY = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")
SLASHED_DAY = re.compile(r"[0-9]{1,4}/[0-9]{1,2}/[0-9]{1,4}")


@dataclass(frozen=True, slots=True)
class Asked:
    """What reading a cell takes beside its text."""

    unit: str = ""
    currency: str = "GBP"
    decimals: str = AS_WRITTEN

    def plain(self, text: str) -> str:
        """Return text with its numbers written with a point, where the file's sign was told."""
        if self.decimals == COMMA:
            return WITH_COMMA.sub(lambda one: one[0].replace(".", "").replace(",", "."), text)
        if self.decimals == POINT:
            return WITH_POINT.sub(lambda one: one[0].replace(",", ""), text)
        return text


def read_cell(text: str, column: Column, asked: Asked) -> Any:
    """Return what a cell says; a ReadingError or ValidationError where it says nothing."""
    try:
        return READERS[column.kind](text, column, asked)
    except ReadingError as fault:
        is_told = bool(asked.decimals) or not WITH_BOTH.search(text)
        if TWO_THINGS not in str(fault) and is_told:
            raise
        raise ReadingError(f"{fault} Or say what marks decimals in the whole file.") from fault


def _text(text: str, column: Column, asked: Asked) -> str:
    return _short(text.replace("\r\n", "\n").replace("\r", "\n").strip(), column)


def _name(text: str, column: Column, asked: Asked) -> str:
    return _short(" ".join(text.split()) if "\n" in text or "\t" in text else text.strip(), column)


def _short(text: str, column: Column) -> str:
    if len(text) > column.longest:
        raise ReadingError(f"Give at most {column.longest} characters; this has {len(text)}.")
    if holds_unseen(text.replace("\n", "")):
        raise ReadingError("A sign stands here that cannot be seen. Type the cell anew.")
    return text


def _choice(text: str, column: Column, asked: Asked) -> str:
    wanted = _loose(text)
    for value, label in column.choices:
        if wanted in (_loose(value), _loose(label), _loose(label.partition(":")[0])):
            return value
    values = ", ".join(value for value, _ in column.choices if value)
    raise ReadingError(f"“{text[:40]}” is none of: {values}.")


def _loose(text: str) -> str:
    return text.casefold().replace("-", " ").strip()


def _yes(text: str, column: Column, asked: Asked) -> bool:
    word = text.casefold().strip()
    if word in YES or word in NO:
        return word in YES
    raise ReadingError(f"“{text[:40]}” is neither yes nor no.")


def _day(text: str, column: Column, asked: Asked) -> date:
    dotted = GERMAN_DAY.fullmatch(text)
    if dotted:
        text = f"{dotted[3]}-{int(dotted[2]):02d}-{int(dotted[1]):02d}"
    if SLASHED_DAY.fullmatch(text):
        raise ReadingError(
            f"“{text[:40]}” can be read in two ways. Write the year first, such as 2026-11-25."
        )
    try:
        found: date = datetime.strptime(text, "%Y-%m-%d").date()  # noqa: DTZ007
    except ValueError:
        try:
            found = DayField().clean(text)
        except ValidationError as fault:
            raise ReadingError(" ".join(fault.messages)) from fault
    if not FIRST_YEAR <= found.year <= LAST_YEAR:
        raise ReadingError(f"Give a day from {FIRST_YEAR} to {LAST_YEAR}, got {found.year}.")
    return found


def _count(text: str, column: Column, asked: Asked) -> int:
    number: int = read(asked.plain(text), "count", allow_zero=column.least == 0)
    return _bounded(number, column)


def _number(text: str, column: Column, asked: Asked) -> Decimal:
    number: Decimal = read(asked.plain(text), "number", allow_zero=True)
    if number != round(number, 2):
        raise ReadingError(f"Give at most two places after the point, got {show_number(number)}.")
    return _bounded(number, column)


def _bounded(number: Any, column: Column) -> Any:
    if number < column.least:
        raise ReadingError(f"Give {show_number(column.least)} or more, got {show_number(number)}.")
    if number > column.most:
        raise ReadingError(f"Give {show_number(column.most)} or fewer, got {show_number(number)}.")
    return number


def _share(text: str, column: Column, asked: Asked) -> Decimal:
    share: Decimal = read(asked.plain(text), "share", unit=asked.unit and "%")
    if column.below_one and share >= 1:
        raise ReadingError(
            f"Give less than 100 %: the rest is fibre. Here stands {show_number(share * 100)} %."
        )
    if not column.zero and share <= 0:
        raise ReadingError("Give more than 0 %.")
    if share * 100 > column.most:
        raise ReadingError(f"Give {column.most} % or less, got {show_number(share * 100)} %.")
    if share != round(share, 6):
        raise ReadingError(f"Give at most four places after the point, got {text[:40]}.")
    return share


def _mass(text: str, column: Column, asked: Asked) -> int:
    mass: int = to_mg(read(asked.plain(text), "mass", unit=asked.unit, allow_zero=column.zero))
    return mass


def _length(text: str, column: Column, asked: Asked) -> int:
    length: int = to_um(read(asked.plain(text), "length", unit=asked.unit, allow_zero=column.zero))
    return length


def _size(text: str, column: Column, asked: Asked) -> Any:
    return read(asked.plain(text), "size", unit=asked.unit)


def _grammage(text: str, column: Column, asked: Asked) -> Any:
    return read(asked.plain(text), "grammage", unit=asked.unit)


def _money(text: str, column: Column, asked: Asked) -> int:
    return money.read_money(asked.plain(text), asked.currency, field=f"“{column.name}”")


READERS: dict[str, Callable[[str, Column, Asked], Any]] = {
    "text": _text, "name": _name, "choice": _choice, "yes": _yes, "day": _day, "count": _count,
    "number": _number, "share": _share, "mass": _mass, "length": _length, "size": _size,
    "grammage": _grammage, "money": _money,
}  # fmt: skip
WRONG = (ReadingError, ValidationError)
