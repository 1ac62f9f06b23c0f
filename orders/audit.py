"""Proof that makings and the books agree: issues with movements, sheets made with posts.

It stands on the proof of the store itself, and reads a few thousand rows at a time: what was
weighed out beside its movement, and the book of sheets beside what was counted at the vat.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from itertools import groupby, islice
from typing import Any, NamedTuple

from django.db.models import Q, Sum

from fibres import audit as store
from fibres.audit import ROWS_AT_A_TIME, Audit, Fault
from fibres.calc.chain import Noted
from fibres.models import Movement
from orders.makings.balance import kept_in_lots_mg
from orders.makings.standing import issued_by_lot
from orders.models import Issue, Making, Post, SheetMovement

FINISHED = Making.State.FINISHED


class Weighed(NamedTuple):
    """What was weighed out, beside the movement by which it left the store."""

    pk: int
    ref: str
    state: str
    lot_id: int
    oven_dry_mg: int
    movement: int | None
    moved_lot: int | None
    moved_kind: str | None
    moved_mg: Any

    @property
    def name(self) -> str:
        """How a person finds it again."""
        return f"issue {self.pk} of {self.ref}"


class Sheets(NamedTuple):
    """One movement of finished sheets, beside its making."""

    making_id: int
    ref: str
    quality: str
    pk: int
    kind: str
    sheets: Any


def audit(using: str = "default", *, noted: Noted | None = None) -> Audit:
    """Look at the store, and at every making beside it."""
    found = store.audit(using, noted=noted)
    found.makings = Making.objects.using(using).count()
    for weighed in read_weighed(using):
        found.faults += [Fault(weighed.name, fault) for fault in issue_faults(weighed)]
    found.faults += [*unnamed_issues(using), *kept_faults(using), *over_faults(using)]
    found.faults += sheet_faults(using)
    return found


def read_weighed(using: str = "default") -> Iterator[Weighed]:
    """Yield everything weighed out, with what left the store for it."""
    rows = (
        Issue.objects.using(using)
        .order_by("pk")
        .values_list(
            "pk", "making__ref", "making__state", "lot_id", "oven_dry_mg", "movement_id",
            "movement__lot_id", "movement__kind", "movement__oven_dry_mg",
        )
    )  # fmt: skip
    return map(Weighed._make, rows.iterator(chunk_size=ROWS_AT_A_TIME))


def issue_faults(weighed: Weighed) -> Iterator[str]:
    """Yield what is wrong with one issue: it has left the store once, as it was weighed."""
    if weighed.movement is None:
        if weighed.state == FINISHED:
            yield "has not left the store, though its making is finished"
        return
    if weighed.state != FINISHED:
        yield f"has left the store, though its making is {weighed.state}"
    if weighed.moved_lot != weighed.lot_id:
        yield f"left the store by movement {weighed.movement}, which is of another lot"
    if weighed.moved_kind != Movement.Kind.ISSUED:
        yield f"left the store by movement {weighed.movement}, which is {weighed.moved_kind}"
    if weighed.moved_mg != -weighed.oven_dry_mg:
        yield f"is {weighed.oven_dry_mg:,} mg and its movement {weighed.moved_mg:,} mg"


def unnamed_issues(using: str = "default") -> list[Fault]:
    """Find what finishing took out of the store that nobody weighed out."""
    rows = Movement.objects.using(using).filter(
        kind=Movement.Kind.ISSUED, entry__act="finish making", issue=None
    )
    return [
        Fault(f"movement {pk} of {ref}", "was issued to a making that weighed nothing out for it")
        for pk, ref in rows.order_by("pk").values_list("pk", "lot__ref")
    ]


def kept_faults(using: str = "default") -> list[Fault]:
    """Find finished makings whose broke or heel is not in the store, or is though none was."""
    rows = Making.objects.using(using).order_by("pk").values_list(
        "ref", "state", "heel", "heel_lot_id", "broke_as_is_mg", "broke_lot_id"
    )  # fmt: skip
    faults = []
    for ref, state, heel, heel_lot, broke_mg, broke_lot in rows.iterator(ROWS_AT_A_TIME):
        finished = state == FINISHED
        wants = {"heel": heel == Making.Heel.KEPT, "broke": bool(broke_mg)}
        has = {"heel": heel_lot is not None, "broke": broke_lot is not None}
        faults += [
            Fault(
                f"making {ref}",
                f"has no lot of the {what} it kept"
                if wanted
                else f"has a lot of {what} it has not",
            )
            for what, wanted in ((what, finished and wants[what]) for what in wants)
            if wanted != has[what]
        ]
    return faults


def over_faults(using: str = "default") -> Iterator[Fault]:
    """Yield makings that kept more fibre than went into them, with what was added to it."""
    makings = (
        Making.objects.using(using)
        .filter(Q(broke_lot__isnull=False) | Q(heel_lot__isnull=False))
        .select_related("broke_lot", "heel_lot")
        .prefetch_related("doses")
        .order_by("pk")
    )
    for some in _some_at_a_time(makings.iterator(ROWS_AT_A_TIME)):
        went_in = dict.fromkeys((making.pk for making in some), 0)
        for (making, _), issued_mg in issued_by_lot(some, using=using).items():
            went_in[making] += issued_mg
        for making in some:
            put_in_mg = went_in[making.pk] + sum(dose.mass_mg for dose in making.doses.all())
            kept_mg = kept_in_lots_mg(making)
            if kept_mg > put_in_mg:
                yield Fault(
                    f"making {making.ref}",
                    f"kept {kept_mg:,} mg as broke and heel, and {put_in_mg:,} mg went into it",
                )


def _some_at_a_time(makings: Iterator[Making]) -> Iterator[list[Making]]:
    """Part rows so that one question names no more of them than a database takes."""
    while some := list(islice(makings, ROWS_AT_A_TIME)):
        yield some


class Formed(NamedTuple):
    """What the posts of a finished making came to, in sheets."""

    good: int = 0
    retree: int = 0
    broke: int = 0

    @property
    def sheets(self) -> int:
        """All that the vat formed."""
        return sum(self)


class Booked(NamedTuple):
    """What the book has of one quality of a making: entered as made, and found by counts."""

    made: int = 0
    found: int = 0


def sheet_faults(using: str = "default") -> Iterator[Fault]:
    """Yield where the book of sheets does not agree with what was counted, or goes below none."""
    formed = {
        pk: Formed(*counts)
        for pk, *counts in Post.objects.using(using)
        .filter(making__state=FINISHED)
        .order_by()
        .values_list("making_id")
        .annotate(Sum("good"), Sum("retree"), Sum("broke"))
    }
    refs = dict(
        Making.objects.using(using).filter(state=FINISHED).order_by("pk").values_list("pk", "ref")
    )
    booked: dict[tuple[int, str], Booked] = {}
    rows = (
        SheetMovement.objects.using(using)
        .order_by("making_id", "quality", "pk")
        .values_list("making_id", "making__ref", "quality", "pk", "kind", "sheets")
    )
    read = map(Sheets._make, rows.iterator(chunk_size=ROWS_AT_A_TIME))
    for (pk, quality), lines in groupby(read, key=lambda row: (row.making_id, row.quality)):
        booked[pk, quality] = yield from _line_faults(list(lines), is_finished=pk in refs)
    for pk, ref in refs.items():
        by_book = {name: booked.get((pk, name), Booked()) for name in ("good", "retree")}
        for fault in _unlike_posts(formed.get(pk, Formed()), by_book):
            yield Fault(f"making {ref}", fault)


def _unlike_posts(formed: Formed, by_book: dict[str, Booked]) -> Iterator[str]:
    """Yield where the book of a finished making has other sheets than its posts account for."""
    for quality, booked in by_book.items():
        by_posts = getattr(formed, quality)
        if by_posts != booked.made:
            yield f"counted {by_posts} {quality} sheets and the book has {booked.made} as made"
    # Broke may have been sorted again; beyond it a count can find nothing.
    found = sum(booked.found for booked in by_book.values())
    if found > formed.broke:
        came = formed.good + formed.retree + found
        yield (
            f"formed {formed.sheets} sheets, broke among them, and by its counts {came} came of it"
        )


def _line_faults(lines: list[Sheets], *, is_finished: bool) -> Generator[Fault, None, Booked]:
    """Yield what is wrong with the sheets of one quality; return what was made and found."""
    kinds = SheetMovement.Kind
    total = 0
    summed = {kinds.MADE.value: 0, kinds.COUNTED.value: 0}
    if not is_finished:
        yield Fault(f"making {lines[0].ref}", "has sheets in the book and is not finished")
    for line in lines:
        was, total = total, total + line.sheets
        if line.kind in summed:
            summed[line.kind] += line.sheets
        if total < 0 <= was:
            row = f"sheet movement {line.pk} of {line.ref}"
            yield Fault(row, f"leaves {total} {line.quality} sheets in hand")
    return Booked(summed[kinds.MADE.value], summed[kinds.COUNTED.value])
