"""Finished sheets cut from one dry pull."""

import sys
import time
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc import layout
from orders.calc.layout import EXACT, TWO_BLOCKS, best_cut
from studio.errors import RangeError
from studio.sizes import Size


def mm(width, height):
    return Size(round(width * 1000), round(height * 1000))


SIDES = st.integers(min_value=1, max_value=14)


@cache
def every_cut(width, height, across, down):
    """The oracle: try a straight cut at every whole millimetre, without any shortening."""
    best = int((across, down) in ((width, height), (height, width)))
    for cut in range(1, width // 2 + 1):
        best = max(
            best,
            every_cut(cut, height, across, down) + every_cut(width - cut, height, across, down),
        )
    for cut in range(1, height // 2 + 1):
        best = max(
            best,
            every_cut(width, cut, across, down) + every_cut(width, height - cut, across, down),
        )
    return best


@given(SIDES, SIDES, SIDES, SIDES)
def test_the_search_finds_what_trying_every_cut_finds(width, height, across, down):
    found = best_cut(mm(width, height), piece=mm(across, down))
    assert found.pieces == every_cut(width, height, across, down)
    assert found.method == EXACT


@given(
    st.integers(1_000, 400_000),
    st.integers(1_000, 400_000),
    st.integers(20_000, 200_000),
    st.integers(20_000, 200_000),
    st.integers(0, 20_000),
)
def test_blocks_lie_inside_the_trimmed_pull_and_apart(width, height, across, down, trim):
    pull, piece = Size(width, height), Size(across, down)
    found = best_cut(pull, piece=piece, trim_um=trim)
    placed = [rectangle(block) for block in found.blocks]
    assert sum(block.across * block.down for block in found.blocks) == found.pieces
    for block, (left, top, right, bottom) in zip(found.blocks, placed, strict=True):
        assert block.piece in (piece, piece.turned())
        assert left >= 0
        assert top >= 0
        assert right <= width - 2 * trim
        assert bottom <= height - 2 * trim
    for number, first in enumerate(placed):
        assert not any(overlap(first, other) for other in placed[:number])


def rectangle(block):
    right = block.left_um + block.across * block.piece.width_um
    bottom = block.top_um + block.down * block.piece.height_um
    return block.left_um, block.top_um, right, bottom


def overlap(one, other):
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


@given(
    st.integers(50_000, 1_200_000),
    st.integers(50_000, 1_200_000),
    st.integers(15_000, 300_000),
    st.integers(15_000, 300_000),
)
def test_straight_cuts_never_give_less_than_rows(width, height, across, down):
    found = best_cut(Size(width, height), piece=Size(across, down))
    rows = max(
        (width // across) * (height // down),
        (width // down) * (height // across),
    )
    assert found.same_way == rows
    assert found.pieces >= rows
    assert found.pieces <= width * height // (across * down)
    assert 0 <= found.trim_share <= 1


@given(st.integers(0, 30_000), st.integers(0, 30_000))
def test_trimming_more_never_gives_more_pieces(less, more):
    less, more = sorted((less, more))
    pull, piece = mm(390, 520), mm(74, 105)
    most = best_cut(pull, piece=piece, trim_um=less).pieces
    assert best_cut(pull, piece=piece, trim_um=more).pieces <= most


def test_turning_the_pull_changes_nothing():
    assert best_cut(mm(559, 762), piece=mm(210, 297)).pieces == 5
    assert best_cut(mm(762, 559), piece=mm(297, 210)).pieces == 5


def test_an_edge_that_fits_exactly_counts():
    # 441.0 − 2 × 8 = 425.0 = 5 × 85 mm, and a micrometre less is one row less.
    assert best_cut(mm(320.1, 441.0), piece=mm(85, 55), trim_um=8_000).same_way == 25
    assert best_cut(mm(320.1, 440.999), piece=mm(85, 55), trim_um=8_000).same_way == 21


def test_trim_share_is_of_the_whole_pull():
    # 5 × (210 × 297) of 559 × 762 mm: 1 − 311850/425958
    found = best_cut(mm(559, 762), piece=mm(210, 297))
    assert float(found.trim_share) == pytest.approx(1 - 311_850 / 425_958)


@pytest.mark.parametrize("trim", [3_000, 50_000, 60_000])
def test_a_piece_that_does_not_fit_gives_none(trim):
    found = best_cut(mm(100, 200), piece=mm(95, 200), trim_um=trim)
    assert (found.pieces, found.same_way, found.blocks) == (0, 0, ())
    assert found.trim_share == 1


def test_a_layout_too_large_to_search_says_so():
    found = best_cut(mm(1000, 900), piece=mm(41.3, 29.7))
    assert found.method == TWO_BLOCKS
    # Rows give 24 × 30 = 720; the area holds 733.
    assert found.same_way == 720
    assert 720 <= found.pieces <= 733
    assert len(found.blocks) <= 2


def test_few_pieces_with_many_possible_cuts_end_the_search_too():
    # Room for 389 pieces, below the limit of pieces, but millions of pairs of cuts.
    found = best_cut(mm(1000, 900), piece=mm(61.7, 37.3))
    assert found.method == TWO_BLOCKS
    assert found.pieces <= 391


def test_two_blocks_that_fill_the_area_are_the_best_there_is():
    # 60 × 50 mm of 1 × 2 mm: 1500, more than the search takes, and nothing is left over.
    found = best_cut(mm(60, 50), piece=mm(2, 1))
    assert (found.pieces, found.method) == (1500, EXACT)


@pytest.mark.parametrize(
    ("pull", "beside"), [(mm(13, 29), True), (mm(29, 13), False)], ids=["beside", "below"]
)
def test_two_blocks_may_lie_side_by_side_or_one_below_the_other(pull, beside, monkeypatch):
    monkeypatch.setattr(layout, "MOST_PIECES_SEARCHED", 0)
    layout._best_cut.cache_clear()
    found = best_cut(pull, piece=mm(5, 3))
    layout._best_cut.cache_clear()
    # Rows on 13 × 29: 2 × 9 = 18 or 4 × 5 = 20 of 25 by area. One column of 3 mm with 5 pieces
    # and two of 5 mm with 9 each make 23.
    assert (found.method, found.same_way, found.pieces) == (TWO_BLOCKS, 20, 23)
    _, second = found.blocks
    assert (second.left_um > 0) is beside
    assert (second.top_um > 0) is not beside


@pytest.mark.parametrize(
    ("pull", "piece"),
    [
        (mm(1000, 900), mm(31, 29)),
        (mm(1000, 900), mm(41.3, 29.7)),
        (mm(900, 900), mm(90, 55)),
        (mm(10_000, 9_999), mm(3, 3.1)),
    ],
    ids=["900", "700", "160", "10 million"],
)
def test_many_pieces_answer_at_once(pull, piece):
    seconds = []
    for _ in range(3):
        layout._best_cut.cache_clear()
        start = time.process_time()
        best_cut(pull, piece=piece)
        seconds.append(time.process_time() - start)
    # Watched line by line, as for coverage, it takes several times as long.
    assert min(seconds) < (0.05 if sys.gettrace() is None else 0.5)


@pytest.mark.parametrize(
    ("pull", "piece", "trim", "said"),
    [
        (Size(999, 5_000), mm(1, 1), 0, "The dry pull must be from"),
        (mm(10_001, 5), mm(1, 1), 0, "The dry pull must be from"),
        (mm(10, 10), Size(10, 5_000), 0, "The finished sheet must be from"),
        (mm(10, 10), mm(1, 1), -1, "The trim must be 0 or more"),
    ],
)
def test_sides_that_no_sheet_has_are_refused(pull, piece, trim, said):
    with pytest.raises(RangeError, match=said):
        best_cut(pull, piece=piece, trim_um=trim)
