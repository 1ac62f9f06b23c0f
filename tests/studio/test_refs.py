"""References: found in capitals or small letters, with near ones where there is none."""

import pytest
from django.urls import Resolver404, resolve

from studio.refs import near_to, not_called, same_in

KNOWN = ["C-001", "C-010", "C-101", "LI-0001"]


@pytest.mark.parametrize("typed", ["c-101", " C-101 ", "C-101"])
def test_a_reference_is_the_same_in_small_letters_and_with_blanks(typed):
    assert same_in(KNOWN, typed) == "C-101"


def test_what_is_not_known_stays_as_it_was_typed():
    assert same_in(KNOWN, " c-7 ") == "c-7"


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("C-1", ["C-001"]),
        ("c1", ["C-001"]),
        ("li-1", ["LI-0001"]),
        ("LI-002", ["LI-0001"]),
        ("M-77", []),
        ("", []),
        ("C-", []),
    ],
)
def test_near_is_the_same_number_and_what_is_written_alike(typed, near):
    assert near_to(typed, KNOWN) == near


def test_no_more_than_three_are_near():
    assert len(near_to("C-10", [f"C-10{number}" for number in range(9)])) == 3


def test_near_ones_are_named_in_place_of_all():
    assert not_called("making", "c-01", KNOWN) == "No making is called 'c-01'. Near it: C-001."


def test_where_none_is_near_all_are_named_and_a_long_list_is_cut():
    said = not_called("making", "X", [f"M-{number:03d}" for number in range(14)])
    assert said.startswith("No making is called 'X'. There are: M-000, ")
    assert said.endswith("M-011 and 2 more.")
    assert not_called("making", "X", []) == "No making is called 'X'. There are: none yet."


@pytest.mark.parametrize("typed", ["", "  "])
def test_a_blank_is_asked_for(typed):
    said = not_called("open commission", typed, KNOWN[:1])
    assert said == "Give the reference of a commission. There are: C-001."


def test_an_address_leaves_outer_blanks_off_and_no_others():
    assert resolve("/makings/ M-001 /").kwargs == {"ref": "M-001"}
    with pytest.raises(Resolver404):
        resolve("/makings/M 001/")
