"""Over any counts of the store: what came in is in store, went out, or is lost by a named reason.

Fibre is reckoned here from what was weighed and said, apart from the code under test.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from fibres import services, stocktaking
from fibres.audit import audit
from fibres.models import CountLine, Lot, Movement, Stocktake
from studio.errors import StudioError
from studio.units import show_mass
from tests.builders import KG, day, make_fibre, make_lot, make_source

Reason = CountLine.Reason
LOTS = 3
MOISTURES = st.integers(min_value=20_000, max_value=800_000).map(
    lambda ppm: Decimal(ppm).scaleb(-6)
)
# What is weighed, in parts of a thousand of what the book has as is.
ON_THE_SCALE = st.one_of(st.sampled_from([0, 1000]), st.integers(min_value=1, max_value=1400))
WHICH = st.integers(min_value=0, max_value=LOTS - 1)


def dry_of(as_is_mg: int, moisture: Decimal) -> int:
    return round(Fraction(as_is_mg) * (1 - Fraction(moisture)))


def as_is_of(oven_dry_mg: int, moisture: Decimal) -> int:
    return round(Fraction(oven_dry_mg) / (1 - Fraction(moisture)))


@dataclass
class Known:
    """What must be so of a lot, whatever was counted."""

    held: int
    moisture: Decimal


@dataclass
class Read:
    """What was read from the scale, and whether the lot has changed since."""

    dry: int
    moisture: Decimal
    reason: str
    is_stale: bool = False


class CountedStore(RuleBasedStateMachine):
    """Receive, take, test, put right and count in any order, beside a plain reckoning."""

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()
        self.example.__enter__()
        self.counting: Stocktake | None = None
        self.read: dict[int, Read] = {}
        self.known: dict[int, Known] = {}
        self.counted: set[int] = set()
        # Fibre that came, went, and was put right; and what counts found, by reason.
        self.came = self.went = self.put_right = 0
        self.by_reason: Counter[str] = Counter()

    def teardown(self) -> None:
        if self.known:
            assert audit().faults == []
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)

    @initialize(moistures=st.lists(MOISTURES, min_size=LOTS, max_size=LOTS))
    def receive(self, moistures: list[Decimal]) -> None:
        fibre, source = make_fibre(), make_source()
        for moisture in moistures:
            lot = make_lot(fibre, source, moisture=moisture)
            self.known[lot.pk] = Known(dry_of(10 * KG, moisture), moisture)
            self.came += dry_of(10 * KG, moisture)

    def pick(self, which: int) -> Lot:
        return Lot.objects.get(pk=sorted(self.known)[which])

    def changed(self, lot: Lot) -> None:
        if lot.pk in self.read:
            self.read[lot.pk].is_stale = True

    @rule(which=WHICH, parts=st.integers(min_value=1, max_value=1000))
    def take_out(self, which: int, parts: int) -> None:
        lot = self.pick(which)
        known = self.known[lot.pk]
        whole = as_is_of(known.held, known.moisture)
        as_is_mg = whole * parts // 1000
        dry = known.held if as_is_mg == whole else dry_of(as_is_mg, known.moisture)
        if not dry:
            return
        services.take_out(
            lot, as_is_mg=as_is_mg, kind="issued", happened_on=day(), why="", by=None
        )
        known.held -= dry
        self.went += dry
        self.changed(lot)

    @rule(which=WHICH, found=MOISTURES)
    def weigh_sample(self, which: int, found: Decimal) -> None:
        """A sample shows that water came or went."""
        lot = self.pick(which)
        sample = {"wet_mg": KG, "dry_mg": int((1 - found) * KG), "tare_mg": 0}
        services.weigh_moisture(lot, **sample, tested_on=day(), has_dried=True, by=None)
        self.known[lot.pk].moisture = found
        self.changed(lot)

    @rule(which=WHICH, as_is_mg=st.integers(min_value=KG, max_value=20 * KG))
    def put_receipt_right(self, which: int, as_is_mg: int) -> None:
        lot = self.pick(which)
        receipt = lot.movements.filter(kind="received", reversed_by=None).first()
        # What comes on top, or falls away, is rounded by itself each time.
        more = Fraction(as_is_mg - receipt.as_is_mg)
        change = round(more * (1 - Fraction(receipt.moisture)))
        try:
            # An exact change needs the figure as it was received: samples here moved no fibre.
            services.correct(receipt, as_is_mg=as_is_mg, happened_on=day(), why="Wrong", by=None)
        except StudioError:
            assert lot.pk in self.counted or self.known[lot.pk].held + change < 0
            return
        assert lot.pk not in self.counted
        right = lot.movements.filter(kind="received").last().oven_dry_mg
        assert right - receipt.oven_dry_mg == change
        self.known[lot.pk].held += right - receipt.oven_dry_mg
        self.put_right += right - receipt.oven_dry_mg
        self.changed(lot)

    @precondition(lambda self: self.counting is None)
    @rule()
    def begin(self) -> None:
        if any(known.held for known in self.known.values()):
            self.counting, self.read = stocktaking.begin(by=None), {}

    @precondition(lambda self: self.counting is not None)
    @rule(
        which=WHICH,
        parts=ON_THE_SCALE,
        sample=st.one_of(st.none(), MOISTURES),
        # Weighed wrong before explains more and less, so that many weighings are kept.
        reason=st.one_of(
            st.just(Reason.MISWEIGHED), st.just(Reason.DRIED), st.sampled_from(["", *Reason])
        ),
    )
    def weigh(self, which: int, parts: int, sample: Decimal | None, reason: str) -> None:
        lot = self.pick(which)
        known = self.known[lot.pk]
        as_is_mg = as_is_of(known.held, known.moisture) * parts // 1000
        expected = self.expect(known, as_is_mg, sample, reason)
        try:
            stocktaking.count_lot(
                self.counting, lot, as_is_mg=as_is_mg, moisture=sample, reason=reason, by=None
            )
        except StudioError:
            assert expected is None
            return
        assert expected is not None
        self.read[lot.pk] = expected

    @staticmethod
    def expect(known: Known, as_is_mg: int, sample: Decimal | None, reason: str) -> Read | None:
        """Return what must be kept of a weighing, or None where it must be refused."""
        if reason == Reason.DRIED:
            if sample is not None or not known.held or as_is_mg < known.held:
                return None
            moisture = 1 - Fraction(known.held, as_is_mg)
            return Read(known.held, Decimal(round(moisture * 10**6)).scaleb(-6), reason)
        moisture = known.moisture if sample is None else sample
        dry = dry_of(as_is_mg, moisture)
        if show_mass(as_is_mg) == show_mass(as_is_of(known.held, moisture)):
            dry = known.held
        change = dry - known.held
        if change == 0:
            return Read(dry, moisture, "")
        more, less = {Reason.FOUND}, {Reason.NOT_ENTERED, Reason.SPILT, Reason.MISSING}
        either = {Reason.MISWEIGHED}
        fits = reason in either | (more if change > 0 else less)
        return Read(dry, moisture, reason) if fits else None

    @property
    def may_post(self) -> bool:
        return bool(self.read) and not any(read.is_stale for read in self.read.values())

    @precondition(lambda self: self.may_post)
    @rule()
    def post_what_is_ripe(self) -> None:
        self.post()

    @precondition(lambda self: self.counting is not None)
    @rule()
    def post(self) -> None:
        may = self.may_post
        before = Movement.objects.count()
        try:
            stocktaking.post(self.counting, by=None)
        except StudioError:
            assert not may
            assert Movement.objects.count() == before
            return
        assert may
        for pk, read in self.read.items():
            self.by_reason[read.reason] += read.dry - self.known[pk].held
            self.known[pk] = Known(read.dry, read.moisture)
            self.counted.add(pk)
        self.counting, self.read = None, {}

    @precondition(lambda self: self.counting is not None)
    @rule()
    def give_up(self) -> None:
        stocktaking.give_up(self.counting, by=None)
        self.counting, self.read = None, {}

    @invariant()
    def what_came_is_in_store_or_went_or_is_named(self) -> None:
        in_store = sum(Lot.objects.values_list("oven_dry_mg", flat=True))
        named = sum(self.by_reason.values())
        assert self.came + self.put_right == in_store + self.went - named

    @invariant()
    def water_moves_no_fibre(self) -> None:
        assert self.by_reason[Reason.DRIED] == 0
        assert self.by_reason[""] == 0

    @invariant()
    def each_lot_is_what_was_reckoned(self) -> None:
        found = {
            pk: Known(held, moisture)
            for pk, held, moisture in Lot.objects.values_list("pk", "oven_dry_mg", "moisture")
        }
        assert found == self.known


@pytest.mark.django_db
def test_no_milligram_appears_or_vanishes_in_a_count():
    run_state_machine_as_test(
        CountedStore,
        settings=settings(
            max_examples=20,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow],
        ),
    )
