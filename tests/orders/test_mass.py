"""Over any receipts, makings, counts and corrections: what came is in store, in sheets or named.

One machine does everything that moves fibre or sheets, in any order, beside a plain reckoning of
what was weighed and said. The reckoning also says of each act whether it must be refused.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db.models import Sum
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from fibres.models import Lot
from orders import sheetsinhand
from orders.makings import log
from orders.makings.finish import balance_of, finish
from orders.models import Delivery, Making, SheetMovement
from tests.builders import KG, day, make_making
from tests.orders.reckoning import A4_MG, Line, VatBook, as_is_of, dry_of
from tests.orders.storemachine import MASSES, ON_THE_SCALE, RIGHT, WATER, WHICH, Store

SHEETS = st.integers(min_value=0, max_value=60)
QUALITIES = st.sampled_from(["good", "retree"])
# Percent of what went in that is left as heel, or as broke; of both it may be more than all.
LEFT = st.sampled_from([0, 20, 45, 55, 60]) | st.integers(min_value=0, max_value=60)
HEELS = st.sampled_from(["kept", "thrown", "none"])
# In parts of a thousand of what lies there; above that a kilogram more, which is refused.
PARTS = st.integers(min_value=1, max_value=1050)


class House(Store):
    """A studio that makes and sends sheets of what its store holds."""

    @initialize(
        parts=st.integers(200, 900), good=SHEETS, heel=HEELS, left=st.sampled_from([20, 45]),
        which=WHICH, right=RIGHT, weighed=ON_THE_SCALE, sent=st.integers(1, 9),
    )  # fmt: skip
    def first_day(
        self, parts: int, good: int, heel: str, left: int, which: int, right: int, weighed: int,
        sent: int,
    ) -> None:  # fmt: skip
        """Begin with one deed of each kind, so that no example is without them."""
        self.receive(5 * KG, Decimal("0.08"))
        self.make(0, parts, good, heel, (left, left))
        self.put_right(which, right)
        self.start(0, parts)
        for parts_right in (right, 6000):
            self.put_a_bound_receipt_right(which, parts_right)
        self.count_in_one_go(which, weighed)
        self.sheets_go(0, "good", sent, is_sent=True)

    # --- makings ---------------------------------------------------------------------------------

    def at_the_vat(self, which: int) -> tuple[Making, VatBook]:
        pks = [pk for pk, vat in self.now.makings.items() if not vat.is_finished]
        pk = pks[which % len(pks)]
        return Making.objects.get(pk=pk), self.now.makings[pk]

    @property
    def runs(self) -> bool:
        return any(not vat.is_finished for vat in self.now.makings.values())

    @rule(which=WHICH, parts=PARTS)
    def start(self, which: int, parts: int) -> None:
        making = log.start(make_making(self.sheet), by=None)
        self.now.makings[making.pk] = VatBook()
        self._weigh_out(making, self.lot(which), parts, None)

    @precondition(lambda self: self.runs)
    @rule(which=WHICH, lot=WHICH, parts=PARTS, water=st.none() | WATER)
    def weigh_out(self, which: int, lot: int, parts: int, water: Decimal | None) -> None:
        self._weigh_out(self.at_the_vat(which)[0], self.lot(lot), parts, water)

    def _weigh_out(self, making: Making, pk: int, parts: int, water: Decimal | None) -> None:
        lot = self.now.lots[pk]
        known = lot.moisture if water is None else water
        left = lot.held - self.now.noted(pk)
        whole = as_is_of(left, known)
        as_is = whole * parts // 1000 if parts <= 1000 else whole + KG
        dry = dry_of(as_is, known)
        issue = self.tried(
            as_is <= whole and dry > 0, log.issue, making, Lot.objects.get(pk=pk),
            as_is_mg=as_is, moisture=water, by=None,
        )  # fmt: skip
        if issue:
            line = Line(0, pk, "issued", as_is, dry, known, making=making.pk)
            self.now.makings[making.pk].noted[issue.pk] = line

    @precondition(lambda self: any(vat.noted for vat in self.now.makings.values()))
    @rule(which=WHICH)
    def put_back(self, which: int) -> None:
        noted = [(vat, pk) for vat in self.now.makings.values() for pk in vat.noted]
        vat, pk = noted[which % len(noted)]
        making = Making.objects.get(pk=vat.noted.pop(pk).making)
        log.take_back_issue(making, pk, by=None)

    @precondition(lambda self: self.runs)
    @rule(which=WHICH, mass=st.sampled_from([0, 1]) | MASSES)
    def dose(self, which: int, mass: int) -> None:
        making, vat = self.at_the_vat(which)
        log.dose(making, "Chalk", kind="filler", mass_mg=mass, by=None)
        vat.added = mass

    @precondition(lambda self: self.runs)
    @rule(which=WHICH, what=st.sampled_from(["good", "retree", "broke"]), sheets=SHEETS)
    def tap(self, which: int, what: str, sheets: int) -> None:
        making, vat = self.at_the_vat(which)
        log.tap(making, what, post=1, change=sheets, by=None)
        vat.formed[what] += sheets

    @precondition(lambda self: self.runs)
    @rule(
        which=WHICH,
        heel=HEELS,
        left=st.tuples(LEFT, LEFT),
        water=WATER,
        accept=st.booleans(),
    )
    def finish(
        self, which: int, heel: str, left: tuple[int, int], water: Decimal, accept: bool
    ) -> None:
        """Finish it with so many percent of what went in left as heel and as broke."""
        making, vat = self.at_the_vat(which)
        heel_as_is, broke_as_is = (
            as_is_of(self.now.put_in(making.pk) * share // 100, water) for share in left
        )
        heel_dry, broke_dry = dry_of(heel_as_is, water), dry_of(broke_as_is, water)
        kept_heel, thrown = (heel_dry if heel == name else 0 for name in ("kept", "thrown"))
        may = self.now.may_finish(
            making.pk, kept=kept_heel + broke_dry, thrown=thrown, accept=accept
        ) and (heel != "kept" or heel_as_is > 0)

        def act() -> Making:
            weighed = {"as_is_mg": heel_as_is, "moisture": water, "fibre": self.fibre}
            log.note_heel(making, heel, **weighed, by=None)
            log.note_broke(making, as_is_mg=broke_as_is, moisture=water, fibre=self.own, by=None)
            return finish(making, accept_over=accept, by=None)

        done = self.tried(may, act)
        if done:
            self.done["finished"] += 1
            self.moved(*(line.lot for line in vat.noted.values()))
            movements = dict(done.issues.values_list("pk", "movement"))
            self.now.finish(making.pk, movements, thrown=thrown)
            for lot, as_is in ((done.heel_lot, heel_as_is), (done.broke_lot, broke_as_is)):
                if lot:
                    moved = lot.movements.get().pk
                    self.now.receive(lot.pk, moved, as_is, water, kept_by=making.pk)

    @rule(lot=WHICH, parts=PARTS, good=SHEETS, heel=HEELS, left=st.tuples(LEFT, LEFT))
    def make(self, lot: int, parts: int, good: int, heel: str, left: tuple[int, int]) -> None:
        """Do a whole making in one go, as on a day without trouble."""
        self.start(lot, parts)
        newest = sum(not vat.is_finished for vat in self.now.makings.values()) - 1
        for what, sheets in (("good", good), ("retree", good // 10), ("broke", good // 8)):
            self.tap(newest, what, sheets)
        self.finish(newest, heel, left, Decimal("0.65"), accept=True)

    # --- sheets in hand --------------------------------------------------------------------------

    @property
    def has_sheets(self) -> bool:
        return any(vat.is_finished for vat in self.now.makings.values())

    def made(self, which: int) -> tuple[Making, VatBook]:
        pks = [pk for pk, vat in self.now.makings.items() if vat.is_finished]
        pk = pks[which % len(pks)]
        return Making.objects.get(pk=pk), self.now.makings[pk]

    @precondition(lambda self: self.has_sheets)
    @rule(which=WHICH, quality=QUALITIES, sheets=st.integers(1, 40), is_sent=st.booleans())
    def sheets_go(self, which: int, quality: str, sheets: int, is_sent: bool) -> None:
        making, vat = self.made(which)
        may = sheets <= vat.in_hand(quality)
        if is_sent:
            note = sheetsinhand.ParcelNote(sent_on=day())
            rows = [sheetsinhand.Sending(making, quality, sheets)]
            parcel = self.tried(may, sheetsinhand.send, None, rows, note, by=None)
        else:
            told = {"happened_on": day(), "why": "Torn", "by": None}
            self.tried(may, sheetsinhand.spoil, making, quality, sheets, **told)
        if may:
            vat.moved[quality, "sent" if is_sent else "spoilt"] += sheets
        if may and is_sent:
            self.done["sent"] += 1
            self.sent[parcel.pk] = (making.pk, quality, sheets)
        elif may:
            row = SheetMovement.objects.filter(kind="spoilt").latest("pk")
            self.spoilt[row.pk] = (making.pk, quality, sheets, True)

    @precondition(lambda self: self.sent)
    @rule()
    def parcel_comes_back(self) -> None:
        pk, (making, quality, sheets) = self.sent.popitem()
        parcel = Delivery.objects.get(pk=pk)
        sheetsinhand.take_back(parcel, happened_on=day(), why="Came back", by=None)
        self.now.makings[making].moved[quality, "sent"] -= sheets

    @precondition(lambda self: self.has_sheets)
    @rule(which=WHICH, good=st.integers(-9, 9), retree=st.integers(-9, 9))
    def count_sheets(self, which: int, good: int, retree: int) -> None:
        making, vat = self.made(which)
        off = {"good": good, "retree": retree}
        counted = {name: max(vat.in_hand(name) + more, 0) for name, more in off.items()}
        may = self.now.may_count_sheets(making.pk, counted)
        told = {"happened_on": day(), "why": "Sorted again", "by": None}
        self.tried(may, sheetsinhand.count, making, counted, **told)
        if not may:
            return
        off = {name: sheets - vat.in_hand(name) for name, sheets in counted.items()}
        for name, sheets in off.items():
            vat.moved[name, "counted"] += sheets
        for pk, (made, quality, sheets, fresh) in self.spoilt.items():
            is_settled = made == making.pk and off[quality]
            self.spoilt[pk] = (made, quality, sheets, fresh and not is_settled)

    @precondition(lambda self: self.spoilt)
    @rule(which=WHICH)
    def not_spoilt_after_all(self, which: int) -> None:
        pk = sorted(self.spoilt)[which % len(self.spoilt)]
        making, quality, sheets, may = self.spoilt[pk]
        row = SheetMovement.objects.get(pk=pk)
        told = {"happened_on": day(), "why": "Only damp", "by": None}
        self.tried(may, sheetsinhand.take_back_spoilt, row, **told)
        if may:
            self.now.makings[making].moved[quality, "spoilt"] -= sheets
            self.spoilt[pk] = (making, quality, sheets, False)

    # --- what must be so after every act ---------------------------------------------------------

    @invariant()
    def each_lot_holds_what_was_reckoned(self) -> None:
        columns = ("pk", "oven_dry_mg", "moisture", "received_oven_dry_mg", "as_is_mg")
        assert {pk: told for pk, *told in Lot.objects.values_list(*columns)} == {
            pk: [lot.held, lot.moisture, lot.came, lot.as_is] for pk, lot in self.now.lots.items()
        }

    @invariant()
    def each_making_adds_up(self) -> None:
        finished = [pk for pk, vat in self.now.makings.items() if vat.is_finished]
        for making in Making.objects.filter(pk__in=finished):
            found, vat = balance_of(making), self.now.makings[making.pk]
            assert found.issued_mg == self.now.issued(making.pk)
            assert found.in_sheets_mg == vat.in_sheets
            assert found.kept_mg == self.now.kept(making.pk) <= self.now.put_in(making.pk)
            assert found.heel_thrown_mg == vat.thrown
            assert found.lost_mg == self.now.lost(making.pk)

    @invariant()
    def what_came_is_in_store_in_sheets_or_lost_by_name(self) -> None:
        came = sum(lot.came for lot in self.now.lots.values() if lot.kept_by is None)
        in_store = Lot.objects.aggregate(all=Sum("oven_dry_mg", default=0))["all"]
        made = SheetMovement.objects.filter(kind="made").values_list("sheets", flat=True)
        in_sheets = sum(round(sheets * A4_MG) for sheets in made)
        makings = [pk for pk, vat in self.now.makings.items() if vat.is_finished]
        at_the_vat = sum(self.now.lost(pk) + self.now.makings[pk].thrown for pk in makings)
        assert came == in_store + in_sheets + at_the_vat - sum(self.now.named.values())
        assert self.now.named["counted: water"] == self.now.named["counted: "] == 0

    @invariant()
    def sheets_in_hand_are_those_made_less_what_became_of_them(self) -> None:
        found = sheetsinhand.balances(self.now.makings)
        for pk, vat in self.now.makings.items():
            for quality in ("good", "retree"):
                assert found.get((pk, quality), 0) == vat.in_hand(quality) >= 0


@pytest.mark.django_db
def test_no_milligram_and_no_sheet_appears_or_vanishes():
    run_state_machine_as_test(
        House,
        settings=settings(
            max_examples=20,
            stateful_step_count=20,
            deadline=None,
            suppress_health_check=[HealthCheck.too_slow],
        ),
    )
