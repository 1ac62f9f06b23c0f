"""Named sizes and basis weights come from data with sources."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from studio.errors import RangeError, StudioError
from studio.sizes import (
    BasicSize,
    Size,
    basic_sizes,
    basis_weight_from_grammage,
    grammage_from_basis_weight,
    name_of,
    named_sizes,
    size_named,
)
from studio.units import Q


def test_every_named_size_says_where_it_comes_from():
    assert [named.name for named in named_sizes() if not named.source.strip()] == []


def test_names_are_unique_in_any_case():
    names = [named.name.casefold() for named in named_sizes()]
    assert len(names) == len(set(names)) == 77


def test_a_size_from_memory_says_so():
    (shiroku,) = [named for named in named_sizes() if named.name == "Shiroku-ban"]
    assert shiroku.source.startswith("from memory")


@pytest.mark.parametrize("name", ["A4", "a4", " A4 "])
def test_names_are_found_in_any_case(name):
    assert size_named(name) == Size(210_000, 297_000)


def test_us_and_hyphens_may_be_left_out():
    assert size_named("US Letter") == size_named("letter") == Size(215_900, 279_400)
    assert size_named("kiku ban") == size_named("Kiku-ban") == Size(636_000, 939_000)


def test_an_unknown_name_is_none():
    assert size_named("A11") is None


def test_quarter_inches_become_whole_micrometres():
    # 28.75 in x 25 400 = 730 250 µm
    assert size_named("Grand Eagle") == Size(730_250, 1_066_800)


def test_a_size_is_named_either_way_up():
    assert name_of(Size(297_000, 210_000)) == "A4"
    assert name_of(Size(279_400, 215_900)) == "Letter"
    assert name_of(Size(1, 1)) == ""


def test_ledger_is_tabloid_turned_and_keeps_its_own_name():
    assert name_of(Size(431_800, 279_400)) == "Ledger"
    assert name_of(Size(279_400, 431_800)) == "Tabloid"


def test_area_is_exact():
    assert Size(841_000, 1_189_000).area_m2 == Decimal("0.999949")
    assert Size(1, 3).area_um2 == 3


@pytest.mark.parametrize("sides", [(0, 1), (1, 0), (-1, 5)])
def test_a_size_without_area_is_refused(sides):
    with pytest.raises(RangeError, match="Both sides of a size must be more than 0"):
        Size(*sides)


def test_turned_twice_is_the_same_sheet():
    size = Size(210_000, 297_000)
    assert size.turned() == Size(297_000, 210_000)
    assert size.turned().turned() == size


@given(st.integers(2_000, 10**7), st.integers(2_000, 10**7))
def test_a_half_is_never_more_than_half_the_area(width_um, height_um):
    size = Size(width_um, height_um)
    half = size.halves()
    assert 2 * half.area_um2 <= size.area_um2
    assert half.width_um <= half.height_um


def test_basis_weight_refuses_a_grade_it_does_not_know():
    with pytest.raises(RangeError, match=r"must be one of bond, .*newsprint, got 'fluff'"):
        grammage_from_basis_weight(Q(20, "lb"), basic_size="fluff")


def test_basis_weight_refuses_a_grammage_for_a_mass():
    with pytest.raises(StudioError, match="basis_weight must be a mass"):
        grammage_from_basis_weight(Q(20, "g/m2"), basic_size="bond")


def test_a_ream_of_one_square_metre_sheets_by_hand():
    # 500 sheets of 1 m² weigh 40 kg: 80 g each.
    square = BasicSize("square", Size(1_000_000, 1_000_000), 500, "by hand")
    assert grammage_from_basis_weight(Q(40, "kg"), basic_size=square) == Q(80, "g/m2")


@given(st.sampled_from(sorted(basic_sizes())), st.integers(1, 400))
def test_basis_weight_comes_back_from_its_grammage(grade, pounds):
    grammage = grammage_from_basis_weight(Q(pounds, "lb"), basic_size=grade)
    back = basis_weight_from_grammage(grammage, basic_size=grade).magnitude
    assert abs(back - pounds) < Decimal("1e-20")
