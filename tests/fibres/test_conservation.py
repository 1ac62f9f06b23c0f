"""Whatever is done to the store, no milligram of fibre appears or vanishes."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from fibres import services
from fibres.models import Lot, Movement
from studio.errors import NotEnoughError, RangeError, StudioError
from tests.builders import day, make_fibre, make_lot, make_source

SHARES = st.integers(min_value=0, max_value=950_000).map(lambda ppm: Decimal(ppm).scaleb(-6))
MASSES = st.integers(min_value=1, max_value=50_000_000)


def dry_of(as_is_mg: int, moisture: Decimal) -> int:
    """Return oven-dry milligrams, reckoned apart from the code under test."""
    return round(Fraction(as_is_mg) * (1 - Fraction(moisture)))


class Store(RuleBasedStateMachine):
    """Receive, take, weigh and correct in any order, beside a plain reckoning of each lot."""

    lots = Bundle("lots")
    taken = Bundle("taken")

    def __init__(self) -> None:
        super().__init__()
        # Each example has the store to itself, and leaves nothing behind.
        self.example = transaction.atomic()
        self.example.__enter__()
        self.fibre, self.source = make_fibre(), make_source()
        # What each lot should hold, what came in, went out, and was put right, by its key.
        self.held: dict[int, int] = {}
        self.came: dict[int, int] = {}
        self.went: dict[int, int] = {}
        self.put_right: dict[int, int] = {}
        self.moisture: dict[int, Decimal] = {}

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)

    @rule(target=lots, as_is_mg=MASSES, moisture=SHARES)
    def receive(self, as_is_mg: int, moisture: Decimal) -> int:
        dry = dry_of(as_is_mg, moisture)
        if dry == 0:
            with pytest.raises(RangeError, match="holds no fibre"):
                make_lot(self.fibre, self.source, as_is_mg=as_is_mg, moisture=moisture)
            return self.receive(50_000_000, Decimal(0))
        lot = make_lot(self.fibre, self.source, as_is_mg=as_is_mg, moisture=moisture)
        self.held[lot.pk] = self.came[lot.pk] = dry
        self.went[lot.pk] = self.put_right[lot.pk] = 0
        self.moisture[lot.pk] = moisture
        return int(lot.pk)

    @rule(
        target=taken,
        pk=lots,
        share=st.integers(min_value=1, max_value=130),
        kind=st.sampled_from(Movement.OUT_OF_STORE),
    )
    def take_out(self, pk: int, share: int, kind: str) -> int | None:
        """Take a share of what is there, in percent; more than 100 is more than is there."""
        lot = Lot.objects.get(pk=pk)
        whole = round(Fraction(lot.oven_dry_mg) / (1 - Fraction(lot.moisture)))
        as_is_mg = whole * share // 100
        dry = lot.oven_dry_mg if as_is_mg == whole else dry_of(as_is_mg, lot.moisture)
        if dry == 0:
            return None
        try:
            movement = self._take(lot, as_is_mg, kind)
        except NotEnoughError:
            assert as_is_mg > whole
            return None
        # The page rounds what it shows: as much as is shown is the whole of it.
        dry = self.held[pk] if as_is_mg > whole else dry
        assert movement.oven_dry_mg == -dry
        self.held[pk] -= dry
        self.went[pk] += dry
        return int(movement.pk)

    @staticmethod
    def _take(lot: Lot, as_is_mg: int, kind: str) -> Movement:
        return services.take_out(
            lot, as_is_mg=as_is_mg, kind=kind, happened_on=day(), why="", by=None
        )

    @rule(pk=lots, found=SHARES, has_dried=st.booleans())
    def weigh_moisture(self, pk: int, found: Decimal, has_dried: bool) -> None:
        lot = Lot.objects.get(pk=pk)
        as_is_left = round(Fraction(self.held[pk]) / (1 - Fraction(self.moisture[pk])))
        change = 0 if has_dried else dry_of(as_is_left, found) - self.held[pk]
        sample = {"wet_mg": 1_000_000, "dry_mg": int((1 - found) * 1_000_000), "tare_mg": 0}
        try:
            services.weigh_moisture(lot, **sample, tested_on=day(), by=None, has_dried=has_dried)
        except RangeError:
            assert lot.received_oven_dry_mg + change > lot.as_is_mg
            return
        except NotEnoughError:
            # Of a lot that holds nothing no figure can be put right.
            assert self.held[pk] == 0
            assert not has_dried
            return
        self.moisture[pk] = found
        self.held[pk] += change
        self.put_right[pk] += change

    @rule(pk=taken, as_is_mg=st.integers(min_value=0, max_value=50_000_000))
    def correct(self, pk: int | None, as_is_mg: int) -> None:
        movement = None if pk is None else Movement.objects.get(pk=pk)
        if movement is None:
            return
        right = dry_of(as_is_mg, movement.moisture)
        if as_is_mg and not right:
            return
        wrong = -movement.oven_dry_mg
        already = Movement.objects.filter(reverses=movement).exists()
        enough = self.held[movement.lot_id] + wrong >= right
        try:
            services.correct(movement, as_is_mg=as_is_mg, happened_on=day(), why="", by=None)
        except StudioError:
            assert already or not enough
            return
        assert enough
        assert not already
        self.held[movement.lot_id] += wrong - right
        self.went[movement.lot_id] += right - wrong

    @invariant()
    def balances_are_what_was_reckoned(self) -> None:
        found = dict(Lot.objects.values_list("pk", "oven_dry_mg"))
        assert found == self.held

    @invariant()
    def balances_are_the_sum_of_movements(self) -> None:
        summed: dict[int, int] = dict.fromkeys(self.held, 0)
        for lot, mass in Movement.objects.values_list("lot_id", "oven_dry_mg"):
            summed[lot] += mass
        assert summed == self.held
        assert all(mass >= 0 for mass in summed.values())

    @invariant()
    def mass_is_conserved(self) -> None:
        for pk, held in self.held.items():
            assert held == self.came[pk] - self.went[pk] + self.put_right[pk]


@pytest.mark.django_db
def test_no_milligram_appears_or_vanishes():
    run_state_machine_as_test(
        Store,
        settings=settings(
            max_examples=40,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow],
        ),
    )
