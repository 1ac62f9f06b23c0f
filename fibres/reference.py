"""The fibres and scrap classes that a studio starts with, and how later releases add to them.

``fixtures/reference/fibres.json`` is a plain list. A figure in it names where it is from, or
says that it is from memory. The list is read when the first owner's account is made, by
``manage.py demo``, and whenever somebody runs ``manage.py load_reference``; never by a
migration.

A release that knows more fibres puts rows at the end of the list. Loading it adds the rows
whose names the studio does not have and leaves every other row alone, so that a yield that a
studio has learned, a caution it has written or a fibre it has closed stays as it is. It follows
that a figure put right in the list reaches new studios only, and that a fibre renamed by a
studio counts as missing: the name comes back, and can be closed. A name in the list is therefore
never changed from one release to the next. Names are compared without regard to capitals.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings

from fibres.models import Fibre

FIXTURE = Path(settings.FIXTURES) / "reference" / "fibres.json"
SHARES = ("usual_moisture", "preparation_yield", "yield_spread", "sorting_minutes_per_kg")
FIGURES = {
    "usual_moisture": "Usual moisture",
    "preparation_yield": "Preparation yield",
    "yield_spread": "How far the yield varies",
    "preparation_days": "Days of preparation",
    "keeps_wet_days": "Days it keeps wet",
    "sorting_minutes_per_kg": "Sorting",
    "source_class": "Class for recycled claims",
}


def read_fibres(path: Path = FIXTURE) -> list[dict[str, Any]]:
    """Return the rows of the list as they are written."""
    rows: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))
    return rows


def usual_yield(name: str) -> Decimal | None:
    """Return the preparation yield that the list has for a fibre of this name, if any."""
    found = (row["preparation_yield"] for row in read_fibres() if row["name"] == name)
    return next(map(Decimal, found), None)


def missing_fibres() -> list[Fibre]:
    """Return the fibres of the list that the studio has no fibre of that name for."""
    known = {name.casefold() for name in Fibre.objects.values_list("name", flat=True)}
    return [fibre_of(row) for row in read_fibres() if row["name"].casefold() not in known]


def load_fibres() -> int:
    """Add the fibres that are missing, change none, and return how many were added."""
    fibres = missing_fibres()
    for fibre in fibres:
        fibre.clean_fields()
    return len(Fibre.objects.bulk_create(fibres))


def fibre_of(row: dict[str, Any]) -> Fibre:
    """Return one row of the list as a fibre that is not in the database yet."""
    plain = {key: value for key, value in row.items() if key not in {"evidence", *SHARES}}
    return Fibre(
        **plain,
        **{name: Decimal(row[name]) for name in SHARES},
        evidence="\n".join(
            f"{label}: {row['evidence'][name]}."
            for name, label in FIGURES.items()
            if name in row["evidence"]
        ),
    )
