"""The store: what is free, and what the state of a fibre means."""

from __future__ import annotations

from collections.abc import Sequence

from fibres.standing import Standing
from studio.explaining import DEFINITION, Explained, Reader
from studio.working import Line


def free(reader: Reader, rows: Sequence[Standing]) -> Explained:
    """Take apart what is free, over all fibres that the page shows."""
    held, out, promised, left = (
        sum(getattr(row, name) for row in rows)
        for name in ("on_hand_mg", "at_the_vat_mg", "promised_mg", "free_mg")
    )
    less = [Line("Less what lies weighed out at the vat", reader.mass(-out))] if out else []
    lacked = -sum(min(0, row.free_mg) for row in rows)
    # As the head of the page says it: what one fibre lacks does not make another less free.
    back = [
        Line("Back what some fibres lack", reader.mass(lacked), "it is not there to be taken off")
    ] if lacked else []  # fmt: skip
    lines = (
        Line("On hand, all fibre", reader.mass(held), "what is left of all lots, oven-dry"),
        *less,
        Line("Less promised", reader.mass(-promised), "what agreed commissions still need"),
        *back,
        Line("Free", reader.mass(left + lacked), kind="answer"),
    )
    return Explained(
        "Free",
        "free = on hand − at the vat − promised, oven-dry, fibre by fibre. The sum counts "
        "the fibres of which some is free.",
        DEFINITION,
        lines if rows else (),
    )


def state(reader: Reader, rows: Sequence[Standing]) -> Explained:
    """Say what the state of a fibre means, by the first row."""
    lines: tuple[Line, ...] = ()
    if rows:
        first = rows[0]
        kept = [] if first.minimum_mg is None else [
            Line("Minimum", reader.mass(first.minimum_mg), "the owner’s figure"),
        ]  # fmt: skip
        coming = [] if not first.on_its_way_mg else [
            Line("On its way", reader.mass(first.on_its_way_mg)),
        ]  # fmt: skip
        lines = (
            Line("Free", reader.mass(first.free_mg), first.name),
            *coming,
            *kept,
            Line("State", first.mark[1], kind="line"),
        )
    return Explained(
        "State",
        "short: a promise cannot be kept from what is there and what is on its way; comes in "
        "time: it can, once what is on its way has come; below minimum: free is less than the "
        "minimum; else covered.",
        "Our own way of counting. The minimum is the owner’s figure, set on the page of the "
        "fibre.",
        lines,
    )
