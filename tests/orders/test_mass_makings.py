"""Over any makings, corrections and discards, fibre in = in store + in sheets + losses named."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from django.db import transaction
from django.db.models import Sum
from hypothesis import HealthCheck, event, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    multiple,
    rule,
    run_state_machine_as_test,
)

from fibres import services
from fibres.audit import audit
from fibres.models import Lot, Movement, Source
from orders.makings import log
from orders.makings.finish import balance_of, finish
from orders.models import Making, SheetMovement
from studio.errors import StudioError
from tests.builders import KG, day, make_fibre, make_furnish, make_lot, make_making, make_sheet
from tests.orders.vatdays import broke_fibre

SHARES = st.integers(min_value=0, max_value=950_000).map(lambda ppm: Decimal(ppm).scaleb(-6))
MASSES = st.integers(min_value=100, max_value=5 * KG)
COUNTS = st.integers(min_value=0, max_value=400)
PARTS = st.integers(min_value=0, max_value=60)
# An A4 sheet of 120 g/m² at 6 % moisture holds 7.035336 g of fibre.
A4_MG = Fraction(7_035_336, 1000)


def dry_of(as_is_mg: int, moisture: Decimal) -> int:
    """Return oven-dry milligrams, reckoned apart from the code under test."""
    return round(Fraction(as_is_mg) * (1 - Fraction(moisture)))


class Studio(RuleBasedStateMachine):
    """Receive, make, correct and discard in any order, beside a plain reckoning of the fibre."""

    lots = Bundle("lots")
    makings = Bundle("makings")

    def __init__(self) -> None:
        super().__init__()
        # Each example has the studio to itself, and leaves nothing behind.
        self.example = transaction.atomic()
        self.example.__enter__()
        self.fibre, self.own = make_fibre(), broke_fibre()
        self.sheet = make_sheet(make_furnish({self.fibre: "1"}))
        # What came from outside, what was thrown out, and what each making took in and gave back.
        self.came = self.discarded = 0
        self.took: dict[int, int] = defaultdict(int)
        self.gave_back: dict[int, int] = defaultdict(int)
        self.thrown: dict[int, int] = {}
        self.finished = self.corrected = 0

    def teardown(self) -> None:
        event(f"{self.finished} makings finished, {self.corrected} lines put right")
        transaction.set_rollback(True)
        self.example.__exit__(None, None, None)

    @initialize(target=lots)
    def first_lot(self) -> int:
        return self.receive(5 * KG, Decimal("0.08"))

    @rule(target=lots, as_is_mg=MASSES, moisture=SHARES)
    def receive(self, as_is_mg: int, moisture: Decimal) -> int:
        as_is_mg = as_is_mg if dry_of(as_is_mg, moisture) else KG
        lot = make_lot(self.fibre, as_is_mg=as_is_mg, moisture=moisture)
        self.came += dry_of(as_is_mg, moisture)
        return int(lot.pk)

    @rule(pk=lots, as_is_mg=MASSES)
    def discard(self, pk: int, as_is_mg: int) -> None:
        lot = Lot.objects.get(pk=pk)
        try:
            moved = services.take_out(
                lot, as_is_mg=as_is_mg, kind="discarded", happened_on=day(), why="", by=None
            )
        except StudioError:
            return
        self.discarded -= moved.oven_dry_mg

    @rule(target=makings, lot=lots, percent=st.integers(min_value=5, max_value=100))
    def start(self, lot: int, percent: int) -> int:
        """Start a making and weigh a share of a lot out for it, at the moisture in the book."""
        pk = int(log.start(make_making(self.sheet), by=None).pk)
        found = Lot.objects.get(pk=lot)
        whole = round(Fraction(found.oven_dry_mg) / (1 - Fraction(found.moisture)))
        self.weigh_out(pk, lot, whole * percent // 100, Decimal(0), is_known=False)
        return pk

    @rule(pk=makings, lot=lots, as_is_mg=MASSES, moisture=SHARES, is_known=st.booleans())
    def weigh_out(
        self, pk: int, lot: int, as_is_mg: int, moisture: Decimal, is_known: bool
    ) -> None:
        making, found = Making.objects.get(pk=pk), Lot.objects.get(pk=lot)
        try:
            issue = log.issue(
                making, found, as_is_mg=as_is_mg, moisture=moisture if is_known else None, by=None
            )
        except StudioError:
            return
        self.took[pk] += issue.oven_dry_mg

    @rule(pk=makings, good=COUNTS, retree=COUNTS)
    def count(self, pk: int, good: int, retree: int) -> None:
        making = Making.objects.get(pk=pk)
        if making.is_open:
            log.tap(making, "good", post=1, change=good, by=None)
            log.tap(making, "retree", post=1, change=retree, by=None)

    @rule(
        target=lots,
        pk=makings,
        heel=st.sampled_from(["kept", "thrown", "none"]),
        heel_share=PARTS,
        broke_share=PARTS,
        moisture=SHARES,
    )
    def finish(
        self, pk: int, heel: str, heel_share: int, broke_share: int, moisture: Decimal
    ) -> Any:
        """Finish it with so many percent of what it took left as heel and as broke."""
        making = Making.objects.get(pk=pk)
        wet = self.took[pk] / (1 - Fraction(moisture)) / 100
        heel_mg, broke_mg = int(wet * heel_share), int(wet * broke_share)
        heel_dry, broke_dry = dry_of(heel_mg, moisture), dry_of(broke_mg, moisture)
        before = Movement.objects.count()
        try:
            weighed = {"as_is_mg": heel_mg, "moisture": moisture, "fibre": self.fibre}
            log.note_heel(making, heel, by=None, **weighed)
            log.note_broke(making, as_is_mg=broke_mg, moisture=moisture, fibre=self.own, by=None)
            done = finish(making, accept_over=True, by=None)
        except StudioError:
            assert Movement.objects.count() == before
            return multiple()
        self.gave_back[pk] = broke_dry + (heel_dry if heel == "kept" else 0)
        self.thrown[pk] = heel_dry if heel == "thrown" else 0
        self.finished += 1
        return multiple(*(lot.pk for lot in (done.heel_lot, done.broke_lot) if lot))

    @rule(
        target=lots,
        lot=lots,
        percent=st.integers(min_value=5, max_value=100),
        good=COUNTS,
        heel=st.sampled_from(["kept", "thrown", "none"]),
        share=st.integers(min_value=1, max_value=40),
    )
    def make(self, lot: int, percent: int, good: int, heel: str, share: int) -> Any:
        """Do a whole making in one go, as on a day without trouble."""
        pk = self.start(lot, percent)
        self.count(pk, good, good // 10)
        return self.finish(pk, heel, share, share, Decimal("0.6"))

    @rule(percent=st.integers(min_value=0, max_value=150), data=st.data())
    def correct(self, percent: int, data: st.DataObject) -> None:
        """Put an issue, or what was kept, right after the making is finished."""
        moved = list(
            Movement.objects.filter(
                entry__act__in=["finish making", "correct"],
                reverses=None,
                reversed_by=None,
                kind__in=["issued", "received"],
            ).order_by("pk")
        )
        if not moved:
            return
        movement = data.draw(st.sampled_from(moved))
        making = self._making_of(movement)
        as_is_mg = abs(movement.as_is_mg) * percent // 100
        try:
            services.correct(movement, as_is_mg=as_is_mg, happened_on=day(), why="", by=None)
        except StudioError:
            return
        self.corrected += 1
        if movement.kind == Movement.Kind.ISSUED:
            self.took[making] += dry_of(as_is_mg, movement.moisture) + movement.oven_dry_mg
        else:
            # Of a receipt what comes on top is rounded, or falls away, by itself.
            more = as_is_mg - movement.as_is_mg
            change = round(more * (1 - Fraction(movement.moisture)))
            self.gave_back[making] += change if as_is_mg else -movement.oven_dry_mg

    @staticmethod
    def _making_of(movement: Movement) -> int:
        """Return the making whose finish a movement comes of, through what corrected it."""
        while movement.entry.act == "correct":
            (taken_back,) = movement.entry.movements.exclude(reverses=None)
            movement = taken_back.reverses
        ref = movement.entry.said.split()[1].rstrip(":")
        return int(Making.objects.get(ref=ref).pk)

    @invariant()
    def each_making_adds_up(self) -> None:
        for making in Making.objects.select_related("broke_lot", "heel_lot"):
            found = balance_of(making)
            assert found.issued_mg == self.took[making.pk]
            parts = found.in_sheets_mg + found.kept_mg + found.heel_thrown_mg + found.lost_mg
            assert parts == found.issued_mg
            if making.state == Making.State.FINISHED:
                assert found.kept_mg == self.gave_back[making.pk]
                assert found.heel_thrown_mg == self.thrown[making.pk]
                sheets = making.sheet_movements.aggregate(n=Sum("sheets"))["n"] or 0
                assert abs(found.in_sheets_mg - sheets * A4_MG) <= 1

    @invariant()
    def fibre_in_is_in_store_in_sheets_or_lost(self) -> None:
        in_store = Lot.objects.aggregate(all=Sum("oven_dry_mg"))["all"] or 0
        in_sheets = lost = 0
        for making in Making.objects.filter(state=Making.State.FINISHED):
            found = balance_of(making)
            in_sheets += found.in_sheets_mg
            lost += found.lost_mg + found.heel_thrown_mg
        assert self.came == in_store + in_sheets + lost + self.discarded

    @invariant()
    def the_ledger_knows_of_every_milligram(self) -> None:
        bought = Movement.objects.exclude(lot__source__kind=Source.Kind.STUDIO)
        assert (bought.filter(kind="received").aggregate(n=Sum("oven_dry_mg"))["n"] or 0) == (
            self.came
        )
        assert [fault for fault in audit().faults if "lot" in fault.row] == []
        assert not SheetMovement.objects.exclude(making__state=Making.State.FINISHED).exists()


@pytest.mark.django_db
def test_no_milligram_of_a_making_appears_or_vanishes():
    run_state_machine_as_test(
        Studio,
        settings=settings(
            max_examples=15,
            stateful_step_count=15,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow],
        ),
    )
