"""What the pages of finished sheets say: how far a promise is kept, what a parcel comes to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Sum
from django.http import HttpRequest

from orders import parcels, sheetsinhand, wording
from orders.calc.packing import Parcel
from orders.deliveryforms import GOOD, RETREE, WORDS
from orders.deliverytables import DeliveryTable, PackedRow, packed_rows
from orders.models import Commission, Delivery, Making, Sheet, SheetMovement
from orders.sheetsinhand import Kept
from studio import roles
from studio.errors import StudioError
from studio.lists import house_table
from studio.units import System, show_grammage, show_number, show_size

# --- in words ------------------------------------------------------------------------------------


def sheets_in_words(count: int, quality: str = "") -> str:
    """Word a number of sheets."""
    kind = f"{quality} " if quality else ""
    return f"{show_number(count)} {kind}sheet{'' if count == 1 else 's'}"


def in_hand_words(makings: Sequence[Any], made: Sequence[str]) -> str:
    """Say how many sheets lie there, and which commissions can be sent."""
    if not makings:
        return "No finished sheet lies here."
    good = sum(making.good_in_hand for making in makings)
    retree = sum(making.retree_in_hand for making in makings)
    rest = f" and {show_number(retree)} retree" if retree else ""
    said = f"{sheets_in_words(good, 'good')}{rest} are in hand."
    return f"{said} {wording.made_words(made)}" if made else said


def to_send_words(commission: Commission, kept: Kept) -> str:
    """Say what the client still waits for, and how much more would be taken."""
    said = f"{sheets_in_words(kept.wanted, 'good')} were asked for"
    sent = f"{show_number(kept.sent)} are sent, " if kept.sent else ""
    said = f"{said}; {sent}{show_number(kept.to_send)} are still to go."
    if commission.tolerance_over:
        said += f" The client takes up to {show_number(kept.may_send)}."
    return said


def sent_words(delivery: Delivery, commission: Commission, kept: Kept) -> str:
    """Say whether the promise is kept by what was sent."""
    if commission.state == Commission.State.SENT:
        return f"{delivery.ref} is sent, and with it all of {commission.ref}."
    return (
        f"{delivery.ref} is sent, a part delivery: {show_number(kept.sent)} of "
        f"{show_number(kept.wanted)} good sheets of {commission.ref} have gone, "
        f"{show_number(kept.to_send)} follow."
    )


# --- one parcel ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Packed:
    """A parcel with its commission, if it has one, and its sheets by making and quality."""

    delivery: Delivery
    commission: Any
    lines: list[tuple[Making, str, int]]

    @property
    def sheet(self) -> Sheet | None:
        """The kind of sheet in it."""
        return self.lines[0][0].sheet if self.lines else None

    def count(self, quality: str) -> int:
        """Return how many sheets of a quality are in it."""
        return sum(sheets for _, found, sheets in self.lines if found == quality)

    def rows(self) -> list[PackedRow]:
        """Return what is in it, quality by quality."""
        return packed_rows(self.lines, WORDS)

    def words(self) -> str:
        """Say what was sent."""
        if not self.lines:
            return "This parcel was taken back; its sheets are in hand again."
        retree = self.count(RETREE)
        said = sheets_in_words(self.count(GOOD), "good")
        if retree:
            said += f" and {show_number(retree)} retree"
        part = self.part_words()
        return f"{said} were sent. {part}".strip()

    def size_words(self, system: System) -> str:
        """Word the kind of sheet in it."""
        sheet = self.sheet
        if sheet is None:
            return ""
        size = show_size(sheet.size, system=system)
        return f"{sheet.name}, {size}, {show_grammage(sheet.grammage)}"

    def part_words(self) -> str:
        """Say how far the promise was kept with this parcel."""
        if self.commission is None or not self.lines:
            return ""
        sent = -(
            SheetMovement.objects.filter(
                delivery__commission=self.commission.pk,
                delivery__lte=self.delivery.pk,
                quality=GOOD,
            ).aggregate(sheets=Sum("sheets", default=0))["sheets"]
        )
        wanted = self.commission.good_quantity
        if sent >= wanted:
            return f"With this parcel all {show_number(wanted)} good sheets are sent."
        return (
            f"Part delivery: with this parcel {show_number(sent)} of {show_number(wanted)} good "
            f"sheets are sent, {show_number(wanted - sent)} follow."
        )

    def parcel(self) -> Parcel | None:
        """Return it as the arithmetic takes it."""
        if self.sheet is None:
            return None
        total = sum(sheets for *_, sheets in self.lines)
        return sheetsinhand.parcel_of(
            self.sheet, total, self.delivery.sheet_mg, self.delivery.parcel_mg
        )


# --- price ---------------------------------------------------------------------------------------


def price_context(packed: Packed) -> dict[str, Any]:
    """Return what the parcel came to as it was sent; for who sees money alone.

    A parcel of before has no price of its own; it is reckoned now, and that is said.
    """
    price = parcels.kept_price(packed.delivery)
    is_kept = price is not None
    if price is None:
        sheet = packed.sheet
        if sheet is None:
            return {}
        good, retree = packed.count(GOOD), packed.count(RETREE)
        try:
            price = parcels.reckoned(packed.commission, sheet, good=good, retree=retree)
        except StudioError as refusal:
            return {"no_price": str(refusal)}
    return {
        "price_lines": price.lines(),
        "told_prices": price.told_lines(),
        "price_working": price.working(),
        "price_notes": price.notes,
        "missing": " and ".join(price.missing),
        "priced_at": price.quantity,
        "is_kept": is_kept,
    }


# --- on the page of a commission -----------------------------------------------------------------


def sheets_context(request: HttpRequest, commission: Commission) -> dict[str, Any]:
    """Return how far its sheets have come, and the parcels they left in."""
    kept = sheetsinhand.kept(commission)
    said = kept_words(commission, kept)
    parcels = list(sheetsinhand.deliveries().filter(commission=commission.pk))
    may_send = commission.is_promise and roles.can(request.user, "store.take")
    return {
        "kept": kept,
        "kept_figures": _figures(kept) if kept.made or parcels else [],
        "kept_words": said if commission.is_open else "",
        "over_words": "" if commission.is_open else said,
        "parcels": house_table(
            request, DeliveryTable, parcels, paginate=False, prefix="parcels-",
            exclude=["commission"],
        )
        if parcels
        else None,
        "may_send": may_send and sheetsinhand.sendable(commission).exists(),
        "is_all_made": commission.is_open and bool(kept.made) and not kept.to_make,
    }  # fmt: skip


def _figures(kept: Kept) -> list[tuple[str, ...]]:
    return [
        ("Asked for", show_number(kept.wanted), "good"),
        ("Sent", show_number(kept.sent), ""),
        ("In hand", show_number(kept.in_hand), ""),
        ("To make", show_number(kept.to_make), ""),
    ]


def kept_words(commission: Commission, kept: Kept) -> str:
    """Say what is made and what is not; nothing where nothing is made for it yet."""
    if not kept.made:
        return ""
    if not commission.is_open:
        verb = "lies" if kept.in_hand == 1 else "lie"
        left = f"; {show_number(kept.in_hand)} more {verb} in hand" if kept.in_hand else ""
        return f"{sheets_in_words(kept.sent, 'good')} were sent{left}."
    if kept.to_make:
        return (
            f"{show_number(kept.made)} of its {show_number(kept.wanted)} good sheets are made; "
            f"fibre is held for the {show_number(kept.to_make)} still to make."
        )
    counts = ((kept.sent, "sent"), (kept.in_hand, "in hand"))
    where = ", ".join(f"{show_number(count)} {word}" for count, word in counts if count)
    return f"All its sheets are made: {where}. It holds no fibre any more."
