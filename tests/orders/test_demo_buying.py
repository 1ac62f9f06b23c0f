"""What the invented studio can buy, and that it leaves scenario H1 as it is printed."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from fibres.models import Fibre, Furnish, Offer, Purchase, Source
from orders import demo, snapshot
from orders.calc.plan import Snapshot
from orders.models import Commission
from studio import people
from studio.models import Entry, Studio

LINTER, ABACA, FLAX = "Cotton linter sheet", "Abaca pulp sheet", "Flax half-stuff"


@pytest.fixture
def today() -> date:
    return timezone.localdate()


@pytest.fixture
def tarnlow(db: None, today: date) -> Studio:
    people.make_roles()
    return demo.make(today, people.make_owner("demo owner", None))


@pytest.fixture
def read(tarnlow: Studio, today: date) -> Snapshot:
    return snapshot.read(today, with_sourcing=True)


def test_a_pack_of_abaca_is_that_of_the_scenario(read: Snapshot, today: date) -> None:
    """H1, option (a): a 1 kg pack at 19.00, 10 % moisture, 0.900 kg oven-dry, lead 9 days."""
    assert read.sourcing is not None
    (offer,) = [offer for offer in read.sourcing.offers if offer.fibre == ABACA]
    (terms,) = [source for source in read.sourcing.sources if source.ref == offer.source]
    assert offer.breaks == ((1, 1900),)
    # 0.900 kg at a yield of 97 %.
    assert offer.pack_usable_mg == 873_000
    assert terms.lead_days == 9


def test_it_is_ordered_on_the_day_of_the_scenario_at_the_latest(
    read: Snapshot, today: date
) -> None:
    """H1: on 1 March the last day to order is 18 March, 17 days on; due on 3 April."""
    (promise,) = [found for found in read.commissions if found.ref == "C-003"]
    assert promise.needed_on is not None
    assert promise.needed_on - timedelta(days=9) == today + timedelta(days=17)


def test_two_offers_of_linter_differ_by_what_the_price_is_per(tarnlow: Studio) -> None:
    offers = Offer.objects.filter(fibre__name=LINTER)
    assert {(offer.price_per, offer.breaks_are) for offer in offers} == {
        ("as-is", "all units"),
        ("air-dry", "incremental"),
    }
    assert all(offer.breaks.exists() and offer.source.freight_minor for offer in offers)


def test_what_is_on_its_way_is_of_no_fibre_of_the_scenario(read: Snapshot, today: date) -> None:
    assert Purchase.objects.get().state == Purchase.State.ORDERED
    coming = [lot for lot in read.lots if lot.usable_from > today]
    assert [(lot.ref, lot.fibre) for lot in coming] == [("P-001/1", FLAX)]
    promised = {
        name for found in read.commissions for part in found.furnish for name in part.fibres
    }
    assert promised == {LINTER, ABACA}
    assert {entry.who for entry in Entry.objects.filter(act="order")} <= {"demo owner"}


def test_one_source_takes_orders_in_a_season(tarnlow: Studio) -> None:
    (source,) = Source.objects.filter(season_from__isnull=False)
    assert source.season == ("02-01", "04-30")
    assert source.offers.get().fibre.name == "Kozo white bark"


def test_a_furnish_that_no_promise_uses_may_vary(tarnlow: Studio) -> None:
    varied = Furnish.objects.filter(parts__substitutes__isnull=False)
    furnish = varied.distinct().get()
    assert not Commission.objects.filter(sheet__furnish=furnish).exists()
    part = furnish.parts.get(fibre__name=FLAX)
    assert part.limits == (Decimal("0.4"), Decimal("0.6"))
    assert list(part.substitutes.all()) == [Fibre.objects.get(name="Hemp half-stuff")]


def test_a_commission_that_is_no_promise_is_limited(tarnlow: Studio, today: date) -> None:
    asked = Commission.objects.get(not_before__isnull=False)
    assert not asked.is_promise
    assert asked.not_before == today + timedelta(days=20)
    assert asked.only_lots.count() == 2
