"""How many finished sheets one dry pull gives when it is cut by straight cuts right through.

Each cut runs from edge to edge of what lies on the table, as on a board or a guillotine, so a
pinwheel of pieces round a hole is not possible, though it may hold one piece more. Pieces may
lie either way. All lengths are whole micrometres: 425.0 mm holds five pieces of 85 mm, and no
floor of a float must say four.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from operator import add, itemgetter

from studio.errors import RangeError
from studio.sizes import Size
from studio.units import show_length, show_size

EXACT = "straight cuts, the best there is"
TWO_BLOCKS = "straight cuts, the best of two blocks"

# The exact search ends here: room for so many pieces by area, and so many pairs of cut-off and
# rest to look at, about 30 ms. Business cards from a large pull, some 150 pieces, are within.
MOST_PIECES_SEARCHED = 400
MOST_PAIRS_SEARCHED = 500_000
LEAST_SIDE_UM = 1_000
MOST_SIDE_UM = 10_000_000


@dataclass(frozen=True, slots=True)
class Block:
    """Pieces lying the same way in rows; ``left_um`` and ``top_um`` are from the cut edges."""

    left_um: int
    top_um: int
    across: int
    down: int
    piece: Size


@dataclass(frozen=True, slots=True)
class Layout:
    """The finished pieces of one pull and how they lie.

    ``method`` says whether no straight cuts give more, or whether there were too many ways to
    try them all. ``same_way`` is what rows of pieces all lying one way would give.
    """

    pull: Size
    piece: Size
    trim_um: int
    pieces: int
    same_way: int
    method: str
    blocks: tuple[Block, ...]

    @property
    def trim_share(self) -> Fraction:
        """Return the share of the pull that is cut away and goes to broke."""
        return 1 - Fraction(self.pieces * self.piece.area_um2, self.pull.area_um2)


def best_cut(pull: Size, *, piece: Size, trim_um: int = 0) -> Layout:
    """Return the best layout of finished pieces in a dry pull by straight cuts.

    Parameters
    ----------
    pull : Size [µm]
        The dry pull with its deckle edges, each side from 1 mm to 10 m.
    piece : Size [µm]
        The finished sheet, each side at least 1 mm; it may lie either way.
    trim_um : int [µm]
        Cut off each of the four sides of the pull first, 0 or more.

    Returns
    -------
    Layout
        With ``pieces`` 0 and no blocks if not one piece fits.

    Raises
    ------
    RangeError
        If a side or the trim is outside what it can be.

    Notes
    -----
    Exact search over the cuts at sums of piece sides, which lose nothing (definition). Where
    the pull has room for more than ``MOST_PIECES_SEARCHED`` pieces by area, or the search would
    look at more than ``MOST_PAIRS_SEARCHED`` pairs (from some 150 pieces on, by their sides),
    the best single cut into two blocks of rows is taken instead, and ``method`` says so unless
    the area shows that no more would fit. Does not account for the width of a cut.

    Examples
    --------
    >>> best_cut(Size(762_000, 559_000), piece=Size(210_000, 297_000)).pieces
    5
    """
    _check_sides(pull, piece, trim_um)
    return _best_cut(pull, piece, trim_um)


@lru_cache(maxsize=4_096)
def _best_cut(pull: Size, piece: Size, trim_um: int) -> Layout:
    width, height = pull.width_um - 2 * trim_um, pull.height_um - 2 * trim_um
    if width <= 0 or height <= 0:
        return Layout(pull, piece, trim_um, 0, 0, EXACT, ())
    room = width * height // piece.area_um2
    same_way = _pieces_in(_one_block(width, height, piece))
    blocks = _two_blocks(width, height, piece)
    method = EXACT
    if _pieces_in(blocks) < room:
        search = _Search(width, height, piece) if room <= MOST_PIECES_SEARCHED else None
        if search and search.pairs <= MOST_PAIRS_SEARCHED:
            blocks = search.blocks()
        else:
            method = TWO_BLOCKS
    return Layout(pull, piece, trim_um, _pieces_in(blocks), same_way, method, blocks)


def _pieces_in(blocks: tuple[Block, ...]) -> int:
    return sum(block.across * block.down for block in blocks)


def _one_block(
    width: int, height: int, piece: Size, left: int = 0, top: int = 0
) -> tuple[Block, ...]:
    """Return the better of the two ways to fill a rectangle with pieces all lying one way."""
    ways = (
        Block(left, top, width // laid.width_um, height // laid.height_um, laid)
        for laid in (piece, piece.turned())
    )
    best = max(ways, key=lambda block: block.across * block.down)
    return (best,) if best.across * best.down else ()


def _rows(width: int, height: int, piece: Size) -> int:
    """Return the pieces in the better of the two ways."""
    first, second = piece.width_um, piece.height_um
    return max(
        (width // first) * (height // second),
        (width // second) * (height // first),
    )


def _two_blocks(width: int, height: int, piece: Size) -> tuple[Block, ...]:
    """Return the best layout that one cut divides into two blocks, or needs no cut."""
    most, across, down = _rows(width, height, piece), 0, 0
    for side in sorted({piece.width_um, piece.height_um}):
        for cut in range(side, width, side):
            count = _rows(cut, height, piece) + _rows(width - cut, height, piece)
            if count > most:
                most, across, down = count, cut, 0
        for cut in range(side, height, side):
            count = _rows(width, cut, piece) + _rows(width, height - cut, piece)
            if count > most:
                most, across, down = count, 0, cut
    if across:
        rest = _one_block(width - across, height, piece, left=across)
        return _one_block(across, height, piece) + rest
    if down:
        return _one_block(width, down, piece) + _one_block(width, height - down, piece, top=down)
    return _one_block(width, height, piece)


class _Search:
    """The exact search: the best count for every rectangle whose sides are sums of piece sides.

    Built from the smallest rectangle up, so that it needs no recursion. ``best[i][j]`` belongs
    to the rectangle ``widths[i]`` × ``heights[j]``.
    """

    def __init__(self, width: int, height: int, piece: Size) -> None:
        self.piece = piece
        self.widths = _sums(width, piece)
        self.heights = _sums(height, piece)
        columns, rows = len(self.widths), len(self.heights)
        self.pairs = columns * rows * (columns + rows) // 4

    def blocks(self) -> tuple[Block, ...]:
        """Return the blocks of a best layout, cutting from the whole down."""
        best = self._counts()
        found: list[Block] = []
        waiting = [(len(self.widths) - 1, len(self.heights) - 1, 0, 0)]
        while waiting:
            i, j, left, top = waiting.pop()
            block = _one_block(self.widths[i], self.heights[j], self.piece, left, top)
            if _pieces_in(block) == best[i][j]:
                found.extend(block)
                continue
            for part in self._divided(best, i, j):
                right, below = part[2], part[3]
                waiting.append((part[0], part[1], left + right, top + below))
        return tuple(sorted(found, key=lambda block: (block.top_um, block.left_um)))

    def _counts(self) -> list[list[int]]:
        """Return the best counts, row by row of ``widths``; each is the best of all its cuts."""
        width_cuts = [_Cuts(self.widths, index) for index in range(len(self.widths))]
        height_cuts = [_Cuts(self.heights, index) for index in range(len(self.heights))]
        area = self.piece.area_um2
        best: list[list[int]] = []
        columns: list[list[int]] = [[] for _ in self.heights]
        for i, width in enumerate(self.widths):
            row: list[int] = []
            for j, height in enumerate(self.heights):
                count = _rows(width, height, self.piece)
                if count < width * height // area:
                    count = max(count, width_cuts[i].best(columns[j]), height_cuts[j].best(row))
                row.append(count)
                columns[j].append(count)
            best.append(row)
        return best

    def _divided(
        self, best: list[list[int]], i: int, j: int
    ) -> tuple[tuple[int, int, int, int], tuple[int, int, int, int]]:
        """Return the two parts of a cut that keeps the count: indices, and shift right, down."""
        column = [row[j] for row in best]
        for cut, rest in _Cuts(self.widths, i).pairs:
            if column[cut] + column[rest] == best[i][j]:
                return (cut, j, 0, 0), (rest, j, self.widths[cut], 0)
        cut, rest = next(
            (cut, rest)
            for cut, rest in _Cuts(self.heights, j).pairs
            if best[i][cut] + best[i][rest] == best[i][j]
        )
        return (i, cut, 0, 0), (i, rest, 0, self.heights[cut])


class _Cuts:
    """The cuts of a side at the sums up to its middle, each with the largest sum in the rest."""

    def __init__(self, sums: list[int], index: int) -> None:
        length = sums[index]
        middle = bisect_right(sums, length // 2)
        self.pairs = [
            (cut, bisect_right(sums, length - sums[cut]) - 1) for cut in range(1, middle)
        ]
        # A side without a cut is none, one short or one long piece side. Rows fill those as far
        # as the area goes, so that nobody asks for their best cut.
        if self.pairs:
            cut_off, rest = zip(*self.pairs, strict=True)
            # An itemgetter of one index gives no tuple; asking twice for it does no harm.
            self.cut_off = itemgetter(*cut_off, cut_off[0])
            self.rest = itemgetter(*rest, rest[0])

    def best(self, counts: list[int]) -> int:
        """Return the most that a cut gives, from the counts by index of the side."""
        return max(map(add, self.cut_off(counts), self.rest(counts)))


def _sums(length: int, piece: Size) -> list[int]:
    """Return all sums of piece sides up to a length, 0 among them, rising."""
    first, second = sorted((piece.width_um, piece.height_um))
    return sorted(
        {
            many + few
            for many in range(0, length + 1, second)
            for few in range(0, length - many + 1, first)
        }
    )


def _check_sides(pull: Size, piece: Size, trim_um: int) -> None:
    for name, size in (("The dry pull", pull), ("The finished sheet", piece)):
        short, long = sorted((size.width_um, size.height_um))
        if short < LEAST_SIDE_UM or long > MOST_SIDE_UM:
            raise RangeError(
                f"{name} must be from {show_length(LEAST_SIDE_UM)} to "
                f"{show_length(MOST_SIDE_UM)} a side, got {show_size(size)}.",
                value=size,
            )
    if trim_um < 0:
        raise RangeError(f"The trim must be 0 or more, got {show_length(trim_um)}.", value=trim_um)
