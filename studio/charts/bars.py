"""Bars: a whole cut into parts, and the gauge in a table's row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from studio import units
from studio.charts.scales import Scale

HUNDREDTH = Decimal("0.01")
GAUGE_WIDTH = 136
# How many patterns the stylesheet can tell apart.
FILLS = 8


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a whole; ``width`` is None where the bar leaves it out."""

    label: str
    figure: str
    share: str
    number: int
    x: Decimal
    width: Decimal | None

    @property
    def code(self) -> str:
        """The number of the part, to go into an id."""
        return str(self.number)

    @property
    def fill(self) -> int:
        """The number of its pattern."""
        return self.number % FILLS + 1


@dataclass(frozen=True, slots=True)
class Stacked:
    """A whole cut into parts, in percent of the bar."""

    parts: tuple[Part, ...]
    total: str
    desc: str

    @property
    def drawn(self) -> tuple[Part, ...]:
        """The parts that the bar shows."""
        return tuple(part for part in self.parts if part.width is not None)


def stacked(parts: Sequence[tuple[str, Decimal]], *, places: int = 2) -> Stacked:
    """Return a bar of the parts above nothing; parts of nothing or less stay in the table."""
    whole = sum((value for _, value in parts if value > 0), Decimal(0))
    made: list[Part] = []
    so_far = Decimal(0)
    for number, (label, value) in enumerate(parts):
        is_drawn = value > 0
        start = _percent(so_far, whole)
        so_far += value if is_drawn else 0
        made.append(
            Part(
                label=label,
                figure=units.show_number(value, places=places),
                share=units.show_share(value / whole, places=0) if is_drawn else "",
                number=number,
                x=start,
                width=_percent(so_far, whole) - start if is_drawn else None,
            )
        )
    total = units.show_number(sum((value for _, value in parts), Decimal(0)), places=places)
    listed = ", ".join(f"{part.label.lower()} {part.figure}" for part in made)
    return Stacked(tuple(made), total, f"{total} in all: {listed}.")


def _percent(share: Decimal, whole: Decimal) -> Decimal:
    return (share * 100 / whole).quantize(HUNDREDTH) if whole else Decimal("0.00")


@dataclass(frozen=True, slots=True)
class Gauge:
    """A bar in a row: free, then promised, then missing; ``tick`` is the minimum."""

    free: Decimal
    laid: Decimal
    lack: Decimal
    tick: Decimal | None

    @property
    def lack_from(self) -> Decimal:
        """Where the missing part starts."""
        return self.free + self.laid


def gauge(on_hand_mg: int, promised_mg: int, minimum_mg: int | None = None) -> Gauge:
    """Return the bar of a fibre; its length is the most of what is held, wanted and kept."""
    held = max(on_hand_mg, 0)
    longest = max(held, promised_mg, minimum_mg or 0, 1)
    along = Scale(Decimal(0), Decimal(longest), 0, GAUGE_WIDTH)
    free = along(max(held - promised_mg, 0))
    end_of_laid = along(held)
    end = max(along(promised_mg), end_of_laid)
    tick = min(max(along(minimum_mg), Decimal(1)), Decimal(135)) if minimum_mg else None
    return Gauge(free, end_of_laid - free, end - end_of_laid, tick)
