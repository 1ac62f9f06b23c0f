"""One row of a list of makings: what its cells say, and what it makes of the store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils import timezone

from fibres import ledger, offshelf
from fibres.calc import moisture as wet
from fibres.models import Lot, Movement
from fibres.wording import mass_words
from orders.makings import planning
from orders.makings.forming import spec_of
from orders.models import (
    Issue,
    Making,
    Post,
    SheetMovement,
    Spell,
)
from orders.specs import read_shrinkages
from studio.errors import ReadingError, StudioError
from studio.fields import read
from studio.files.columns import choices_of
from studio.files.kinds import Asked
from studio.files.lists import (
    ENTERED,
    Change,
)
from studio.files.names import Names
from studio.files.rows import Fault, RowReader
from studio.models import Entry, Studio
from studio.units import to_mg

MOST_SHEETS = 1_000_000
State, Quality, Kind = Making.State, SheetMovement.Quality, SheetMovement.Kind
STATES = tuple(pair for pair in choices_of(State) if pair[0] != State.AT_THE_VAT)
COUNTS = ("good", "retree", "broke")
MINUTES = {f"minutes: {operation}": operation for operation in Spell.Operation.values}
SAME = {
    "sheet_id": "sheet", "commission_id": "commission", "wanted_good": "wanted",
    "planned_on": "day", "state": "state",
}  # fmt: skip
GONE = "Not in hand when the list was taken in"


@dataclass(slots=True)
class MakingRow:
    """A making, not written yet, with what came of it."""

    making: Making
    ref: str
    counts: dict[str, int] = field(default_factory=dict)
    in_hand: dict[str, int] = field(default_factory=dict)
    minutes: dict[str, Decimal] = field(default_factory=dict)
    taken: tuple[tuple[Lot, int], ...] = ()


# --- cells --------------------------------------------------------------------------------------


def taken_from(lots: Names, asked: Asked | None) -> Any:
    """Return a function that reads lots and masses such as "AB-0003: 2.5 kg"."""
    plainly = (asked or Asked()).plain

    def taken(text: str) -> tuple[tuple[Lot, int], ...]:
        found = []
        for part in (part.strip() for part in text.split(";") if part.strip()):
            ref, colon, mass = part.partition(":")
            if not colon:
                raise ReadingError(
                    f"“{part[:40]}” is no lot with a mass. Write it such as AB-0003: 2.5 kg."
                )
            found.append((lots.called(ref.strip()), to_mg(read(plainly(mass), "mass"))))
        return tuple(found)

    return taken


def judge(row: RowReader, found: MakingRow, *, counted: bool) -> None:
    """Hold the cells of a making against each other."""
    if not row.is_fine:
        return
    making, commission = found.making, found.making.commission
    if commission is not None and commission.sheet_id != making.sheet_id:
        row.blame("sheet", f"{commission.ref} asks for another sheet.")
    if making.state == State.FINISHED:
        _judge_finished(row, found)
    elif counted or found.taken:
        row.blame("state", f"A making that is {making.state} has no counts and takes no lots.")
    elif making.wanted_good is None:
        row.blame("wanted", "Nothing stands here. Give a whole number of good sheets.")
    if making.state == State.PLANNED:
        _judge_planned(row, making)


def _judge_finished(row: RowReader, found: MakingRow) -> None:
    making = found.making
    if not sum(found.counts.values()):
        row.blame("good", "No sheets are counted. Give what came of it, or leave the row out.")
        return
    making.wanted_good = making.wanted_good or max(found.counts["good"], 1)
    making.finished_on = making.finished_on or making.planned_on
    if making.finished_on > timezone.localdate():
        row.blame("day", "That day has not come yet, so the making cannot be finished.")
    if making.finished_on < making.planned_on:
        row.blame("finished on", "That is before its day at the vat. Change one of the days.")
    for name, lying in found.in_hand.items():
        if lying > found.counts[name]:
            row.blame(f"{name} in hand", f"{lying} are more than the {found.counts[name]} made.")


def _judge_planned(row: RowReader, making: Making) -> None:
    commission = making.commission
    if making.sheet.is_closed:
        row.blame("sheet", f"“{making.sheet}” is closed. Open it again first.")
    if commission is not None and not commission.is_promise:
        word = commission.get_state_display().lower()
        row.blame("commission", f"{commission.ref} is {word}, not agreed or being made.")
    if making.mould and making.vat and not planning.goes_into(making.mould, making.vat):
        row.blame("vat", f"{making.mould} does not go into {making.vat}.")


def pulls_faults(changes: Sequence[Change]) -> Iterator[Fault]:
    """Fill in the pulls where none are given; say where they cannot be reckoned."""
    studio, shrinkages = Studio.current(), read_shrinkages()
    known: dict[tuple[Any, ...], int] = {}
    for change in changes:
        making = change.what.making
        if making.pulls or change.deed != ENTERED:
            continue
        counted = sum(change.what.counts.values())
        key = (making.sheet_id, making.mould_id, making.drying, making.wanted_good, counted)
        try:
            if key not in known:
                known[key] = _pulls(making, counted, studio, shrinkages)
            making.pulls = known[key]
        except StudioError as fault:
            yield Fault(change.row, "pulls", f"{fault} Or give the pulls.")


def _pulls(making: Making, counted: int, studio: Studio, shrinkages: Any) -> int:
    """Return the safe count of pulls, or those that so many sheets are cut from at least."""
    spec = spec_of(making, studio, shrinkages)
    if making.state == State.FINISHED:
        return -(-counted // spec.at_least_one_per_pull())
    return planning.safe_pulls(spec, making.wanted_good)


def short_lots(changes: Sequence[Change]) -> Iterator[Fault]:
    """Say which lots do not hold what all rows together take out of them."""
    held: dict[int, int] = {}
    for change in changes:
        if change.deed != ENTERED:
            continue
        for lot, as_is_mg in change.what.taken:
            left = held.setdefault(lot.pk, _free_mg(lot))
            dry = wet.oven_dry_mg(as_is_mg, lot.moisture)
            if not dry:
                yield Fault(change.row, "take from lots", f"Of {lot.ref} that is no fibre.")
            if dry > left:
                has, asked = mass_words(left, dry)
                yield Fault(
                    change.row,
                    "take from lots",
                    f"{lot.ref} holds {has} oven-dry and {asked} is asked for by now.",
                )
            held[lot.pk] = max(left - dry, 0)
            if change.what.making.finished_on < lot.received_on:
                yield Fault(
                    change.row,
                    "take from lots",
                    f"{lot.ref} came on {lot.received_on:%d %b %Y}, after the making.",
                )


def _free_mg(lot: Lot) -> int:
    """Return what a lot holds that is not weighed out for a making at the vat."""
    held: int = Lot.objects.values_list("oven_dry_mg", flat=True).get(pk=lot.pk)
    return held - sum(offshelf.weighed_out([lot.pk]).get(lot.pk, {}).values())


# --- what came of them --------------------------------------------------------------------------


def write_counts(rows: Sequence[MakingRow], entry: Entry) -> None:
    """Write one post for each making, its minutes, and the book of its sheets."""
    Post.objects.bulk_create(
        [Post(making=row.making, number=1, pulls=row.making.pulls, **row.counts) for row in rows]
    )
    Spell.objects.bulk_create(
        [
            Spell(making=row.making, operation=operation, minutes=minutes)
            for row in rows
            for operation, minutes in row.minutes.items()
            if minutes
        ]
    )
    SheetMovement.objects.bulk_create([movement for row in rows for movement in _book(row, entry)])


def _book(row: MakingRow, entry: Entry) -> Iterator[SheetMovement]:
    """Yield what was made, and what of it is not in hand any more."""
    today = max(timezone.localdate(), row.making.finished_on)
    for quality in (Quality.GOOD, Quality.RETREE):
        made, lying = row.counts[quality], row.in_hand[quality]
        steps = [
            (Kind.MADE, made, row.making.finished_on, ""),
            (Kind.COUNTED, lying - made, today, GONE),
        ]
        for kind, sheets, day, why in steps:
            if sheets:
                yield SheetMovement(
                    making=row.making, quality=quality, kind=kind, sheets=sheets,
                    happened_on=day, why=why, entry=entry,
                )  # fmt: skip


def take_out(row: MakingRow, entry: Entry) -> None:
    """Let the lots that are named leave the store for a making, as finishing it would."""
    making = row.making
    day: date = making.finished_on
    for lot, as_is_mg in row.taken:
        held = Lot.objects.get(pk=lot.pk)
        dry = wet.oven_dry_mg(as_is_mg, held.moisture)
        movement = ledger.post(
            held,
            Movement.Kind.ISSUED,
            -dry,
            happened_on=day,
            entry=entry,
            as_is_mg=-as_is_mg,
            why=f"Making {making.ref}",
        )
        Issue.objects.create(
            making=making,
            lot=held,
            as_is_mg=as_is_mg,
            moisture=held.moisture,
            oven_dry_mg=dry,
            movement=movement,
            by=entry.by,
        )
