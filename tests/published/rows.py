"""Read the tables of outside values, one pytest parameter for each row."""

import csv
import re
from decimal import Decimal
from pathlib import Path

import pytest

PUBLISHED = Path(__file__).resolve().parents[2] / "fixtures" / "published"


def rows(table: str) -> list[dict[str, str]]:
    with (PUBLISHED / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def published(table: str):
    """Parametrise a test with the rows of a table; ids are KEY-page."""
    return pytest.mark.parametrize(
        "row",
        [
            pytest.param(row, id=f"{row['key']}-{re.sub(r'[^A-Za-z0-9]+', '_', row['page'])}")
            for row in rows(table)
        ],
    )


def agrees(value: Decimal, row: dict[str, str]) -> bool:
    """Whether a value lies within the row's tolerance of the published one."""
    return abs(Decimal(value) - Decimal(row["expected"])) <= Decimal(row["tolerance"])
