"""Columns cut into parts, one for each number, and bars that reach either way from one figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from studio import units
from studio.charts.bars import Part
from studio.charts.labels import Text
from studio.charts.scales import Scale

# The paper of both: broad and slim, and where the plot ends.
FORMATS = (("broad", 760), ("slim", 340))
EDGE = 8
TOP, FOOT, HEIGHT = 26, 206, 232
WIDEST_COLUMN = Decimal(72)
# Of the place of a column, what it fills.
FILLED = Decimal("0.62")
TENTH = Decimal("0.1")
SWING_HEIGHT, LABEL_DROP, BAR_TOP, BAR_HEIGHT = 54, 15, 23, 18
FIGURE_ROOM = 72
MOST_SWINGS = 6
ELLIPSIS = "…"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with the number of its part."""

    x: Decimal
    y: Decimal
    width: Decimal
    height: Decimal
    number: int

    @property
    def fill(self) -> int:
        """The number of its pattern."""
        return self.number + 1

    @property
    def code(self) -> str:
        """The number of its part, to go into an id."""
        return str(self.number)


@dataclass(frozen=True, slots=True)
class Boxes:
    """One of two drawings, ready to print; ``line`` is the path of its axis."""

    kind: str
    width: int
    height: int
    boxes: tuple[Box, ...]
    line: str
    texts: tuple[Text, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart drawn twice, with the parts that its patterns stand for."""

    broad: Boxes
    slim: Boxes
    parts: tuple[Part, ...]
    desc: str

    @property
    def drawings(self) -> tuple[Boxes, Boxes]:
        """Both drawings; the page shows the one that fits."""
        return self.broad, self.slim


# --- columns -------------------------------------------------------------------------------------


def columns(
    rows: Sequence[tuple[str, Sequence[Decimal]]], names: Sequence[str], *, places: int = 2
) -> Chart:
    """Return columns side by side, each cut into the same parts from the foot up.

    Parts below nothing are drawn as nothing; the figure over a column is the sum of all of them.
    """
    sums = [sum(parts, Decimal(0)) for _, parts in rows]
    figures = [units.show_number(one, places=places) for one in sums]
    tallest = max([sum(max(part, Decimal(0)) for part in parts) for _, parts in rows] or [0])
    up = Scale(Decimal(0), Decimal(tallest) or Decimal(1), FOOT, TOP)
    broad, slim = (_columns(kind, width, rows, figures, up) for kind, width in FORMATS)
    listed = "; ".join(
        f"{label}: {figure}" for (label, _), figure in zip(rows, figures, strict=True)
    )
    parts = tuple(
        Part(name, "", "", number, Decimal(0), Decimal(1)) for number, name in enumerate(names)
    )
    return Chart(broad, slim, parts, f"From the foot up: {', '.join(names)}. {listed}.")


def _columns(
    kind: str,
    width: int,
    rows: Sequence[tuple[str, Sequence[Decimal]]],
    figures: Sequence[str],
    up: Scale,
) -> Boxes:
    place = Decimal(width - 2 * EDGE) / max(len(rows), 1)
    broad = min(place * FILLED, WIDEST_COLUMN).quantize(TENTH)
    boxes: list[Box] = []
    texts: list[Text] = []
    for number, ((label, parts), figure) in enumerate(zip(rows, figures, strict=True)):
        middle = (EDGE + place * number + place / 2).quantize(TENTH)
        height = Decimal(0)
        for part_number, part in enumerate(parts):
            foot = up(height)
            height += max(part, Decimal(0))
            left = (middle - broad / 2).quantize(TENTH)
            boxes.append(Box(left, up(height), broad, foot - up(height), part_number))
        over, under = (
            Text(css, middle, y, "middle", words)
            for css, y, words in (
                ("c-w", up(height) - 7, figure),
                ("c-t", Decimal(HEIGHT - 6), label),
            )
        )
        # Figures that would run into one another are left to the table.
        texts += [text for text in (over, under) if text.width <= place]
    axis = f"M{EDGE} {FOOT}H{width - EDGE}"
    return Boxes(kind, width, HEIGHT, tuple(boxes), axis, tuple(texts))


# --- bars that reach either way ------------------------------------------------------------------

Swing = tuple[str, Decimal, Decimal]


def swings(rows: Sequence[Swing], middle: Decimal, *, places: int = 2) -> Chart:
    """Return bars from a low to a high figure, one under the other, about a figure in the middle.

    The first six are drawn; a table shows all of them.
    """
    drawn = rows[:MOST_SWINGS]
    ends = [middle, *(end for _, low, high in drawn for end in (low, high))]
    low, high = min(ends), max(ends)
    broad, slim = (
        _swings(kind, width, drawn, (low, middle, high), places) for kind, width in FORMATS
    )
    said = "; ".join(
        f"{label} {_words(min(one, other), places)} to {_words(max(one, other), places)}"
        for label, one, other in drawn
    )
    desc = f"{_words(middle, places)} in the middle; {said}."
    return Chart(broad, slim, (), desc)


def _swings(
    kind: str,
    width: int,
    rows: Sequence[Swing],
    reach: tuple[Decimal, Decimal, Decimal],
    places: int,
) -> Boxes:
    low, middle, high = reach
    span = high if high > low else low + 1
    along = Scale(low, span, FIGURE_ROOM, width - FIGURE_ROOM)
    boxes, texts = [], []
    for number, (label, one, other) in enumerate(rows):
        top = Decimal(number * SWING_HEIGHT)
        left, right = along(min(one, other)), along(max(one, other))
        boxes.append(
            Box(left, top + BAR_TOP, max(right - left, Decimal(1)), Decimal(BAR_HEIGHT), 0)
        )
        level = top + BAR_TOP + 14
        texts += [
            Text("c-w", Decimal(0), top + LABEL_DROP, "start", _fitting(label, width)),
            Text("c-t", left - 6, level, "end", _words(min(one, other), places)),
            Text("c-t", right + 6, level, "start", _words(max(one, other), places)),
        ]
    height = max(len(rows), 1) * SWING_HEIGHT
    paths = "".join(
        f"M{along(middle)} {row * SWING_HEIGHT + BAR_TOP - 4}v{BAR_HEIGHT + 8}"
        for row in range(len(rows))
    )
    return Boxes(kind, width, height, tuple(boxes), paths, tuple(texts))


def _fitting(label: str, width: int) -> str:
    """Cut words that are longer than the paper is wide."""
    while Text("c-w", Decimal(0), Decimal(0), "start", label).width > width:
        label = label.rstrip(ELLIPSIS)[:-2] + ELLIPSIS
    return label


def _words(figure: Decimal, places: int) -> str:
    return units.show_number(figure, places=places)
