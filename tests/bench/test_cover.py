"""How long cover takes, as a ratio to reading the same rows from the database.

Not part of a usual run: ``pytest tests/bench --benchmark-only``. A ratio says the same on a slow
machine as on a fast one.
"""

import time
from datetime import timedelta
from decimal import Decimal

import pytest

from fibres.models import Lot
from orders import snapshot
from orders.calc.cover import allocate
from orders.models import Commission
from studio.units import show_number
from tests.builders import (
    day,
    make_client,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
)

COMMISSIONS, LOTS, FIBRES = 1_000, 10_000, 20


@pytest.fixture
def large_studio(db):
    fibres = [make_fibre(name=f"Fibre {number}") for number in range(FIBRES)]
    sheets = [
        make_sheet(make_furnish({one: "0.6", other: "0.4"}), name=f"Sheet {one.name}")
        for one, other in zip(fibres, fibres[1:] + fibres[:1], strict=True)
    ]
    lot, asked = make_lot(fibres[0]), make_commission(sheets[0], make_client())
    Lot.objects.bulk_create(
        Lot(
            ref=f"B-{number:05d}",
            fibre=fibres[number % FIBRES],
            source=lot.source,
            received_on=day(number % 700),
            as_is_mg=2_000_000,
            received_oven_dry_mg=1_840_000,
            oven_dry_mg=1_840_000,
            moisture=Decimal("0.08"),
            measured="weighed",
            moisture_known="label",
            keep_until=day(-(number % 200)) if number % 7 == 0 else None,
        )
        for number in range(LOTS - 1)
    )
    Commission.objects.bulk_create(
        Commission(
            ref=f"B-{number:04d}",
            title="Bench",
            client=asked.client,
            sheet=sheets[number % FIBRES],
            good_quantity=50 + number % 400,
            due=day() + timedelta(days=number % 300),
            state=Commission.State.AGREED,
            priority=1 + number % 9,
        )
        for number in range(COMMISSIONS - 1)
    )


def read_rows():
    """Read the rows as a page would: every lot and every promise, nothing reckoned."""
    return list(Lot.objects.select_related("fibre")), list(snapshot.promises())


def best_of(times, work):
    found = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        found.append(time.perf_counter() - started)
    return min(found)


def test_cover_of_1000_commissions_by_10000_lots(benchmark, large_studio):
    plan = snapshot.read(day())
    assert (len(plan.lots), len(plan.commissions)) == (LOTS, COMMISSIONS)
    cover = benchmark.pedantic(allocate, args=(plan,), rounds=5)
    assert len(cover.commissions) == COMMISSIONS
    rows = best_of(5, read_rows)
    ratio = Decimal(best_of(5, lambda: allocate(plan)) / rows)
    whole = Decimal(best_of(5, lambda: allocate(snapshot.read(day()))) / rows)
    benchmark.extra_info["ratio"] = float(ratio)
    print(  # noqa: T201
        f"\ncover / reading the rows: {show_number(ratio, places=2)}; "
        f"reading, filling the snapshot and cover: {show_number(whole, places=2)}"
    )
