"""Sending sheets in a parcel: who may have them, how many, and when a promise is kept."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.urls import reverse

from orders.calc.parcelprice import ParcelPrice
from orders.models import Commission, Delivery, Making, Sheet, SheetMovement
from orders.sheetsinhand import rows as book
from orders.sheetsinhand.holding import Quality, kept
from orders.sheetsinhand.weighing import doubt, parcel_of
from studio.entries import acting, enter, refuse_repeat
from studio.errors import RangeError, StudioError
from studio.models import Counter, Studio
from studio.units import show_share

Kind = SheetMovement.Kind
State = Commission.State


@dataclass(frozen=True, slots=True)
class Sending:
    """So many sheets of one making and one quality."""

    making: Making
    quality: str
    sheets: int


@dataclass(frozen=True, slots=True)
class ParcelNote:
    """What is noted of a parcel: when and where it went, and what the scales said."""

    sent_on: date
    sent_to: str = ""
    sheet_mg: int | None = None
    parcel_mg: int | None = None
    remarks: str = ""
    # Its scales were looked at again: what they say is right all the same.
    is_right: bool = False


@acting()
def send(
    commission: Commission | None,
    rows: Sequence[Sending],
    note: ParcelNote,
    *,
    by: Any,
    price: ParcelPrice | None = None,
    key: uuid.UUID | None = None,
) -> Delivery:
    """Send sheets in one parcel; a promise is kept once all its good sheets have gone.

    Without a commission the sheets are the studio's own to sell. ``price`` is kept with the
    parcel as it is now, whatever prices do later.
    """
    if key is not None:
        refuse_repeat(key)
    wanted = _added_up(rows)
    held = None if commission is None else _locked(commission)
    makings = book.locked_makings(making for making, _ in wanted)
    _refuse_mixed(makings.values(), held)
    for making, quality in wanted:
        _refuse_others(makings[making], quality, held)
        book.refuse_early(note.sent_on, makings[making], "sent_on")
    book.refuse_more_than_there(wanted, makings)
    good = sum(sheets for (_, quality), sheets in wanted.items() if quality == Quality.GOOD)
    is_kept = held is not None and _is_kept_with(held, good)
    _refuse_doubtful(note, sum(wanted.values()), next(iter(makings.values())).sheet)
    delivery = _new_delivery(
        held, note, sum(wanted.values()), is_kept=is_kept, price=price, by=by, key=key
    )
    for (making, quality), sheets in wanted.items():
        book.post(
            makings[making], quality, Kind.SENT, -sheets,
            on=note.sent_on, entry=delivery.entry, delivery=delivery,
        )  # fmt: skip
    if held is not None and commission is not None:
        if is_kept:
            held.state = State.SENT
            held.save(update_fields=["state"])
        commission.state = held.state
    return delivery


def _added_up(rows: Sequence[Sending]) -> dict[tuple[int, str], int]:
    wanted: dict[tuple[int, str], int] = {}
    for row in rows:
        if row.sheets < 0:
            raise RangeError(
                f"Give 0 or more sheets, got {row.sheets}.",
                field=book.field_of(row.quality, row.making),
            )
        if row.sheets:
            place = (row.making.pk, row.quality)
            wanted[place] = wanted.get(place, 0) + row.sheets
    if not wanted:
        raise StudioError("Give the sheets that are sent, of at least one making.")
    return wanted


def _locked(commission: Commission) -> Commission:
    """Return the commission as it is now, for as long as the act lasts; it must be a promise."""
    held = Commission.objects.select_for_update().get(pk=commission.pk)
    if held.state in Commission.PROMISES:
        return held
    word = held.get_state_display().lower()
    advice = (
        "Agree it first, and then send its sheets."
        if held.is_open
        else "Send further sheets from Sheets in hand, without the commission."
    )
    raise StudioError(f"{held.ref} is {word}. {advice}", value=held.state)


def _refuse_mixed(makings: Iterable[Making], commission: Commission | None) -> None:
    """Let one parcel hold sheets of one kind, so that the sheet weighed speaks for all."""
    kinds = {making.sheet_id for making in makings}
    if commission is not None and kinds != {commission.sheet_id}:
        names = Sheet.objects.filter(pk__in=kinds - {commission.sheet_id}).values_list("name")
        raise StudioError(
            f"{commission.ref} asked for {commission.sheet.name}, and "
            f"{' and '.join(name for (name,) in names)} is another sheet."
        )
    if len(kinds) > 1:
        raise StudioError(
            "Send sheets of one kind in a parcel; give the other kind one of its own."
        )


def _refuse_others(making: Making, quality: str, commission: Commission | None) -> None:
    """Keep good sheets for whom they were made, as long as they are waited for."""
    own = making.commission
    if own is None or own == commission or not own.is_open:
        return
    if quality == Quality.RETREE and commission is None:
        return
    raise StudioError(
        f"The sheets of {making.ref} are made for {own.ref}, which still waits for them.",
        field=book.field_of(quality, making),
        value=own.ref,
    )


def _is_kept_with(commission: Commission, good: int) -> bool:
    """Tell whether so many more good sheets keep the promise; refuse more than is taken."""
    so_far = kept(commission)
    if good > so_far.may_send:
        over = commission.tolerance_over
        takes = f"up to {show_share(over)} over, {so_far.most} in all" if over else "no more"
        sent = f"{so_far.sent} {'is' if so_far.sent == 1 else 'are'} sent"
        raise RangeError(
            f"{commission.ref} asked for {so_far.wanted} good {book.noun(so_far.wanted)} and its "
            f"client takes {takes}; {sent}. Send {so_far.may_send} or fewer, got {good}.",
            value=good,
        )
    return good >= so_far.to_send


def _refuse_doubtful(note: ParcelNote, sheets: int, sheet: Sheet) -> None:
    """Ask once about a parcel that the scales speak against."""
    said = doubt(parcel_of(sheet, sheets, note.sheet_mg, note.parcel_mg), Studio.current())
    if said and not note.is_right:
        raise RangeError(
            f"{said} Count and weigh again; if it is right, say so and send it all the same.",
            field="is_right",
        )


def _new_delivery(
    commission: Commission | None,
    note: ParcelNote,
    sheets: int,
    *,
    is_kept: bool,
    price: ParcelPrice | None,
    by: Any,
    key: uuid.UUID | None,
) -> Delivery:
    ref = f"D-{Counter.next('delivery'):04d}"
    said = f"Sent {sheets} {book.noun(sheets)} in {ref}"
    if commission is not None:
        said += f" for {commission.ref}"
    if is_kept:
        said += ", which is now sent"
    if note.is_right:
        said += "; the scales were looked at again"
    entry = enter("send sheets", said, page=reverse("delivery", args=[ref]), key=key, by=by)
    delivery = Delivery(
        ref=ref,
        commission=commission,
        sent_on=note.sent_on,
        sent_to=note.sent_to,
        sheet_mg=note.sheet_mg,
        parcel_mg=note.parcel_mg,
        remarks=note.remarks,
        good_minor=price.good_minor if price else None,
        retree_minor=price.retree_minor if price else None,
        total_minor=price.total_minor if price else None,
        price_working=price.as_json() if price else None,
        entry=entry,
    )
    delivery.full_clean(exclude={"entry", "commission"})
    delivery.save()
    return delivery
