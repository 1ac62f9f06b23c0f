"""How large a list may be. All of it is checked before a row is read, or while rows are."""

from __future__ import annotations

# On the command line; a page takes less, for its server holds what is sent to it.
MOST_BYTES = 20_000_000
MOST_PAGE_BYTES = 8_000_000
# All that a form may send: a file of that size, and the fields beside it.
MOST_BODY = 9_000_000
# A workbook is packed: what it would fill is told by its own table of contents.
MOST_UNPACKED = 60_000_000
MOST_PARTS = 200
# Rows of a studio pack to a tenth or a thirtieth; a file made to burst packs a thousandfold.
MOST_RATIO = 100
MOST_ROWS = 20_000
MOST_COLUMNS = 60
MOST_CHARACTERS = 5_000
# Lines with nothing in them count here: a cell far below the list would be reached by them all.
MOST_LINES = 100_000


def megabytes(size: int) -> str:
    """Word the size of a file.

    >>> megabytes(20_000_000), megabytes(2_400)
    ('20 MB', '2.4 kB')
    """
    number, unit = (size / 1_000_000, "MB") if size >= 1_000_000 else (size / 1000, "kB")
    return f"{number:.1f} {unit}".replace(".0 ", " ")
