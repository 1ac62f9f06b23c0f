"""A QR symbol as the data of one SVG path, drawn on the server; no script and no picture file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import segno

# Modules of white that a reader needs around the symbol: ISO/IEC 18004 asks for four.
QUIET = 4


def qr_path(text: str) -> tuple[str, int]:
    """Return the dark modules of a text's QR symbol as SVG path data, and the side in modules.

    The side counts the quiet zone: a square of that many units, white, holds the path as it is.
    About 15 % of the symbol may be soiled or torn (level M, or better where it costs no room).
    """
    symbol = segno.make_qr(text, error="m")
    side = symbol.symbol_size(border=QUIET)[0]
    return "".join(_row_paths(symbol.matrix)), side


def _row_paths(matrix: Iterable[Iterable[int]]) -> Iterator[str]:
    for row, modules in enumerate(matrix):
        for start, length in _runs(modules):
            yield f"M{start + QUIET} {row + QUIET}h{length}v1h-{length}z"


def _runs(modules: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Yield where each run of dark modules begins and how long it is."""
    start = None
    column = 0
    for column, dark in enumerate(modules):
        if dark and start is None:
            start = column
        elif not dark and start is not None:
            yield start, column - start
            start = None
    if start is not None:
        yield start, column + 1 - start
