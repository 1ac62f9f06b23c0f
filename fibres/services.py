"""What a person does to the store; each act is one transaction with one entry."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from fibres import ledger, offshelf
from fibres.calc import moisture as wet
from fibres.calc.scrap import Estimate
from fibres.corrections import correct
from fibres.gifts import refusal_of
from fibres.models import Fibre, Lot, Movement, Source
from fibres.sampling import weigh_moisture
from fibres.wording import mass_words
from studio.entries import acting, enter, refuse_repeat
from studio.errors import NotEnoughError, RangeError, StudioError
from studio.models import Counter, Entry
from studio.units import show_mass, show_share

__all__ = [
    "Receipt",
    "correct",
    "donor_named",
    "log_scrap",
    "receive",
    "take_out",
    "weigh_moisture",
]


@dataclass(frozen=True, slots=True)
class Receipt:
    """A lot as it arrives: what, from whom, how much, how wet, and how that is known."""

    fibre: Fibre
    source: Source
    as_is_mg: int
    moisture: Decimal
    received_on: date
    measured: str = Lot.Measured.WEIGHED
    moisture_known: str = Lot.MoistureKnown.LABEL
    band: Decimal = Decimal(0)
    form: str = ""
    place: str = ""
    is_wet: bool = False
    paid_minor: int | None = None
    sorting_minutes: Decimal | None = None
    preparation_yield: Decimal | None = None
    is_confidential: bool = False
    remarks: str = ""


@acting()
def receive(
    receipt: Receipt,
    *,
    by: Any,
    key: uuid.UUID | None = None,
    entry: Entry | None = None,
) -> Lot:
    """Enter a lot and its first movement; with ``entry``, as a part of that act."""
    if key is not None:
        refuse_repeat(key)
    oven_dry_mg = fibre_in(receipt)
    lot = _new_lot(receipt, oven_dry_mg)
    entry = entry or enter(
        "receive",
        f"Received {lot.ref}: {show_mass(receipt.as_is_mg)} as is, {receipt.fibre.name}",
        page=lot.get_absolute_url(),
        key=key,
        by=by,
    )
    ledger.post(
        lot,
        Movement.Kind.RECEIVED,
        oven_dry_mg,
        happened_on=receipt.received_on,
        entry=entry,
        as_is_mg=receipt.as_is_mg,
    )
    return lot


def fibre_in(receipt: Receipt) -> int:
    """Return the oven-dry fibre of a receipt; what is not taken in, or holds none, is refused."""
    if receipt.fibre.is_refused:
        raise StudioError(
            refusal_of(receipt.fibre),
            field="fibre",
            value=receipt.fibre.name,
        )
    oven_dry_mg = wet.oven_dry_mg(receipt.as_is_mg, receipt.moisture)
    if oven_dry_mg <= 0:
        raise RangeError(
            f"{mass_words(receipt.as_is_mg)[0]} at {show_share(receipt.moisture)} moisture holds "
            "no fibre. Look at the mass and the moisture again.",
            field="mass",
            value=receipt.as_is_mg,
        )
    return oven_dry_mg


def _new_lot(receipt: Receipt, oven_dry_mg: int) -> Lot:
    lot = lot_of(receipt, oven_dry_mg, f"{receipt.fibre.code}-{Counter.next('lot'):04d}")
    lot.full_clean()
    lot.save()
    return lot


def lot_of(receipt: Receipt, oven_dry_mg: int, ref: str) -> Lot:
    """Return the lot that a receipt makes, not written yet and holding nothing so far."""
    fibre = receipt.fibre
    sorting = receipt.sorting_minutes
    if sorting is None:
        sorting = _usual_sorting(fibre, receipt.as_is_mg)
    return Lot(
        ref=ref,
        fibre=fibre,
        source=receipt.source,
        form=receipt.form,
        place=receipt.place,
        received_on=receipt.received_on,
        as_is_mg=receipt.as_is_mg,
        received_oven_dry_mg=oven_dry_mg,
        measured=receipt.measured,
        band=receipt.band,
        moisture=receipt.moisture,
        moisture_known=receipt.moisture_known,
        preparation_yield=receipt.preparation_yield,
        keep_until=keeps_wet_until(fibre, receipt.received_on) if receipt.is_wet else None,
        paid_minor=receipt.paid_minor,
        sorting_minutes=sorting,
        is_confidential=receipt.is_confidential,
        remarks=receipt.remarks,
    )


def keeps_wet_until(fibre: Fibre, since: date) -> date | None:
    """Return the last day of wet fibre by its own keeping time; none where that is not known."""
    days = fibre.keeps_wet_days
    return since + timedelta(days=days) if days else None


def _usual_sorting(fibre: Fibre, as_is_mg: int) -> Decimal:
    minutes = fibre.sorting_minutes_per_kg * Decimal(as_is_mg) / Decimal(1_000_000)
    return minutes.quantize(Decimal("0.01"))


def donor_named(name: str) -> Source:
    """Return the donor of that name, or make one; a supplier's or a closed one is refused."""
    name = " ".join(name.split()) or "Anonymous drop"
    source = Source.objects.filter(name__iexact=name).first()
    if source is None:
        source = Source(name=name, kind=Source.Kind.DONOR)
        source.full_clean()
        source.save()
    elif source.kind == Source.Kind.SUPPLIER:
        raise StudioError(
            f"{source.name} is in the book as a supplier. Give the donor another name, such as "
            f"{source.name} (gift).",
            field="donor",
            value=name,
        )
    elif source.is_closed:
        raise StudioError(
            f"{source.name} is closed: open it again under Sources, or give another name.",
            field="donor",
            value=name,
        )
    return source


