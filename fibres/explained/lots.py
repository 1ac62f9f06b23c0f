"""Lots: their balance, their water, what is done to them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from fibres.calc import moisture as wet
from fibres.explained import water
from fibres.lotbook import BookLine
from fibres.models import Lot, Movement
from studio.explaining import DEFINITION, Explained, Reader
from studio.units import show_share
from studio.working import Line


def moisture_as_it_came(lot: Lot) -> Decimal:
    """Return the moisture by which a lot was received: a test since may have found another."""
    if not lot.as_is_mg or wet.oven_dry_mg(lot.as_is_mg, lot.moisture) == lot.received_oven_dry_mg:
        return lot.moisture
    return 1 - Decimal(lot.received_oven_dry_mg) / lot.as_is_mg


def received(reader: Reader, lot: Lot) -> Explained:
    """Take apart the oven-dry mass that a lot came with."""
    return water.oven_dry(
        reader,
        as_is_mg=lot.as_is_mg,
        moisture=moisture_as_it_came(lot),
        dry_mg=lot.received_oven_dry_mg,
        whose=f"{lot.ref}, as it came",
    )


def paid(reader: Reader, lot: Lot) -> tuple[Explained, ...]:
    """Take apart what the fibre of a lot cost; nothing for who may not see it."""
    if not reader.sees_money or lot.paid_minor is None or lot.paid_minor_per_kg is None:
        return ()
    return (
        water.price_by_mass(
            reader,
            paid_minor=lot.paid_minor,
            dry_mg=lot.received_oven_dry_mg,
            minor_per_kg=lot.paid_minor_per_kg,
            whose=lot.ref,
        ),
    )


def came(reader: Reader, lot: Lot) -> tuple[Explained, ...]:
    """Explain a table of lots by one of them."""
    return (received(reader, lot), *paid(reader, lot))


def listed(reader: Reader, lots: Sequence[Lot], *, is_whole: bool) -> tuple[Explained, ...]:
    """Explain a table of lots by its first row; the total only where every row stands here."""
    if not lots:
        return (water.oven_dry_alone(), _total(()))
    total = (Line("Left, in these lots", reader.mass(sum(lot.oven_dry_mg for lot in lots))),)
    return (
        received(reader, lots[0]),
        _total(total if is_whole else ()),
        *paid(reader, lots[0]),
    )


def _total(lines: tuple[Line, ...]) -> Explained:
    return Explained(
        "Left",
        "left = all that went into a lot − all that went out of it, oven-dry; the foot of the "
        "table adds up its rows.",
        DEFINITION,
        lines,
    )


def left(reader: Reader, book: Iterable[BookLine], *, left_mg: int) -> Explained:
    """Take apart the balance of one lot."""
    lines = list(book)
    came, went = (sum(getattr(line, name) or 0 for line in lines) for name in ("in_mg", "out_mg"))
    return Explained(
        "Left",
        "left = all that went in − all that went out, oven-dry, line by line of the book. What "
        "was entered wrong stays, and a contrary line takes it back.",
        DEFINITION,
        (
            Line("Went in", reader.mass(came), "corrections counted"),
            Line("Less what went out", reader.mass(-went), "corrections counted"),
            Line("Left, oven-dry", reader.mass(left_mg), kind="answer"),
        ),
    )


def weighs(reader: Reader, lot: Lot, *, out_mg: int) -> Explained:
    """Take apart the mass with its water: as the lot came, and what lies on the shelf now."""
    shelf_mg = max(lot.oven_dry_mg - out_mg, 0)
    now = "On the shelf" if out_mg else "Weighs now"
    less = (Line("Less what is at the vat", reader.mass(-out_mg)),) if out_mg else ()
    return Explained(
        "Oven-dry and as is",
        f"{water.OVEN_DRY}; the other way round, mass as it is = oven-dry ÷ (1 − moisture).",
        water.ISO_287,
        (
            Line("As it came", reader.mass(lot.as_is_mg)),
            Line("Moisture as it came", show_share(moisture_as_it_came(lot))),
            Line("Oven-dry as it came", reader.mass(lot.received_oven_dry_mg), kind="line"),
            Line("Left, oven-dry", reader.mass(lot.oven_dry_mg)),
            *less,
            Line("Moisture now", show_share(lot.moisture)),
            Line(
                f"{now}, as is", reader.mass(wet.as_is_mg(shelf_mg, lot.moisture)), kind="answer"
            ),
        ),
    )


def usable_of(reader: Reader, lot: Lot) -> Explained:
    """Take apart what is usable of a lot, whose fibre was read with it."""
    own = "of this lot" if lot.preparation_yield is not None else "usual for its fibre"
    return water.usable(reader, dry_mg=lot.oven_dry_mg, share=lot.yield_now, whose=own)


def of_one(
    reader: Reader, lot: Lot, book: Iterable[BookLine], *, out_mg: int
) -> tuple[Explained, ...]:
    """Explain the page of one lot."""
    return (
        left(reader, book, left_mg=lot.oven_dry_mg),
        weighs(reader, lot, out_mg=out_mg),
        usable_of(reader, lot),
        *paid(reader, lot),
    )


def changed(reader: Reader, lot: Lot) -> tuple[Explained, ...]:
    """Explain the form that changes what is said of a lot; its fibre was not read."""
    own = lot.preparation_yield
    usable = (
        water.usable_alone()
        if own is None
        else water.usable(reader, dry_mg=lot.oven_dry_mg, share=own, whose="of this lot")
    )
    return (usable, *paid(reader, lot))


def tested(reader: Reader, lot: Lot, sent: tuple[Line, ...]) -> tuple[Explained, ...]:
    """Explain the form that takes a sample of a lot."""
    found = water.of_a_sample()
    return (
        Explained(found.title, found.formula, found.source, sent[:1]),
        Explained(
            "What becomes of the book",
            "figure in the book wrong: left, oven-dry = mass as it is, from the book × (1 − "
            "moisture of the sample); dried or drew water: the oven-dry mass stays, and mass as "
            "it is = oven-dry ÷ (1 − moisture of the sample).",
            water.ISO_287,
            (
                Line("Moisture in the book", show_share(lot.moisture)),
                Line("Left, oven-dry", reader.mass(lot.oven_dry_mg), "by the book"),
                Line(
                    "Mass as it is, from the book",
                    reader.mass(wet.as_is_mg(lot.oven_dry_mg, lot.moisture)),
                    kind="answer",
                ),
            ),
        ),
    )


def taken(reader: Reader, lot: Lot) -> tuple[Explained, ...]:
    """Explain the form that takes fibre out of a lot."""
    return (
        water.oven_dry(
            reader,
            as_is_mg=wet.as_is_mg(lot.oven_dry_mg, lot.moisture),
            moisture=lot.moisture,
            dry_mg=lot.oven_dry_mg,
            whose=f"all of {lot.ref}",
            title="What leaves, oven-dry",
        ),
        Explained(
            "What is left then",
            "left = oven-dry in the book − oven-dry that leaves. What lies weighed out at the vat "
            "cannot be taken twice.",
            DEFINITION,
        ),
    )


def corrected(reader: Reader, movement: Movement) -> tuple[Explained, ...]:
    """Explain the form that puts an entry right."""
    as_is_mg, dry_mg = abs(movement.as_is_mg or 0), abs(movement.oven_dry_mg)
    is_receipt = movement.kind == Movement.Kind.RECEIVED
    right = (
        "right oven-dry = oven-dry as entered + (right mass − mass as entered) × (1 − the "
        "moisture with which the lot is known to have come)"
        if is_receipt
        else "right oven-dry = right mass × (1 − moisture of the entry)"
    )
    return (
        Explained(
            "As it was entered",
            f"{water.OVEN_DRY} of the entry.",
            water.ISO_287,
            (
                Line("As it is", reader.mass(as_is_mg)),
                Line("Moisture", show_share(movement.moisture)),
                Line("Oven-dry", reader.mass(dry_mg), kind="answer"),
            ),
        ),
        Explained(
            "What the correction enters",
            f"a contrary line over all that was entered, then what is right; {right}.",
            "Common practice of bookkeeping, no source; the mass by ISO 287, from memory.",
        ),
    )


def entered(reader: Reader, sent: tuple[Line, ...]) -> tuple[Explained, ...]:
    """Explain the form that enters a lot that was bought."""
    found = [
        water.oven_dry_alone(sent[:1]),
        water.usable_alone(sent[1:2]),
    ]
    if reader.sees_money:
        found.append(
            Explained(
                f"Price a {reader.unit}",
                f"price a {reader.unit} = paid for the whole lot ÷ its oven-dry, or its usable, "
                "mass.",
                DEFINITION,
            )
        )
    return tuple(found)
