"""The half of the machine of ``test_mass.py`` that receives, discards, samples, corrects, counts.

What is done to fibre and sheets beyond the store comes on top in ``test_mass.py``.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import transaction
from hypothesis import event
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule

from fibres import services, stocktaking
from fibres.models import CountLine, Lot, Movement, Stocktake
from orders.audit import audit
from orders.models import SheetMovement
from studio.errors import StudioError
from studio.units import show_mass
from tests.builders import KG, day, make_fibre, make_furnish, make_lot, make_sheet
from tests.orders.reckoning import Line, Reckoning, as_is_of, dry_of
from tests.orders.vatdays import broke_fibre

WHICH = st.integers(min_value=0, max_value=11)
WATER = st.sampled_from([Decimal(0), Decimal("0.08"), Decimal("0.65")]) | st.integers(
    min_value=0, max_value=950_000
).map(lambda ppm: Decimal(ppm).scaleb(-6))
MASSES = st.integers(min_value=100, max_value=5 * KG)
# In parts of a thousand of what is there, or was entered.
RIGHT = st.sampled_from([0, 500, 1001]) | st.integers(min_value=0, max_value=1500)
ON_THE_SCALE = st.sampled_from([0, 1000]) | st.integers(min_value=1, max_value=1400)
REASONS = st.sampled_from([*CountLine.Reason]) | st.just(CountLine.Reason.MISWEIGHED)


class Store(RuleBasedStateMachine):
    """A store whose acts are done in any order, beside a reckoning of it by hand."""

    def __init__(self) -> None:
        super().__init__()
        # Each example has the studio to itself, and leaves nothing behind.
        self.example = transaction.atomic()
        self.example.__enter__()
        self.fibre, self.own = make_fibre(), broke_fibre()
        self.sheet = make_sheet(make_furnish({self.fibre: "1"}))
        self.now = Reckoning()
        self.counting: Stocktake | None = None
        # What was read from the scale: fibre, moisture, reason, and whether the lot moved since.
        self.read: dict[int, tuple[int, Decimal, str, bool]] = {}
        # Parcels, and movements of spoilt sheets with whether they may still be taken back.
        self.sent: dict[int, tuple[int, str, int]] = {}
        self.spoilt: dict[int, tuple[int, str, int, bool]] = {}
        self.done = dict.fromkeys(("finished", "posted", "put right", "sent"), 0)

    def teardown(self) -> None:
        for what, times in self.done.items():
            event(f"{what}: {'never' if not times else 'once' if times == 1 else 'often'}")
        try:
            # Once an example: it reads every line that was written on the way.
            assert audit().faults == []
        finally:
            transaction.set_rollback(True)
            self.example.__exit__(None, None, None)

    def tried(self, may: bool, act: Callable[..., Any], *args: Any, **given: Any) -> Any:
        """Do an act that must go well or be refused, and then leave nothing behind."""
        before = Movement.objects.count(), SheetMovement.objects.count()
        try:
            found = act(*args, **given)
        except StudioError:
            if may:
                raise
            assert (Movement.objects.count(), SheetMovement.objects.count()) == before
            return None
        assert may, "This should have been refused."
        return found

    def lot(self, which: int) -> int:
        return sorted(self.now.lots)[which % len(self.now.lots)]

    def moved(self, *lots: int) -> None:
        for pk in lots:
            if pk in self.read:
                self.read[pk] = (*self.read[pk][:3], True)

    # --- lots ------------------------------------------------------------------------------------

    @rule(as_is=MASSES, water=WATER)
    def receive(self, as_is: int, water: Decimal) -> None:
        as_is = as_is if dry_of(as_is, water) else KG
        lot = make_lot(self.fibre, as_is_mg=as_is, moisture=water)
        self.now.receive(lot.pk, lot.movements.get().pk, as_is, water)

    @rule(which=WHICH, parts=st.integers(min_value=1, max_value=600))
    def discard(self, which: int, parts: int) -> None:
        pk = self.lot(which)
        lot = self.now.lots[pk]
        as_is = as_is_of(lot.held - self.now.noted(pk), lot.moisture) * parts // 1000
        dry = dry_of(as_is, lot.moisture)
        found = self.tried(
            dry > 0, services.take_out, Lot.objects.get(pk=pk),
            as_is_mg=as_is, kind="discarded", happened_on=day(), why="", by=None,
        )  # fmt: skip
        if found:
            self.now.goes(Line(found.pk, pk, "discarded", as_is, dry, lot.moisture))
            self.moved(pk)

    @rule(which=WHICH, water=WATER, has_dried=st.booleans())
    def weigh_sample(self, which: int, water: Decimal, has_dried: bool) -> None:
        pk = self.lot(which)
        sample = {"wet_mg": KG, "dry_mg": int((1 - water) * KG), "tare_mg": 0, "tested_on": day()}
        may = self.now.sample(pk, water, has_dried=has_dried)
        lot = Lot.objects.get(pk=pk)
        if self.tried(may, services.weigh_moisture, lot, **sample, has_dried=has_dried, by=None):
            self.moved(pk)

    # --- corrections -----------------------------------------------------------------------------

    @precondition(lambda self: self.now.lines)
    @rule(which=st.integers(min_value=0, max_value=40), parts=RIGHT)
    def put_right(self, which: int, parts: int) -> None:
        """Put right what was received, issued or discarded, of lots that were kept as well."""
        self._put_right(self.now.lines[-1 - which % len(self.now.lines)], parts)

    @rule(which=WHICH, parts=RIGHT | st.sampled_from([2500, 6000]))
    def put_a_bound_receipt_right(self, which: int, parts: int) -> None:
        """Put right what a making kept, or of what is weighed out: it must stay within bounds."""
        bound = [
            line
            for line in self.now.lines
            if line.kind == "received"
            and (self.now.lots[line.lot].kept_by is not None or self.now.noted(line.lot))
        ]
        if bound:
            self._put_right(bound[which % len(bound)], parts)

    def _put_right(self, line: Line, parts: int) -> None:
        as_is = line.as_is * parts // 1000
        movement = Movement.objects.get(pk=line.movement)
        written = self.tried(
            self.now.may_correct(line, as_is), services.correct, movement,
            as_is_mg=as_is, happened_on=day(), why="Misread", by=None,
        )  # fmt: skip
        if written:
            self.done["put right"] += 1
            stands = [moved.pk for moved in written if moved.reverses_id is None]
            self.now.correct(line, as_is, stands[0] if stands else None)
            self.moved(line.lot)

    # --- counts of the store ---------------------------------------------------------------------

    @property
    def is_filled(self) -> bool:
        return any(lot.held for lot in self.now.lots.values())

    @precondition(lambda self: self.counting is None and self.is_filled)
    @rule()
    def begin_count(self) -> None:
        self.counting, self.read = stocktaking.begin(by=None), {}

    @precondition(lambda self: self.counting)
    @rule(which=WHICH, parts=ON_THE_SCALE, water=st.none() | WATER, reason=REASONS)
    def count_lot(self, which: int, parts: int, water: Decimal | None, reason: str) -> None:
        pk = self.lot(which)
        lot = self.now.lots[pk]
        as_is = as_is_of(lot.held, lot.moisture) * parts // 1000
        read = None if self.now.noted(pk) else self.reading(pk, as_is, water, reason)
        line = self.tried(
            read is not None, stocktaking.count_lot, self.counting, Lot.objects.get(pk=pk),
            as_is_mg=as_is, moisture=water, reason=reason, by=None,
        )  # fmt: skip
        if line and read:
            self.read[pk] = (*read, False)

    def reading(
        self, pk: int, as_is: int, water: Decimal | None, reason: str
    ) -> tuple[int, Decimal, str] | None:
        """Return what must be kept of a weighing, or None where it must be refused."""
        lot, reasons = self.now.lots[pk], CountLine.Reason
        if reason == reasons.DRIED:
            if water is not None or not lot.held or as_is < lot.held:
                return None
            share = 1 - Fraction(lot.held, as_is)
            return lot.held, Decimal(round(share * 10**6)).scaleb(-6), reason
        known = lot.moisture if water is None else water
        dry = dry_of(as_is, known)
        if show_mass(as_is) == show_mass(as_is_of(lot.held, known)) or dry == lot.held:
            return lot.held, known, ""
        less = (reasons.NOT_ENTERED, reasons.SPILT, reasons.MISSING, reasons.MISWEIGHED)
        explains = (reasons.FOUND, reasons.MISWEIGHED) if dry > lot.held else less
        return (dry, known, reason) if reason in explains else None

    @precondition(lambda self: self.counting)
    @rule()
    def post_count(self) -> None:
        is_ripe = bool(self.read) and not any(read[3] for read in self.read.values())
        is_ripe = is_ripe and not any(self.now.noted(pk) for pk in self.read)
        if self.tried(is_ripe, stocktaking.post, self.counting, by=None):
            self.done["posted"] += 1
            for pk, (dry, water, reason, _) in self.read.items():
                self.now.counted(pk, dry, water, reason)
            self.counting, self.read = None, {}

    @precondition(lambda self: self.counting is None and self.is_filled)
    @rule(which=WHICH, parts=ON_THE_SCALE)
    def count_in_one_go(self, which: int, parts: int) -> None:
        """Weigh two lots, one of them as the book has it, and post."""
        self.begin_count()
        self.count_lot(which, parts, None, CountLine.Reason.MISWEIGHED)
        self.count_lot(which + 1, 1000, None, CountLine.Reason.MISWEIGHED)
        self.post_count()

    @precondition(lambda self: self.counting)
    @rule()
    def give_up_count(self) -> None:
        stocktaking.give_up(self.counting, by=None)
        self.counting, self.read = None, {}
