"""Counting the store: weigh its lots one by one, then post what differs, all or nothing.

Weighing a lot moves nothing. What was weighed holds only as long as the lot stays as it is: a
lot that moved since, or whose moisture was tested since, must be weighed again.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from fibres import ledger
from fibres.models import CountLine, Lot, MoistureTest, Movement, Stocktake
from fibres.offshelf import refuse_weighed_out
from fibres.weighing import reason_for, reckon
from fibres.wording import mass_words
from studio import roles
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Counter, Entry
from studio.refs import near_to, row_called

Reason = CountLine.Reason
State = Stocktake.State
WEIGHING = "count lot"
AS_THE_BOOK = "As the book says"
# Of the fibre in the book; a larger difference is posted by whoever may put the store right.
LARGE = Fraction(5, 100)


# --- how a count stands --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """One lot of a count as it stands now."""

    line: CountLine
    has_changed: bool

    @property
    def lot(self) -> Lot:
        """The lot."""
        return self.line.lot

    @property
    def is_weighed(self) -> bool:
        """Whether the scale was read."""
        return self.line.oven_dry_mg is not None

    @property
    def is_due(self) -> bool:
        """Whether it is still to be weighed, or to be weighed again."""
        return self.line.stocktake.is_open and (self.has_changed or not self.is_weighed)

    @property
    def book_mg(self) -> int:
        """Oven-dry fibre in the book: when it was weighed, else now."""
        line = self.line
        told = line.book_oven_dry_mg if self.is_weighed else line.lot.oven_dry_mg
        return int(told)

    @property
    def difference_mg(self) -> int | None:
        """What was weighed less what the book had, oven-dry; None where nothing was weighed."""
        return self.line.oven_dry_mg - self.line.book_oven_dry_mg if self.is_weighed else None

    @property
    def mark(self) -> tuple[str, str]:
        """The mark and the word of how far it is."""
        if not self.line.stocktake.is_open:
            return ("closed", "Counted" if self.is_weighed else "Not weighed")
        if self.has_changed:
            return ("short", "Weigh again")
        return ("covered", "Weighed") if self.is_weighed else ("asked", "To weigh")

    @property
    def reason_in_words(self) -> str:
        """Why it differs, and what was seen."""
        line = self.line
        reason = str(line.get_reason_display()) if line.reason else ""
        return ". ".join(filter(None, [reason, line.note]))

    @property
    def is_large(self) -> bool:
        """Whether it differs so much that whoever may put the store right has to look at it."""
        change = self.difference_mg or 0
        return abs(change) > LARGE * self.line.book_oven_dry_mg


@dataclass(frozen=True, slots=True)
class Found:
    """What a count found more or less for one reason, oven-dry."""

    reason: str
    lots: int
    difference_mg: int


def found_by_reason(rows: Sequence[Row]) -> list[Found]:
    """Add up the differences of a count by reason, in the order of the reasons."""
    found = []
    for reason in Reason:
        changes = [row.difference_mg or 0 for row in rows if row.line.reason == reason]
        if changes:
            found.append(Found(str(reason.label), len(changes), sum(changes)))
    return found


def rows_of(stocktake: Stocktake) -> list[Row]:
    """Return the lots of a count by place, in a number of queries that does not grow."""
    lines = stocktake.lines.select_related("lot__fibre", "stocktake").order_by(
        "lot__place", "lot__ref"
    )
    if not stocktake.is_open:
        return [Row(line, has_changed=False) for line in lines]
    weighed_at, changed_at = _weighed_at(stocktake), _changed_at(stocktake)
    return [Row(line, has_changed=_has_changed(line, weighed_at, changed_at)) for line in lines]


def _has_changed(line: CountLine, weighed_at: dict[str, int], changed_at: dict[int, int]) -> bool:
    if line.oven_dry_mg is None:
        return False
    if line.lot.oven_dry_mg != line.book_oven_dry_mg:
        return True
    return changed_at.get(line.lot_id, 0) > weighed_at.get(_page_of(line.stocktake, line.lot), 0)


def _weighed_at(stocktake: Stocktake) -> dict[str, int]:
    """Return the number of the entry by which each lot was weighed last, by its place."""
    entries = Entry.objects.filter(
        act=WEIGHING, page__startswith=f"{stocktake.get_absolute_url()}#"
    )
    return dict(entries.order_by().values_list("page").annotate(last=Max("pk")))


def _changed_at(stocktake: Stocktake) -> dict[int, int]:
    """Return the number of the entry that moved or tested each lot last."""
    found: dict[int, int] = {}
    for model in (Movement, MoistureTest):
        rows = model.objects.filter(lot__count_lines__stocktake=stocktake).order_by()
        for lot, entry in rows.values_list("lot").annotate(last=Max("entry")):
            found[lot] = max(entry, found.get(lot, 0))
    return found


def _page_of(stocktake: Stocktake, lot: Lot) -> str:
    """Return the place of a lot on the page of a count; its entries are found by it."""
    return f"{stocktake.get_absolute_url()}#{lot.ref}"


def open_line_of(lot: Lot) -> CountLine | None:
    """Return the line of a count that goes on, where the lot is one of it."""
    lines = lot.count_lines.filter(stocktake__state=State.COUNTING)
    return lines.select_related("stocktake").order_by("-pk").first()


# --- acts ----------------------------------------------------------------------------------------


@acting()
def begin(
    place: str = "",
    *,
    by: Any,
    key: uuid.UUID | None = None,
    started_on: date | None = None,
    remarks: str = "",
) -> Stocktake:
    """Begin to count the lots of a place that hold something, or all of them."""
    if key is not None:
        refuse_repeat(key)
    # Of two who begin at once, the second waits here and finds the count of the first.
    number = Counter.next("stocktake")
    going_on = Stocktake.objects.filter(state=State.COUNTING, place=place).first()
    if going_on is not None:
        raise StudioError(
            f"{going_on.ref} counts the same and is not posted yet. Go on with it, or give it "
            "up first.",
            field="place",
            value=place,
        )
    lots = Lot.objects.filter(oven_dry_mg__gt=0)
    lots = list(lots.filter(place=place) if place else lots)
    if not lots:
        raise StudioError("No lot with fibre lies there.", field="place", value=place)
    stocktake = Stocktake(
        ref=f"ST-{number:03d}",
        place=place,
        started_on=started_on or timezone.localdate(),
        remarks=remarks,
    )
    stocktake.full_clean()
    stocktake.save()
    CountLine.objects.bulk_create(
        CountLine(stocktake=stocktake, lot=lot, book_oven_dry_mg=lot.oven_dry_mg) for lot in lots
    )
    _enter_for(stocktake, "begin stocktake", f"Began to count {_counted(stocktake)}", by, key)
    return stocktake


@acting()
def add_lot(stocktake: Stocktake, ref: str, *, by: Any, key: uuid.UUID | None = None) -> CountLine:
    """Take a lot into a count that lies where the book did not have it, or was used up."""
    stocktake = _open(stocktake, key)
    lot = row_called(Lot.objects.all(), ref)
    if lot is None:
        near = near_to(ref, Lot.objects.values_list("ref", flat=True))
        raise StudioError(
            f"No lot is called {ref.strip()[:40]}. Give the code as it stands on its label"
            + (f"; near it: {', '.join(near)}." if near else "."),
            field="ref",
            value=ref[:40],
        )
    line, is_new = CountLine.objects.get_or_create(
        stocktake=stocktake, lot=lot, defaults={"book_oven_dry_mg": lot.oven_dry_mg}
    )
    if is_new:
        _enter_for(stocktake, "add to stocktake", f"Added {lot.ref} to {stocktake.ref}", by, key)
    return line


@acting()
def count_lot(
    stocktake: Stocktake,
    lot: Lot,
    *,
    as_is_mg: int,
    by: Any,
    moisture: Decimal | None = None,
    reason: str = "",
    note: str = "",
    key: uuid.UUID | None = None,
) -> CountLine:
    """Keep what the scale said of a lot, beside what the book has now; nothing moves yet."""
    stocktake = _open(stocktake, key)
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    refuse_weighed_out([lot])
    weighed = reckon(lot, as_is_mg=as_is_mg, moisture=moisture, reason=reason)
    line = CountLine.objects.filter(stocktake=stocktake, lot=lot).first()
    line = line or CountLine(stocktake=stocktake, lot=lot)
    line.book_oven_dry_mg = weighed.book_oven_dry_mg
    line.as_is_mg, line.moisture = weighed.as_is_mg, weighed.moisture
    line.oven_dry_mg = weighed.oven_dry_mg
    line.reason, line.note = reason_for(weighed, reason), note
    # The row of the movement may be empty here, where a form would ask for it.
    line.full_clean(exclude={"movement"})
    line.save()
    said = f"Weighed {lot.ref} for {stocktake.ref}: {mass_words(weighed.as_is_mg)[0]} as is"
    enter(WEIGHING, said, page=_page_of(stocktake, lot), key=key, by=by)
    return line


@acting()
def post(stocktake: Stocktake, *, by: Any, key: uuid.UUID | None = None) -> Stocktake:
    """Bring the book in line with what was weighed, in one entry; lots not weighed stay."""
    stocktake = _open(stocktake, key)
    mine = stocktake.lines.values("lot")
    # In the order of their keys, so that two acts on the same lots never wait for each other.
    list(Lot.objects.select_for_update().filter(pk__in=mine).order_by("pk").values_list("pk"))
    rows = [row for row in rows_of(stocktake) if row.is_weighed]
    _refuse_unripe(rows, by)
    refuse_weighed_out(row.line.lot for row in rows)
    lots = "1 lot" if len(rows) == 1 else f"{len(rows)} lots"
    said = f"Posted {stocktake.ref}, {_counted(stocktake)}: {lots} weighed"
    entry = _enter_for(stocktake, "post stocktake", said, by, key)
    for row in rows:
        _post_line(row.line, stocktake, entry)
    stocktake.state, stocktake.posted_on = State.POSTED, timezone.localdate()
    stocktake.save(update_fields=["state", "posted_on"])
    return stocktake


def _refuse_unripe(rows: Sequence[Row], by: Any) -> None:
    if not rows:
        raise StudioError("No lot has been weighed yet, so there is nothing to post.")
    changed = [row.lot.ref for row in rows if row.has_changed]
    if changed:
        raise StudioError(
            f"Changed since weighed: {', '.join(changed)}. Weigh again what is named here. "
            "Nothing has been posted.",
            value=changed,
        )
    if words := left_to_owner(rows, by):
        raise StudioError(words)


def left_to_owner(rows: Sequence[Row], by: Any) -> str:
    """Say why somebody may not post a count; nothing where they may."""
    large = [row.lot.ref for row in rows if row.is_large]
    if not large or by is None or roles.can(by, "store.correct"):
        return ""
    return (
        f"More than 5 % off the book: {', '.join(large)}. The owner posts this count. What was "
        "weighed is kept."
    )


def _post_line(line: CountLine, stocktake: Stocktake, entry: Entry) -> None:
    """Write the line of the ledger, also where nothing differs: the book says it was counted.

    The movement carries no as-is mass: what moved is a difference of fibre, and the water of a
    lot may have gone the other way. What was weighed stays in the line of the count.
    """
    lot = line.lot
    why = str(Reason(line.reason).label) if line.reason else AS_THE_BOOK
    line.movement = ledger.post(
        lot,
        Movement.Kind.COUNTED,
        line.oven_dry_mg - lot.oven_dry_mg,
        # A lot may be entered a day ahead of the clock here.
        happened_on=max(timezone.localdate(), lot.received_on),
        entry=entry,
        moisture=line.moisture,
        why=f"{why}. {line.note}" if line.note else why,
    )
    line.save(update_fields=["movement"])
    changes: dict[str, Any] = {}
    if line.moisture != lot.moisture:
        changes["moisture"] = line.moisture
        # Reckoned from the fibre in the book, it is known no better than that fibre.
        if line.reason != Reason.DRIED:
            changes["moisture_known"] = Lot.MoistureKnown.WEIGHED
    if stocktake.place and line.as_is_mg and lot.place != stocktake.place:
        changes["place"] = stocktake.place
    if changes:
        Lot.objects.filter(pk=lot.pk).update(**changes)


@acting()
def give_up(stocktake: Stocktake, *, by: Any, key: uuid.UUID | None = None) -> Stocktake:
    """Leave a count without posting anything; what was weighed can still be read."""
    stocktake = _open(stocktake, key)
    stocktake.state = State.GIVEN_UP
    stocktake.save(update_fields=["state"])
    _enter_for(stocktake, "give up stocktake", f"Gave up {stocktake.ref}", by, key)
    return stocktake


def _open(stocktake: Stocktake, key: uuid.UUID | None) -> Stocktake:
    """Return the count under a lock; one that is over takes nothing more."""
    if key is not None:
        refuse_repeat(key)
    found: Stocktake = Stocktake.objects.select_for_update().get(pk=stocktake.pk)
    if not found.is_open:
        state = str(found.get_state_display()).lower()
        raise StudioError(f"{found.ref} is {state} already. Begin another count.")
    return found


def _enter_for(stocktake: Stocktake, act: str, said: str, by: Any, key: uuid.UUID | None) -> Entry:
    page = reverse("stocktake", args=[stocktake.ref])
    return enter(act, said, page=page, key=key, by=by)


def _counted(stocktake: Stocktake) -> str:
    return stocktake.place or "the whole store"
