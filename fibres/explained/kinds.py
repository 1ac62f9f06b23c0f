"""Fibres and furnishes: what is on hand, what a kind leaves, shares, doses, shrinkage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fibres.calc import moisture as wet
from fibres.explained import water
from fibres.explained.lots import received
from fibres.models import Fibre, FurnishPart, Shrinkage
from studio.explaining import DEFINITION, Explained, Reader, set_on
from studio.units import show_number, show_share
from studio.working import Line

FURNISH = set_on("the page of the furnish")
FPL_131 = (
    "Definition, held against USDA Forest Products Laboratory, Research Paper FPL 131 (1970). "
    "The shrinkages are the owner’s figures, or learned from makings."
)


def on_hand(reader: Reader, fibre: Any) -> Explained:
    """Take apart what is on hand of a fibre, as the store reads it."""
    return Explained(
        "On hand",
        "on hand = what is left of all its lots, oven-dry, added up.",
        DEFINITION,
        (
            Line("Lots with fibre left", show_number(fibre.lots_held), fibre.name),
            Line("On hand, oven-dry", reader.mass(fibre.on_hand_mg), kind="answer"),
        ),
    )


def listed(reader: Reader, first: Any) -> tuple[Explained, ...]:
    """Explain the list of fibres by its first row."""
    if first is None:
        return (water.oven_dry_alone(), water.usable_alone())
    return (on_hand(reader, first), leaves(reader, first))


def leaves(reader: Reader, fibre: Fibre) -> Explained:
    """Take apart what a fibre leaves of what comes."""
    return water.usable_of_one(
        reader,
        moisture=fibre.usual_moisture,
        share=fibre.preparation_yield,
        name=fibre.name,
    )


def of_one(reader: Reader, fibre: Any, lots: Sequence[Any]) -> tuple[Explained, ...]:
    """Explain the page of a fibre, with the first of its lots that the page shows."""
    first = (received(reader, lots[0]),) if lots else ()
    return (on_hand(reader, fibre), *_figures(reader, fibre), *first)


def changed(reader: Reader, fibre: Fibre | None) -> tuple[Explained, ...]:
    """Explain the form of a fibre by the figures that are kept."""
    if fibre is None:
        return (water.oven_dry_alone(), water.usable_alone(), _minimum(()))
    kept = (Line("Minimum to keep", reader.mass(fibre.minimum_mg)),) if fibre.minimum_mg else ()
    return (*_figures(reader, fibre), _minimum(kept))


def _figures(reader: Reader, fibre: Fibre) -> tuple[Explained, ...]:
    return (
        leaves(reader, fibre),
        water.varies(spread=fibre.yield_spread, share=fibre.preparation_yield),
    )


def _minimum(lines: tuple[Line, ...]) -> Explained:
    return Explained(
        "Minimum to keep",
        "below minimum: free, oven-dry, is less than the minimum to keep.",
        set_on("the page of the fibre"),
        lines,
    )


# --- furnishes ----------------------------------------------------------------------------------


def shares(parts: Sequence[FurnishPart], *, whose: str = "") -> Explained:
    """Say that shares come to the whole."""
    lines = [Line(part.fibre.name, show_share(part.share), whose) for part in parts]
    whole = show_share(sum(part.share for part in parts))
    return Explained(
        "Shares",
        "shares are of the dry fibre in the vat, and those of all fibres come to 100 %.",
        FURNISH,
        (*lines, Line("In all", whole, kind="answer")) if lines else (),
    )


def issue(reader: Reader, parts: Sequence[FurnishPart]) -> Explained:
    """Say how a share becomes oven-dry fibre out of the store."""
    lines: tuple[Line, ...] = ()
    if parts:
        part, one_mg = parts[0], water.one_of(reader)
        share = part.fibre.preparation_yield
        wanted_mg = round(one_mg * part.share)
        lines = (
            Line(f"{part.fibre.name}, share", show_share(part.share)),
            Line("Preparation yield", show_share(share), "usual for this fibre"),
            Line(
                f"Out of the store for {reader.mass(one_mg)} in the vat",
                reader.mass(wet.oven_dry_mg_for(wanted_mg, share)),
                "oven-dry",
                "answer",
            ),
        )
    return Explained(
        "Out of the store",
        "oven-dry out of the store = dry fibre in the vat × share ÷ preparation yield, rounded "
        "up.",
        water.YIELD_SET,
        lines,
    )


def doses(reader: Reader, additions: Sequence[Any]) -> Explained:
    """Say what an addition is dosed on."""
    lines: tuple[Line, ...] = ()
    if additions:
        first, one_mg = additions[0], water.one_of(reader)
        lines = (
            Line(f"{first.name}, dose", show_share(first.dose, places=2)),
            Line(
                f"On {reader.mass(one_mg)} of dry fibre",
                reader.mass(round(one_mg * first.dose)),
                kind="answer",
            ),
        )
    return Explained(
        "Additions",
        "addition, weighed dry = dry fibre in the vat × dose; it comes on top of the fibre.",
        FURNISH,
        lines,
    )


def shrinks(shrinkages: Sequence[Shrinkage]) -> Explained:
    """Say what shrinkage does to a side."""
    lines: tuple[Line, ...] = ()
    if shrinkages:
        first = shrinkages[0]
        how = str(first.get_drying_display())
        lines = (
            Line("Across", show_share(first.across), how),
            Line("Left of the side across", show_share(1 - first.across), kind="line"),
            Line("Along", show_share(first.along), how),
            Line("Left of the side along", show_share(1 - first.along), kind="answer"),
        )
    return Explained(
        "Shrinkage",
        "side of the dry sheet = side of the mould’s opening × (1 − shrinkage), across and along.",
        FPL_131,
        lines,
    )


def in_the_form(
    reader: Reader, parts: Sequence[Any], additions: Sequence[Any], shrinkages: Sequence[Any]
) -> tuple[Explained, ...]:
    """Explain the form of a furnish by what it shows; the fibres of its parts were not read."""
    rule = shares(())
    lines: tuple[Line, ...] = ()
    if parts:
        lines = (
            Line("Shares", ", ".join(show_share(part.share) for part in parts)),
            Line("In all", show_share(sum(part.share for part in parts)), kind="answer"),
        )
    return (
        Explained(rule.title, rule.formula, rule.source, lines),
        issue(reader, ()),
        doses(reader, additions),
        shrinks(shrinkages),
    )


def furnish_list(furnish: Any) -> tuple[Explained, ...]:
    """Explain the list of furnishes by its first row."""
    if furnish is None:
        return (shares(()),)
    return (shares(list(furnish.parts.all()), whose=furnish.name),)


def of_furnish(
    reader: Reader, parts: Sequence[Any], additions: Sequence[Any], shrinkages: Sequence[Any]
) -> tuple[Explained, ...]:
    """Explain the page of a furnish."""
    return (
        shares(parts),
        issue(reader, parts),
        doses(reader, additions),
        shrinks(shrinkages),
    )