@acting()
def log_scrap(
    estimate: Estimate,
    *,
    donor: str,
    fibre: Fibre,
    moisture: Decimal,
    received_on: date,
    by: Any,
    key: uuid.UUID | None = None,
    moisture_known: str = Lot.MoistureKnown.ASSUMED,
    is_confidential: bool = False,
    place: str = "",
    remarks: str = "",
) -> Lot:
    """Enter donated scrap as a lot of its own, one for each gift and class."""
    if key is not None:
        refuse_repeat(key)
    return receive(
        Receipt(
            fibre=fibre,
            source=donor_named(donor),
            as_is_mg=estimate.as_is_mg,
            moisture=moisture,
            received_on=received_on,
            measured=estimate.method,
            moisture_known=moisture_known,
            band=estimate.band,
            is_confidential=is_confidential,
            place=place,
            paid_minor=0,
            remarks=remarks,
        ),
        by=by,
        key=key,
    )


@acting()
def take_out(
    lot: Lot,
    *,
    as_is_mg: int,
    kind: str,
    happened_on: date,
    why: str,
    by: Any,
    key: uuid.UUID | None = None,
) -> Movement:
    """Issue fibre to a making, or discard it, by what was weighed with its water."""
    if key is not None:
        refuse_repeat(key)
    if kind not in Movement.OUT_OF_STORE:
        raise StudioError("Fibre leaves the store issued or discarded.", field="kind", value=kind)
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    as_is_mg, oven_dry_mg = _fibre_that_is_there(lot, as_is_mg)
    entry = enter(
        "take out",
        f"{Movement.Kind(kind).label} {show_mass(as_is_mg)} as is from {lot.ref}",
        page=lot.get_absolute_url(),
        key=key,
        by=by,
    )
    return ledger.post(
        lot,
        kind,
        -oven_dry_mg,
        happened_on=happened_on,
        entry=entry,
        as_is_mg=-as_is_mg,
        why=why,
    )


def _fibre_that_is_there(lot: Lot, as_is_mg: int) -> tuple[int, int]:
    """Return what is asked for, as is and oven-dry; less than the fibre of one milligram is none.

    It is all of the lot where the page showed the whole lot rounded up.
    """
    as_is_mg = _as_is_that_is_there(lot, as_is_mg)
    oven_dry_mg = wet.oven_dry_mg(as_is_mg, lot.moisture)
    if not oven_dry_mg:
        raise RangeError(
            f"{mass_words(as_is_mg)[0]} at {show_share(lot.moisture)} moisture holds no fibre "
            "that can be entered. Give a larger mass.",
            field="mass",
            value=as_is_mg,
        )
    return as_is_mg, oven_dry_mg


def _as_is_that_is_there(lot: Lot, as_is_mg: int) -> int:
    """Return what is asked for, or all of it where that is what the page showed.

    The scale rounds too: taking the whole lot must leave nothing, not a stray milligram.
    """
    if not lot.oven_dry_mg:
        raise NotEnoughError(
            f"Lot {lot.ref} holds nothing any more.", field="mass", value=as_is_mg
        )
    out = offshelf.weighed_out([lot.pk]).get(lot.pk, {})
    whole = wet.as_is_mg(max(lot.oven_dry_mg - sum(out.values()), 0), lot.moisture)
    if as_is_mg <= whole:
        return as_is_mg
    shown, asked = mass_words(whole, as_is_mg)
    if whole and shown == asked:
        return whole
    if out:
        raise NotEnoughError(
            f"{offshelf.in_words(lot, out)} {shown} as is is left beside that and {asked} is "
            "asked for. Finish the making or put that back first, or take less.",
            field="mass",
            value=as_is_mg,
        )
    raise NotEnoughError(
        f"Lot {lot.ref} holds {shown} as is and {asked} is asked for. Give {shown} or less, or "
        "weigh the lot and enter what is there.",
        field="mass",
        value=as_is_mg,
    )
