"""Words on a drawing: put where they hide nothing and are not cut off."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

Place = tuple[Decimal, Decimal, str]
Box = tuple[Decimal, Decimal, Decimal, Decimal]

# Widths of 13 px letters, a little over those of the broadest face in the look's list.
WIDTH_OF_LETTER = {"c-t": Decimal("7.2"), "c-w": Decimal(8), "c-o": Decimal(8)}
ABOVE_BASE, BELOW_BASE = Decimal(11), Decimal(3)
STEP = re.compile(r"([MHVZ])(?:(-?[0-9.]+)(?: (-?[0-9.]+))?)?")
# How high words stand: over a due sheet, beside it, and under it, where today is named.
OVER_SHEET, DUE_WORDS, TODAY_WORDS = Decimal(11), Decimal(25), Decimal(44)
NEIGHBOUR = 24
HALF_LINE = Decimal("1.5")
# Words over words cannot be read; words over a line can, just.
WORDS_COUNT, EDGE_COUNTS = 20, 100_000


@dataclass(frozen=True, slots=True)
class Text:
    """Words at a place; ``anchor`` says which end of them stands there."""

    kind: str
    x: Decimal
    y: Decimal
    anchor: str
    words: str

    @property
    def width(self) -> Decimal:
        """About how far the words reach."""
        return WIDTH_OF_LETTER[self.kind] * len(self.words)

    @property
    def left(self) -> Decimal:
        """Where the words start."""
        back = {"start": Decimal(0), "middle": self.width / 2, "end": self.width}
        return self.x - back[self.anchor]

    @property
    def right(self) -> Decimal:
        """Where the words end."""
        return self.left + self.width

    @property
    def box(self) -> Box:
        """Left, top, right and bottom."""
        return self.left, self.y - ABOVE_BASE, self.right, self.y + BELOW_BASE


class Board:
    """The drawing while words are put on it."""

    def __init__(
        self,
        width: int,
        *,
        lines: Sequence[Box] = (),
        taken: Sequence[Box] = (),
        texts: Sequence[Text] = (),
    ) -> None:
        self.width = Decimal(width)
        self.lines = list(lines)
        self.taken = [*taken, *(text.box for text in texts)]
        self.texts = list(texts)

    def write(
        self, kind: str, words: str, places: Sequence[Place], *, may_be_left_out: bool = False
    ) -> bool:
        """Put words at the first place among the best; leave them out if they would hide words.

        Tell whether they were written.
        """
        tries = [Text(kind, x, y, anchor, words) for x, y, anchor in places]
        if not tries:
            return False
        best = min(tries, key=self._harm)
        box = best.box
        hides = self._over_edge(box) > 0 or any(_overlap(box, other) for other in self.taken)
        if may_be_left_out and hides:
            return False
        self.texts.append(best)
        self.taken.append(box)
        return True

    def _over_edge(self, box: Box) -> Decimal:
        return max(-box[0], box[2] - self.width, Decimal(0))

    def _harm(self, text: Text) -> Decimal:
        box = text.box
        words = sum((_overlap(box, other) for other in self.taken), Decimal(0))
        lines = sum((_overlap(box, line) for line in self.lines), Decimal(0))
        return self._over_edge(box) * EDGE_COUNTS + words * WORDS_COUNT + lines


def label_short(board: Board, words: str, x: Decimal, places: Sequence[Place]) -> None:
    """Write what falls short whatever else is there: by its sheet, over or under it, or brief."""
    rows = [(x, OVER_SHEET, side) for side in ("end", "start", "middle")]
    rows += [(x - 5, TODAY_WORDS, "end"), (x + 5, TODAY_WORDS, "start")]
    if not board.write("c-o", words, [*places, *rows], may_be_left_out=True):
        first, *others = words.split(", ")
        brief = f"{first} + {len(others) - 1}, short" if others[1:] else words
        board.write("c-o", brief, [*places, *rows])


def due_places(x: Decimal, lines: Sequence[Decimal]) -> list[Place]:
    """Return the sides of a due sheet where its words cannot be taken for a neighbour's."""
    places = []
    if not any(x < other < x + NEIGHBOUR for other in lines):
        places.append((x + 10, DUE_WORDS, "start"))
    if not any(x - NEIGHBOUR < other < x for other in lines):
        places.append((x - 10, DUE_WORDS, "end"))
    return places


def figure_places(start: Decimal, end: Decimal, y: Decimal) -> list[Place]:
    """Return the places where a figure can stand by its level stretch, the best first."""
    sides = [(start + 7, "start"), (end, "end"), (start - 7, "end")]
    return [(x, y + drop, side) for x, side in sides for drop in (-7, 16)]


def line_boxes(path: str) -> list[Box]:
    """Return the thin boxes that a path of level and upright lines covers.

    >>> line_boxes("M10 20H30")
    [(Decimal('10'), Decimal('18.5'), Decimal('30'), Decimal('21.5'))]
    """
    boxes: list[Box] = []
    x = y = Decimal(0)
    for letter, first, second in STEP.findall(path):
        if letter == "M":
            x, y = Decimal(first), Decimal(second)
        elif letter == "H":
            end = Decimal(first)
            boxes.append((min(x, end), y - HALF_LINE, max(x, end), y + HALF_LINE))
            x = end
        else:
            end = Decimal(first)
            boxes.append((x - HALF_LINE, min(y, end), x + HALF_LINE, max(y, end)))
            y = end
    return boxes


def _overlap(one: Box, other: Box) -> Decimal:
    """Return the area that two boxes share."""
    # Most lie apart, which four comparisons tell.
    if one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]:
        return Decimal(0)
    across = min(one[2], other[2]) - max(one[0], other[0])
    down = min(one[3], other[3]) - max(one[1], other[1])
    return across * down
