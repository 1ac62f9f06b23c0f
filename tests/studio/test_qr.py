"""QR symbols: read back by a reader written after the standard, apart from what draws them."""

import pytest
from django.template.loader import render_to_string

from studio.qr import QUIET, qr_path
from tests.studio.pages import Page
from tests.studio.qr_reader import format_of, matrix_of, read, version_of

ADDRESS = "http://paper.example:8000/lots/AB-0003/"
# Finder pattern: dark to light runs of 1 : 1 : 3 : 1 : 1 modules (ISO/IEC 18004, from memory).
FINDER = [
    [1, 1, 1, 1, 1, 1, 1],
    [1, 0, 0, 0, 0, 0, 1],
    [1, 0, 1, 1, 1, 0, 1],
    [1, 0, 1, 1, 1, 0, 1],
    [1, 0, 1, 1, 1, 0, 1],
    [1, 0, 0, 0, 0, 0, 1],
    [1, 1, 1, 1, 1, 1, 1],
]


@pytest.mark.parametrize(
    "text",
    [
        "http://a.example/",
        "http://10.0.0.7/lots/K-0012/",
        ADDRESS,
        "https://studio.example/makings/M-0001/log/?from=wall",
        "Bütte 4: Kōzo 楮",
        "LOTS/AB-0003",
        "7.5 KG",
    ],
)
def test_symbol_reads_back_as_what_was_put_in(text):
    assert read(*qr_path(text)) == text


def test_one_wrong_module_is_seen_by_the_reader():
    # The reader must be able to fail: a module of the data turned over is no whole block.
    path, side = qr_path(ADDRESS)
    last = path.rindex("M")
    with pytest.raises(AssertionError, match="a block is not whole"):
        read(path[:last], side)


def test_three_finders_and_the_timing_stand_where_the_standard_has_them():
    matrix = matrix_of(*qr_path(ADDRESS))
    side = len(matrix)
    for row, column in [(0, 0), (0, side - 7), (side - 7, 0)]:
        assert [line[column : column + 7] for line in matrix[row : row + 7]] == FINDER
    timing = [1 - place % 2 for place in range(8, side - 8)]
    assert matrix[6][8 : side - 8] == timing
    assert [line[6] for line in matrix[8 : side - 8]] == timing
    # The one module that is always dark.
    assert matrix[side - 8][8] == 1


@pytest.mark.parametrize(
    ("length", "version"),
    # Bytes that a version holds at level M: 14, 26, 42, 62 (ISO/IEC 18004, from memory).
    [(14, 1), (15, 2), (26, 2), (27, 3), (42, 3), (43, 4), (62, 4)],
)
def test_smallest_version_that_holds_it_at_level_m(length, version):
    matrix = matrix_of(*qr_path("a" * length))
    assert version_of(matrix) == version
    assert format_of(matrix)[0] in "MQH"


def test_side_counts_a_quiet_zone_of_four_modules():
    _, side = qr_path(ADDRESS)
    assert QUIET == 4
    # 39 bytes: version 3, 29 modules, and four more on each side.
    assert side == 29 + 8


def test_component_draws_black_on_white_and_says_what_it_opens():
    path, side = qr_path(ADDRESS)
    html = render_to_string(
        "components/qr.html", {"path": path, "side": side, "name": "opens lot AB-0003"}
    )
    page = Page(html)
    drawing = page.one("svg")
    assert drawing.attrs["viewbox"] == f"0 0 {side} {side}"
    assert drawing.attrs["aria-label"] == "QR code: opens lot AB-0003"
    white, black = page.all("path")
    assert (white.attrs["fill"], black.attrs["fill"]) == ("#fff", "#000")
    assert black.attrs["d"] == path
    # The strict policy of the pages takes no style of an element.
    assert "style=" not in html
