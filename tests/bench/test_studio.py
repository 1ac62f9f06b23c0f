"""The generated studio that benches and large demos stand on."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.db import transaction

from fibres.audit import audit
from fibres.models import Lot, Movement, Purchase
from orders import snapshot
from orders.calc.cover import allocate
from orders.calc.plan import to_json
from orders.models import Commission
from studio.errors import StudioError
from tests.bench.studio import Extent, fill
from tests.builders import day
from tests.orders.oracles.checking import faults

EXTENT = Extent(lots=300, commissions=40, fibres=8, days=180)


@pytest.fixture
def filled(db):
    fill(EXTENT, day())


def test_a_generated_studio_has_the_extent_asked_for(filled):
    assert (Lot.objects.count(), Movement.objects.count()) == (300, 300)
    assert Commission.objects.count() == 40
    assert Purchase.objects.exists()


def test_the_audit_of_a_generated_studio_finds_nothing(filled):
    found = audit()
    assert (found.faults, found.lots) == ([], 300)


def test_some_promises_of_a_generated_studio_are_short_and_most_are_not(filled):
    plan = snapshot.read(day())
    cover = allocate(plan)
    assert not faults(plan, cover)
    short = [found for found in cover.commissions if found.short]
    assert 0 < len(short) < len(cover.commissions) / 2


def test_one_seed_gives_one_studio(db):
    assert shot(EXTENT) == shot(EXTENT)


def test_another_seed_gives_another_studio(db):
    assert shot(EXTENT) != shot(replace(EXTENT, seed=2))


def test_a_generated_studio_goes_into_an_empty_database_only(filled):
    with pytest.raises(StudioError, match="empty database only"):
        fill(EXTENT, day())


def shot(extent):
    """Return what planning reads of a studio, and take the studio back."""
    with transaction.atomic():
        fill(extent, day())
        found = to_json(snapshot.read(day()))
        transaction.set_rollback(True)
    return found
