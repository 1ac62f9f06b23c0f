"""A reader of QR symbols, written after ISO/IEC 18004 and apart from what draws them.

It knows versions 1 to 4 and the byte and alphanumeric modes. Figures of the standard (finder and
timing patterns, format bits and their mask, places of the alignment pattern, codewords of the
blocks, the field of the error correction) are from memory of ISO/IEC 18004.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

Matrix = list[list[int]]
QUIET = 4
# Error correction level by its two format bits.
LEVELS = {0b01: "L", 0b00: "M", 0b11: "Q", 0b10: "H"}
# Data codewords of each block, and all codewords of the symbol, by version and level.
BLOCKS = {
    (1, "L"): [19], (1, "M"): [16], (1, "Q"): [13], (1, "H"): [9],
    (2, "L"): [34], (2, "M"): [28], (2, "Q"): [22], (2, "H"): [16],
    (3, "L"): [55], (3, "M"): [44], (3, "Q"): [17, 17], (3, "H"): [13, 13],
    (4, "L"): [80], (4, "M"): [32, 32], (4, "Q"): [24, 24], (4, "H"): [9, 9, 9, 9],
}  # fmt: skip
CODEWORDS = {1: 26, 2: 44, 3: 70, 4: 100}
MASKS: list[Callable[[int, int], bool]] = [
    lambda row, column: (row + column) % 2 == 0,
    lambda row, column: row % 2 == 0,
    lambda row, column: column % 3 == 0,
    lambda row, column: (row + column) % 3 == 0,
    lambda row, column: (row // 2 + column // 3) % 2 == 0,
    lambda row, column: row * column % 2 + row * column % 3 == 0,
    lambda row, column: (row * column % 2 + row * column % 3) % 2 == 0,
    lambda row, column: ((row + column) % 2 + row * column % 3) % 2 == 0,
]
LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"


def matrix_of(path: str, side: int) -> Matrix:
    """Paint the path on white squares, as a browser would, and cut the quiet zone off."""
    painted = [[0] * side for _ in range(side)]
    runs = re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", path)
    assert "".join(f"M{x} {y}h{n}v1h-{back}z" for x, y, n, back in runs) == path
    for x, y, n, back in runs:
        assert n == back
        for column in range(int(x), int(x) + int(n)):
            painted[int(y)][column] += 1
    assert all(value <= 1 for row in painted for value in row), "a module is painted twice"
    rim = [
        painted[row][column]
        for row in range(side)
        for column in range(side)
        if not (QUIET <= row < side - QUIET and QUIET <= column < side - QUIET)
    ]
    assert not any(rim), "the quiet zone is not white"
    return [row[QUIET : side - QUIET] for row in painted[QUIET : side - QUIET]]


def version_of(matrix: Matrix) -> int:
    """Return the version: a symbol has 17 modules and four more for each version."""
    version, rest = divmod(len(matrix) - 17, 4)
    assert rest == 0
    return version


def format_of(matrix: Matrix) -> tuple[str, int]:
    """Return level and mask from the format bits, which must be a codeword of their code."""
    across = [matrix[8][column] for column in (0, 1, 2, 3, 4, 5, 7, 8)]
    up = [matrix[row][8] for row in (7, 5, 4, 3, 2, 1, 0)]
    bits = int("".join(map(str, across + up)), 2) ^ 0b101010000010010
    rest = bits
    for shift in range(4, -1, -1):
        if rest >> (shift + 10) & 1:
            rest ^= 0b10100110111 << shift
    assert rest == 0, "the format bits are no codeword"
    return LEVELS[bits >> 13], bits >> 10 & 0b111


def function_modules(version: int) -> set[tuple[int, int]]:
    """Return the modules that hold no data."""
    side = 17 + 4 * version
    far = side - 8
    found = {(row, column) for row in range(9) for column in range(9)}
    found |= {(row, column) for row in range(9) for column in range(far, side)}
    found |= {(row, column) for row in range(far, side) for column in range(9)}
    found |= {(6, place) for place in range(side)} | {(place, 6) for place in range(side)}
    if version > 1:
        middle = side - 7
        near = range(middle - 2, middle + 3)
        found |= {(row, column) for row in near for column in near}
    return found


def bits_of(matrix: Matrix, mask: int) -> Iterator[int]:
    """Yield the data modules, two columns at a time from the right, up and down in turn."""
    side = len(matrix)
    reserved = function_modules(version_of(matrix))
    columns = [column for column in range(side - 1, 0, -2) if column > 6]
    columns += [5, 3, 1]
    for turn, right in enumerate(columns):
        rows = range(side - 1, -1, -1) if turn % 2 == 0 else range(side)
        for row in rows:
            for column in (right, right - 1):
                if (row, column) not in reserved:
                    yield matrix[row][column] ^ MASKS[mask](row, column)


def times(first: int, second: int) -> int:
    """Multiply in the field of 256 with the polynomial 285."""
    found = 0
    while second:
        if second & 1:
            found ^= first
        first <<= 1
        if first & 256:
            first ^= 285
        second >>= 1
    return found


def is_whole(block: list[int], checks: int) -> bool:
    """Tell whether every syndrome of a block is nought: nothing in it is wrong."""
    root = 1
    for _ in range(checks):
        syndrome = 0
        for word in block:
            syndrome = times(syndrome, root) ^ word
        if syndrome:
            return False
        root = times(root, 2)
    return True


def data_of(matrix: Matrix) -> list[int]:
    """Return the data codewords with their blocks put back in order, each proved whole."""
    level, mask = format_of(matrix)
    version = version_of(matrix)
    bits = list(bits_of(matrix, mask))[: CODEWORDS[version] * 8]
    words = [int("".join(map(str, bits[at : at + 8])), 2) for at in range(0, len(bits), 8)]
    sizes = BLOCKS[version, level]
    count, size = len(sizes), sizes[0]
    checks = CODEWORDS[version] // count - size
    data, correction = words[: count * size], words[count * size :]
    blocks = [data[number::count] for number in range(count)]
    for number, block in enumerate(blocks):
        assert is_whole(block + correction[number::count], checks), "a block is not whole"
    return [word for block in blocks for word in block]


def read(path: str, side: int) -> str:
    """Return the text of a symbol drawn as a path."""
    bits = "".join(f"{word:08b}" for word in data_of(matrix_of(path, side)))
    mode, length, rest = bits[:4], bits[4:], ""
    if mode == "0100":
        count, rest = int(length[:8], 2), length[8:]
        found = bytes(int(rest[at : at + 8], 2) for at in range(0, count * 8, 8))
        return found.decode("utf-8")
    assert mode == "0010", f"mode {mode} is not read here"
    count, rest = int(length[:9], 2), length[9:]
    text = ""
    while len(text) + 1 < count:
        pair, rest = int(rest[:11], 2), rest[11:]
        text += LETTERS[pair // 45] + LETTERS[pair % 45]
    return text + LETTERS[int(rest[:6], 2)] if len(text) < count else text
