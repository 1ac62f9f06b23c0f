"""What the acts of buying share: the purchase under its lock, its lines, its entry."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from fibres.calc import moisture as wet
from fibres.calc import offers
from fibres.gifts import refusal_of
from fibres.models import Fibre, Offer, Purchase, PurchaseLine, Source
from fibres.offering import offered, terms_of
from studio.entries import enter, refuse_repeat
from studio.errors import RangeError, StudioError
from studio.models import Counter, Entry


@dataclass(frozen=True, slots=True)
class Wanted:
    """One line of an order: so many packs of a fibre at an agreed moisture and price."""

    fibre: Fibre
    packs: int
    pack_mg: int
    moisture: Decimal
    goods_minor: int
    price_per: str = Offer.PricePer.AS_IS
    form: str = ""
    offer: Offer | None = None


Lines = Sequence[Wanted]


# --- prices -------------------------------------------------------------------------------------


def from_offer(offer: Offer, packs: int, *, on: date, goods_minor: int | None = None) -> Wanted:
    """Return a line at the terms of an offer; its price as offered, unless one was agreed."""
    if goods_minor is None:
        goods_minor = _price_offered(offer, packs, on)
    return Wanted(
        fibre=offer.fibre,
        packs=packs,
        pack_mg=offer.pack_mg,
        moisture=offer.moisture,
        goods_minor=goods_minor,
        price_per=offer.price_per,
        form=offer.form,
        offer=offer,
    )


def _price_offered(offer: Offer, packs: int, on: date) -> int:
    if offer.is_closed:
        raise RangeError(
            f"The offer of {offer.fibre} is closed. Open it again under the offer, or choose "
            "another.",
            field=f"offer_{offer.pk}",
            value=packs,
        )
    if not offer.holds_on(on):
        raise RangeError(
            f"The offer of {offer.fibre} does not hold on {in_words(on)}. Put its days right "
            "under the offer, or choose another.",
            field=f"offer_{offer.pk}",
            value=on,
        )
    if packs < offer.least_packs:
        raise RangeError(
            f"{offer.fibre} is sold by {in_packs(offer.least_packs)} or more, got {packs}.",
            field=f"offer_{offer.pk}",
            value=packs,
        )
    return offers.goods_minor(packs, offered(offer))


def freight_of(source: Source, goods_minor: int) -> int:
    """Return what a source takes for carrying an order of goods at this price."""
    return offers.freight_of(goods_minor, terms_of(source))


def freight_or_usual(source: Source, lines: Lines, given: int | None) -> int:
    """Return the freight that was given, or else what the source takes for these lines."""
    return freight_of(source, sum(line.goods_minor for line in lines)) if given is None else given


# --- rows ---------------------------------------------------------------------------------------


def held(purchase: Purchase, key: uuid.UUID | None) -> Purchase:
    """Return the purchase as it is now, under a lock; a page sent before is told so first."""
    if key is not None:
        refuse_repeat(key)
    rows = Purchase.objects.select_for_update(of=("self",)).select_related("source")
    return rows.get(pk=purchase.pk)


def on_its_way(purchase: Purchase) -> Purchase:
    """Return a purchase of which something is to come; refuse any other."""
    if purchase.state == Purchase.State.PLANNED:
        raise StudioError(f"{purchase.ref} has not been ordered. Mark it as ordered first.")
    if purchase.state not in Purchase.ON_ITS_WAY:
        raise StudioError(f"Nothing of {purchase.ref} is to come any more.")
    return purchase


def new_purchase(
    source: Source,
    lines: Lines,
    freight_minor: int | None,
    *,
    order_by: date | None = None,
    remarks: str = "",
) -> Purchase:
    """Write a planned purchase with its lines under the next reference."""
    refuse_source(source)
    purchase = Purchase(
        ref=f"P-{Counter.next('purchase'):03d}",
        source=source,
        order_by=order_by,
        freight_minor=freight_or_usual(source, lines, freight_minor),
        remarks=remarks,
    )
    purchase.full_clean()
    purchase.save()
    add_lines(purchase, lines)
    return purchase


def refuse_source(source: Source) -> None:
    """Refuse a source that nothing can be ordered from."""
    if source.is_closed:
        raise StudioError(f"{source} is closed. Open it again under Sources first.")
    if source.kind == Source.Kind.DONOR:
        raise StudioError(f"{source} gives and does not sell. Log what comes from it as scrap.")


def add_lines(purchase: Purchase, lines: Lines) -> None:
    """Write the lines of a purchase; one without any is refused."""
    if not lines:
        raise StudioError("Give the packs that are wanted of at least one fibre.")
    for wanted in lines:
        _refuse_line(purchase, wanted)
        line = PurchaseLine(
            purchase=purchase,
            fibre=wanted.fibre,
            offer=wanted.offer,
            form=wanted.form,
            packs=wanted.packs,
            pack_mg=wanted.pack_mg,
            moisture=wanted.moisture,
            price_per=wanted.price_per,
            goods_minor=wanted.goods_minor,
        )
        line.full_clean()
        line.save()


def _refuse_line(purchase: Purchase, wanted: Wanted) -> None:
    if wanted.offer is not None and wanted.offer.source_id != purchase.source_id:
        raise StudioError(f"This {wanted.fibre} is offered by {wanted.offer.source}.")
    if wanted.fibre.is_refused:
        raise StudioError(refusal_of(wanted.fibre), value=wanted.fibre.name)
    if not wet.oven_dry_mg(wanted.pack_mg, wanted.moisture):
        raise RangeError(f"A pack of {wanted.fibre} holds no fibre.", value=wanted.pack_mg)


def place_it(purchase: Purchase, ordered_on: date, expected_on: date | None) -> None:
    """Keep that a purchase was placed, and the day on which it is expected."""
    refuse_ahead(ordered_on, "ordered_on")
    expected_on = expected_on or ordered_on + timedelta(days=purchase.source.lead_days)
    if expected_on < ordered_on:
        raise RangeError(
            f"It cannot come before it is ordered on {in_words(ordered_on)}. Give that day or a "
            "later one.",
            field="expected_on",
            value=expected_on,
        )
    purchase.state = Purchase.State.ORDERED
    purchase.ordered_on, purchase.expected_on = ordered_on, expected_on
    save(purchase, "state", "ordered_on", "expected_on", "freight_minor")


def refuse_ahead(day: date, field: str) -> None:
    """Refuse a day that has not come; one day more is left for a studio east of its clock."""
    if day > timezone.localdate() + timedelta(days=1):
        raise RangeError(
            f"{in_words(day)} has not come yet. Give today or a day before it.",
            field=field,
            value=day,
        )


def save(purchase: Purchase, *columns: str) -> None:
    """Look over a purchase and write these columns of it."""
    purchase.full_clean(exclude={"source"}, validate_unique=False)
    purchase.save(update_fields=columns)


def enter_for(purchase: Purchase, act: str, said: str, *, by: Any, key: uuid.UUID | None) -> Entry:
    """Write the entry of an act; it leads to the purchase and names no price."""
    return enter(act, said, page=purchase.get_absolute_url(), key=key, by=by)


# --- words --------------------------------------------------------------------------------------


def summary(purchase: Purchase, lines: Lines) -> str:
    """Word what is wanted of whom."""
    listed = ", ".join(f"{in_packs(line.packs)} of {line.fibre}" for line in lines)
    return f"{purchase.ref} from {purchase.source}: {listed}"


def in_packs(count: int) -> str:
    """Word a number of packs."""
    return "1 pack" if count == 1 else f"{count} packs"


def in_words(day: date) -> str:
    """Word a day."""
    return f"{day:%d %b %Y}"
