"""What commissions want of the store, and the sheets that a gift makes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fibres.standing import Standing
from studio.explaining import DEFINITION, OURS, Explained, Reader
from studio.working import Line


def promised(reader: Reader, rows: Sequence[Standing]) -> Explained:
    """Say what counts as promised, by the fibre that most is promised of."""
    wanted = [row for row in rows if row.promised_mg]
    first = max(wanted, key=lambda row: row.promised_mg, default=None)
    lines = () if first is None else (Line(first.name, reader.mass(first.promised_mg)),)
    return Explained(
        "Promised",
        "promised = oven-dry fibre that agreed commissions still need: what is set aside for them "
        "and what is short. What lies at the vat for a commission is taken off its need.",
        OURS,
        lines,
    )


def sheets_of_a_gift(shown: Mapping[str, Any]) -> Explained:
    """Say how many good sheets a gift makes; the panel of the form has them."""
    result = shown.get("result")
    lines = result["lines"] if isinstance(result, Mapping) else ()
    return Explained(
        "Good sheets, about",
        "good sheets = pulls that the usable fibre makes × sheets per pull × good share, rounded "
        "down; where the class is a part of a furnish, usable fibre ÷ its share comes first.",
        f"{DEFINITION} Broke and retree are the owner’s figures, set on the page of the sheet.",
        tuple(line for line in lines if line.label.startswith("Good sheets")),
    )
