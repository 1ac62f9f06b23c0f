"""Movements of a generated studio after its lots came: two by two, so that each balance stays.

What is weighed out comes back by a count, what is thrown away is put right, what a count misses
the next one finds. A hundredth of all lies in one lot, whose book is long. What is weighed out
first goes to finished makings, ten lots to each. Rows go out a few hundred at a time, so that
memory does not grow with their number.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from random import Random
from typing import NamedTuple

from fibres.calc import moisture as wet
from fibres.models import Lot, Movement
from orders.models import Commission, Issue, Making, Post, SheetMovement
from studio.models import Entry

AT_ONCE = 900
TO_AN_ENTRY = 10
IN_ONE_LOT = 100
SHEETS = 50
FINISH = "finish making"
Kind = Movement.Kind
# How the pairs of each turn leave a lot and come into it again, and by which acts.
TURNS = (
    ((Kind.ISSUED, "take out"), (Kind.COUNTED, "count")),
    ((Kind.DISCARDED, "take out"), (Kind.CORRECTED, "correct")),
    ((Kind.COUNTED, "count"), (Kind.COUNTED, "count")),
)


class Held(NamedTuple):
    """What is read of a lot to move it."""

    pk: int
    oven_dry_mg: int
    moisture: Decimal
    received_on: date


class Mover:
    """Writes as many movements as asked for, or one less, and seals none of them."""

    def __init__(self, choose: Random, today: date) -> None:
        self.choose = choose
        self.today = today
        self.makings_left = 0

    def move(self, count: int, *, makings: int) -> None:
        """Move the lots that there are, and finish so many makings of it."""
        self.makings_left = makings
        pairs = count // 2
        of_one_lot = pairs // IN_ONE_LOT
        left, turn = pairs - of_one_lot, 0
        while left > 0:
            for lots in _portions():
                self._pairs(turn, lots[:left])
                left -= len(lots[:left])
            turn += 1
        self._move_one_lot(of_one_lot)

    def _pairs(self, turn: int, lots: Sequence[Held]) -> None:
        (kind, act), (kind_back, act_back) = TURNS[turn % len(TURNS)]
        masses = [self.choose.randint(1, lot.oven_dry_mg) for lot in lots]
        groups = -(-len(lots) // TO_AN_ENTRY)
        makings = min(self.makings_left, groups) if kind == Kind.ISSUED else 0
        self.makings_left -= makings
        entries = self._entries([FINISH] * makings + [act] * (groups - makings))
        outs = self._write(kind, lots, [-mass for mass in masses], entries)
        self._finish(outs[: makings * TO_AN_ENTRY], entries)
        put_right = outs if kind_back == Kind.CORRECTED else ()
        self._write(kind_back, lots, masses, self._entries([act_back] * groups), put_right)

    def _write(
        self,
        kind: str,
        lots: Sequence[Held],
        masses: Sequence[int],
        entries: Sequence[Entry],
        reverses: Sequence[Movement] = (),
    ) -> list[Movement]:
        return Movement.objects.bulk_create(
            Movement(
                **_mass(lot, mass),
                kind=kind,
                happened_on=self.today,
                entry=entries[place // TO_AN_ENTRY],
                reverses=reverses[place] if reverses else None,
            )
            for place, (lot, mass) in enumerate(zip(lots, masses, strict=True))
        )

    def _entries(self, acts: Sequence[str]) -> list[Entry]:
        return Entry.objects.bulk_create(
            Entry(
                request_key=uuid.UUID(int=self.choose.getrandbits(128), version=4),
                act=act,
                said=f"{act.capitalize()}, generated",
                page="/store/",
            )
            for act in acts
        )

    def _finish(self, outs: Sequence[Movement], entries: Sequence[Entry]) -> None:
        """Enter the makings for which these movements left the store."""
        if not outs:
            return
        groups = [outs[at : at + TO_AN_ENTRY] for at in range(0, len(outs), TO_AN_ENTRY)]
        promised = Commission.objects.order_by("pk").values_list("sheet", flat=True)
        sheets = list(promised[: len(groups)])
        first = Making.objects.count()
        makings = Making.objects.bulk_create(
            Making(
                ref=f"GM-{number:05d}",
                sheet_id=sheets[number % len(sheets)],
                wanted_good=SHEETS,
                pulls=SHEETS,
                planned_on=self.today,
                finished_on=self.today,
                state=Making.State.FINISHED,
                heel=Making.Heel.NONE,
            )
            for number in range(first, first + len(groups))
        )
        Issue.objects.bulk_create(
            Issue(
                making=making,
                lot_id=out.lot_id,
                as_is_mg=-out.as_is_mg,
                moisture=out.moisture,
                oven_dry_mg=-out.oven_dry_mg,
                movement=out,
            )
            for making, group in zip(makings, groups, strict=True)
            for out in group
        )
        Post.objects.bulk_create(
            Post(making=making, number=1, pulls=SHEETS, good=SHEETS) for making in makings
        )
        SheetMovement.objects.bulk_create(
            SheetMovement(
                making=making,
                quality=SheetMovement.Quality.GOOD,
                kind=SheetMovement.Kind.MADE,
                sheets=SHEETS,
                happened_on=self.today,
                entry=entry,
            )
            for making, entry in zip(makings, entries, strict=False)
        )

    def _move_one_lot(self, pairs: int) -> None:
        """Count one lot again and again, through all the days that it lies there."""
        held = next(_portions())[0]
        days = (self.today - held.received_on).days
        for begin in range(0, pairs, AT_ONCE):
            turns = range(begin, min(begin + AT_ONCE, pairs))
            masses = [self.choose.randint(1, held.oven_dry_mg) for _ in turns]
            entries = self._entries(["count"] * len(turns))
            Movement.objects.bulk_create(
                Movement(
                    **_mass(held, sign * mass),
                    kind=Kind.COUNTED,
                    happened_on=held.received_on.fromordinal(
                        held.received_on.toordinal() + days * turn // pairs
                    ),
                    entry=entry,
                )
                for turn, mass, entry in zip(turns, masses, entries, strict=True)
                for sign in (-1, 1)
            )


def _portions() -> Iterator[list[Held]]:
    """Yield the lots that hold something, a few hundred at a time."""
    rows = Lot.objects.filter(oven_dry_mg__gt=0).order_by("pk").values_list(*Held._fields)
    last = 0
    while portion := [Held._make(row) for row in rows.filter(pk__gt=last)[:AT_ONCE]]:
        yield portion
        last = portion[-1].pk


def _mass(lot: Held, oven_dry_mg: int) -> dict[str, object]:
    """Return the columns of a movement that weigh: its fibre, and that with its water."""
    as_is_mg = wet.as_is_mg(abs(oven_dry_mg), lot.moisture)
    return {
        "lot_id": lot.pk,
        "oven_dry_mg": oven_dry_mg,
        "as_is_mg": as_is_mg if oven_dry_mg > 0 else -as_is_mg,
        "moisture": lot.moisture,
    }
