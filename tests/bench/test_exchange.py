"""Twenty thousand lots out of one file: how long each step takes, and that the ledger holds."""

from __future__ import annotations

import pytest

from fibres.audit import audit
from fibres.exchange import LotList
from fibres.models import Lot
from studio.files.rows import read_list
from studio.files.taking import take_in
from tests.builders import make_fibre, make_source, make_studio
from tests.exchange import text_of

pytestmark = pytest.mark.django_db
ROWS = 20_000


@pytest.fixture
def content():
    make_studio(currency="GBP")
    make_fibre(name="Abaca")
    make_source(name="Yard")
    return text_of(
        *(
            {
                "fibre": "Abaca", "source": "Yard", "received": f"2026-{n % 11 + 1:02d}-14",
                "mass (kg)": f"{n % 900 + 1}.5", "moisture (%)": f"{n % 70 / 10 + 5:.1f}",
                "left oven-dry": "" if n % 3 else "0.5 kg", "remarks": f"row {n}",
            }
            for n in range(ROWS)
        )
    )  # fmt: skip


def test_looking_over(benchmark, content):
    file = read_list(content, LotList.columns)
    found = benchmark.pedantic(
        lambda: take_in(LotList(), file, dry_run=True), rounds=1, iterations=1
    )
    assert found.count("entered") == ROWS


def test_entering(benchmark, content):
    file = read_list(content, LotList.columns)
    benchmark.pedantic(lambda: take_in(LotList(), file), rounds=1, iterations=1)
    assert Lot.objects.count() == ROWS
    found = audit()
    assert (found.lots, found.faults) == (ROWS, [])
