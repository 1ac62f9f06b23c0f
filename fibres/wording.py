"""Words that pages and refusals share: masses in the reader's units, and a furnish in a line."""

from __future__ import annotations

from collections.abc import Iterable

from fibres.models import FurnishPart
from studio.context import units_here
from studio.units import show_mass, show_share


def mass_words(*masses_mg: int) -> list[str]:
    """Return masses in the units of whoever asks; looked up only to refuse."""
    system = units_here()
    return [show_mass(mass, system=system) for mass in masses_mg]


def furnish_in_words(parts: Iterable[FurnishPart]) -> str:
    """Word the fibres of a furnish: "60 % Cotton linter (50 % to 70 %), 40 % Abaca"."""
    return ", ".join(part_in_words(part) for part in parts)


def part_in_words(part: FurnishPart) -> str:
    """Word one fibre with its share, how far that may vary, and what may stand in for it."""
    words = f"{show_share(part.share)} {part.fibre.name}"
    may = [range_in_words(part), stand_ins_in_words(part)]
    told = "; ".join(one for one in may if one)
    return f"{words} ({told})" if told else words


def range_in_words(part: FurnishPart) -> str:
    """Word how far the share of a fibre may vary; nothing where it may not."""
    least, most = part.limits
    return f"{show_share(least)} to {show_share(most)}" if least != most else ""


def stand_ins_in_words(part: FurnishPart) -> str:
    """Word what may stand in for a fibre: "or Flax or Hemp"; nothing where nothing may."""
    return " ".join(f"or {fibre.name}" for fibre in part.substitutes.all())
