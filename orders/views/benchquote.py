"""From a sum at the Bench to a quote: what the address carries, and how it is read again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from orders.benchforms import FibreForSheets, SheetsFromFibre, SheetSum, Sum
from orders.calc.chain import sheets_from_fibre
from orders.calc.spec import SheetSpec
from studio.errors import StudioError

KINDS: dict[str, type[SheetSum]] = {kind.name: kind for kind in (SheetsFromFibre, FibreForSheets)}


@dataclass(frozen=True, slots=True)
class BenchValues:
    """The sheet of a sum, and how many good ones."""

    spec: SheetSpec
    wanted: int


def quote_address(form: Sum) -> str:
    """Return the address that draws up a quote for a sum that could be read; else nothing."""
    if not form.is_valid():
        return ""
    given = form.cleaned_data
    query: dict[str, Any]
    if "sheet" in given:
        # A sheet that is kept already, and how many of it where that was asked.
        query = {"sheet": given["sheet"].pk, "good_quantity": given.get("wanted", "")}
    elif isinstance(form, SheetSum) and _values(form) is not None:
        query = {**{name: form.data[name] for name in form.data}, "sum": form.name}
    else:
        return ""
    return f"{reverse('quote_new')}?{urlencode(query)}"


def values_of(asked: Mapping[str, Any], system: str) -> BenchValues | None:
    """Return the sum that an address brought along; None where it brought none."""
    kind = KINDS.get(asked.get("sum", ""))
    if kind is None:
        return None
    form = kind(asked, system=system)
    return _values(form) if form.is_valid() else None


def _values(form: SheetSum) -> BenchValues | None:
    given = form.cleaned_data
    spec = form.spec()
    if isinstance(form, FibreForSheets):
        return BenchValues(spec, given["wanted"])
    try:
        count = sheets_from_fibre(given["mass"], spec=spec, **form.fibre())
    except StudioError:
        return None
    return BenchValues(spec, count.good_sheets) if count.good_sheets else None
